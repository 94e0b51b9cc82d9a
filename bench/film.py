"""Films of the virtual head against their logs. ``python -m bench.film [--full]``.

Every film is made from a seed: another run, another phone clock, other noise. Its true offset is
known, so the stated uncertainty can be checked. A log of another run of the same recipe on the
same head, and one of the same recipe on the other head, must be rejected.
"""

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np
from tests.film.runs import filmed, logged

from spinproof.film.aligning import Testimony, align, take_testimony
from spinproof.film.demo_film import Camera, film_run
from spinproof.film.watching import watch
from spinproof.model.film import Match

FEW, MANY = 4, 40
JUDGED = 20
OTHERS = tuple(range(901, 905))
LEVELS_DB = (0.0, -3.0, -6.0, -9.0, -12.0)


def camera_of(seed: int, rotor_db: float) -> Camera:
    """Draw a phone clock."""
    rng = np.random.default_rng([seed, 9])
    lead, drift = rng.uniform(3, 20), rng.normal(0, 3e-5)
    return Camera(lead_s=float(lead), drift=float(drift), rotor_db=rotor_db)


def testimony_of(seed: int, camera: Camera, folder: Path) -> Testimony:
    """Film a run and let the film speak."""
    path = folder / "film.mp4"
    film_run(path, filmed(seed), camera, seed)
    return take_testimony(watch(path))


def main() -> None:
    """Print the figures."""
    count = MANY if "--full" in sys.argv else FEW
    errors, inside, took = [], 0, []
    right, wrong, head, silent = (
        Counter[Match](),
        Counter[Match](),
        Counter[Match](),
        Counter[Match](),
    )
    wrong_silent = Counter[Match]()
    others = [logged(n) for n in OTHERS]
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(1, count + 1):
            camera = camera_of(seed, LEVELS_DB[0])
            film = testimony_of(seed, camera, Path(folder))
            begun = time.process_time()
            found = align(film, logged(seed))
            took.append(time.process_time() - begun)
            if found is None:
                continue
            truth = camera.lead_s + (1 + camera.drift) * found.middle_run_s
            errors.append(abs(found.middle_film_s - truth))
            inside += errors[-1] <= found.expanded_uncertainty_s
            if seed > JUDGED:
                continue
            judged = align(film, logged(seed), others)
            right[judged.match if judged else Match.CANNOT_SAY] += 1
            for log, tally in ((logged(seed + 500), wrong), (logged(seed, upper=True), head)):
                judged = align(film, log)
                tally[judged.match if judged else Match.CANNOT_SAY] += 1
            for log, tally in (
                (logged(seed, sync=False), silent),
                (logged(seed + 500, sync=False), wrong_silent),
            ):
                judged = align(film, log)
                tally[judged.match if judged else Match.CANNOT_SAY] += 1
        print(
            f"film, {count} films of 138 s, rotor as loud as pump, fan and air: offset inside its"
            f" 95 % interval {inside} of {count}; error median {1e3 * np.median(errors):.1f} ms,"
            f" largest {1e3 * max(errors):.1f} ms; {np.median(took):.2f} s CPU a trace"
        )
        print(
            f"film, judged: right run {said(right)}; other run {said(wrong)};"
            f" other head {said(head)}"
        )
        print(
            f"film, judged by sound and picture alone: right run {said(silent)};"
            f" other run of the same recipe {said(wrong_silent)}"
        )
        for level in LEVELS_DB[1:]:
            noisy(level, max(2, count // 10), Path(folder))


def noisy(level: float, count: int, folder: Path) -> None:
    """Print how a quieter rotor does, without sync marks in the log."""
    errors, inside = [], 0
    for seed in range(1, count + 1):
        camera = camera_of(seed, level)
        found = align(testimony_of(seed, camera, folder), logged(seed, sync=False))
        if found is not None:
            truth = camera.lead_s + (1 + camera.drift) * found.middle_run_s
            errors.append(abs(found.middle_film_s - truth))
            inside += errors[-1] <= found.expanded_uncertainty_s
    worst = f"largest error {1e3 * max(errors):.0f} ms" if errors else "none aligned"
    print(
        f"film, rotor at {level:g} dB, no marks: {len(errors)} of {count} aligned,"
        f" {inside} inside their interval, {worst}"
    )


def said(tally: Counter[Match]) -> str:
    """Put counts into words."""
    return ", ".join(f"{match.value} {tally[match]}" for match in Match if tally[match])


if __name__ == "__main__":
    main()
