"""How good and how fast calibration and prediction are. Run with ``python -m bench.prediction``.

Coverage: in how many of some seeded trials the stated 95 % interval holds the virtual head's
truth. Speed in CPU seconds, compiled before, with the ratio to drawing the inputs.
"""

import sys
import time
from collections.abc import Callable

import numpy as np
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD
from tests.predict.trials import TRIALS, coverage

from spinproof.physics.drying import DryingHistory, WetBowl, dry_hold_up
from spinproof.physics.nitrogen import mass_flow_of
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.predict.forecast import predict
from spinproof.predict.influence import Draws
from spinproof.predict.knowledge import draw, prior_model
from spinproof.predict.outcome import Task, residuals_g

DRAWS, ROUNDS = 100_000, 3
PREDICTION_DRAWS = 20_000


def least_cpu_s(way: Callable[[], object]) -> float:
    """Give the least CPU time of a way over some rounds, after one to warm up."""
    way()
    best = float("inf")
    for _ in range(ROUNDS):
        begun = time.process_time()
        way()
        best = min(best, time.process_time() - begun)
    return best


def drawn_inputs(seed: int = 1) -> Draws:
    """Draw recipes and heads over wide ranges: 120 s fast, then 200 s slow."""
    rng = np.random.default_rng(seed)
    wide = {
        "fast": (1500, 2000, 2800), "slow": (300, 600, 800), "slm": (60, 120, 250),
        "gas": (30, 60, 90), "heat": (1500, 3000, 8000), "windage": (10, 50, 200),
        "water": (18, 21, 25),
    }  # fmt: skip
    drawn = {name: rng.triangular(*ends, DRAWS) for name, ends in wide.items()}
    drawn["hold_up"] = np.exp(rng.uniform(np.log(1e-3), np.log(15e-3), DRAWS))
    drawn["conductance"] = np.exp(rng.uniform(np.log(0.001), np.log(0.02), DRAWS))
    return drawn


def dried(drawn: Draws) -> np.ndarray:
    """Give the water that is left in each draw."""
    fast, slow = (drawn[name] * RAD_PER_S_PER_RPM for name in ("fast", "slow"))
    history = DryingHistory(
        [0.0, 120.0, 120.0, 320.0],
        np.stack([fast, fast, slow, slow]),
        mass_flow_of(drawn["slm"])[None],
        273.15 + drawn["gas"][None],
    )
    bowl = WetBowl(
        drawn["hold_up"], drawn["conductance"], drawn["heat"], drawn["windage"],
        273.15 + drawn["water"],
    )  # fmt: skip
    return dry_hold_up(history, bowl, 1e-4).mass


def print_coverage(trials: int) -> None:
    """Print in how many trials the intervals hold the truth."""
    print(f"coverage of 95 % intervals over {trials} seeded trials on the virtual head:")
    for subject in TRIALS:
        hits, said = coverage(subject, trials)
        for name, count in hits.items():
            print(f"  {subject:12} {name:26} {count:4} of {said} ({count / said:.1%})")


def print_speed() -> None:
    """Print what draws cost."""
    drawn = drawn_inputs()
    drawing, drying = least_cpu_s(drawn_inputs), least_cpu_s(lambda: dried(drawn))
    share = float(np.mean(dried(drawn) <= 1e-4))
    print(
        f"hold-up, {DRAWS:,} draws over 320 s: {drying:.2f} CPU s "
        f"({drying / drawing:.0f} x drawing the inputs); dry to 0.1 g in {share:.3f}"
    )
    model, task = prior_model(LOWER), Task(CR_1, LOWER, PARTIAL_LOAD)
    known = draw(model, np.random.default_rng(1), DRAWS)
    whole = least_cpu_s(lambda: residuals_g(task, known))
    print(f"the same for a recipe with its warm-up: {whole:.2f} CPU s")
    told = least_cpu_s(lambda: predict(task, model, draws=PREDICTION_DRAWS, seed=1))
    print(f"a whole prediction, {PREDICTION_DRAWS:,} draws, with indices: {told:.2f} CPU s")


if __name__ == "__main__":
    print_coverage(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
    print_speed()
