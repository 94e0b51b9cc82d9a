"""What the judge finds of each fault of the virtual head, and which cause it names.

Run with ``python -m bench.faults``: every fault at its gross size, and some nominal runs. With
``--full``: three sizes, five seeds each, and 500 nominal runs. Ends with 1 when a gross fault goes
unseen, a sound run is called a relevant failure, or the right cause leads too seldom.
"""

import argparse
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

from tests.demo_files import LIMITS, LOWER
from tests.virtualhead_judged.simulated import LOAD, RECIPE, fault, run_trace

from spinproof.app.causes import usual_of
from spinproof.judge.cause import diagnose
from spinproof.judge.judging import judge
from spinproof.judge.symptoms import Seen, Usual
from spinproof.model.cause import NOTHING
from spinproof.model.judgement import Judgement
from spinproof.model.program import FaultKind as K
from spinproof.model.recipe import Recipe, StepKind
from spinproof.model.run import Outcome

SIZES: dict[K, tuple[float, float, float]] = {
    K.STEP_CUT_SHORT: (1, 5, 40),
    K.OPERATOR_STOP: (300, 200, 100),
    K.WRONG_SPEED_SCALE: (1.005, 1.015, 1.03),
    K.WRONG_PULSES_PER_REV: (1.02, 1.1, 1.2),
    K.TACH_DROPOUT: (0.002, 0.01, 0.05),
    K.TACH_GAP: (1.0, 1.3, 1.9),
    K.SLOW_RINSE_VALVE: (0.6, 1.2, 4.1),
    K.SEAL_LEAK: (3, 8, 21),
    K.LATE_VENT: (2.2, 3.5, 6),
    K.DOOR_OUT_OF_ORDER: (0.2, 0.5, 3),
    K.HEATER_DEAD: (0, 0, 0),
    K.DI_PRESSURE_DIP: (2.6, 2.2, 1.4),
    K.UNBALANCE: (50, 300, 2000),
    K.BEARING_DRAG: (1.05, 1.15, 1.5),
    K.OVERSHOOT: (0.5, 2, 5),
    K.SWAPPED_CHANNELS: (0, 0, 0),
    K.CLOCK_STEP: (0.1, 1, 5),
    K.LOST_BLOCKS: (1, 4, 20),
    K.STUCK_SENSOR: (0, 0, 0),
    K.FROZEN_SENSOR: (0, 0, 0),
    K.SPIKE: (3, 15, 60),
    K.VIBRATION_SCALE: (1.05, 1.4142, 9.80665),
    K.WRONG_RECIPE: (0.995, 0.97, 0.9),
    K.SEAL_RUB: (0.01, 0.05, 0.2),
    K.WINDAGE: (1.1, 1.5, 2.5),
    K.BRAKE_DRAG: (0.01, 0.1, 0.5),
    K.ADDED_INERTIA: (0.005, 0.02, 0.05),
    K.SOFT_MOUNTS: (0.9, 0.6, 0.2),
    K.WEAK_DRIVE: (2.5, 1.5, 1.0),
    K.LOW_GAIN: (0.7, 0.4, 0.1),
    K.BELT_SLIP: (2.5, 1.5, 1.0),
    K.LOOSE_WEIGHT: (50, 300, 2000),
    K.WAFER_SHIFT: (50, 300, 2000),
    K.DOUBLE_PULSES: (0.002, 0.01, 0.05),
    K.TACH_DIES: (60, 200, 700),
    K.HOME_SENSOR_DEAD: (0, 0, 0),
    K.EARLY_POSITIONER: (50, 80, 120),
    K.NITROGEN_LOW: (0.97, 0.85, 0.6),
    K.WATER_PINCHED: (0.97, 0.85, 0.6),
}
"""Small, medium and gross; the two growing faults are made of many runs and tested apart."""
NAMES = ("small", "medium", "gross")
BASELINE_SEEDS = range(900, 907)
NOMINAL_SPEEDS = (0.7, 0.8, 0.9, 1.0)
LEAST_FIRST = 0.85


@dataclass(frozen=True)
class Trial:
    """One simulated run."""

    kind: K | None
    size: int
    seed: int
    share: float = 1.0


@dataclass(frozen=True)
class Result:
    """What became of it."""

    trial: Trial
    outcome: Outcome
    verdict: str
    reasons: tuple[str, ...]


def recipe_at(share: float) -> Recipe:
    """Give the recipe with its dry speeds at a share."""
    steps = tuple(
        s.model_copy(update={"speed_rpm": s.speed_rpm * share}) if s.kind is StepKind.DRY else s
        for s in RECIPE.steps
    )
    return RECIPE.model_copy(update={"steps": steps})


def judgement_of(trial: Trial) -> Judgement:
    """Simulate and judge."""
    faults = [] if trial.kind is None else [fault(trial.kind, SIZES[trial.kind][trial.size])]
    recipe = RECIPE if trial.share == 1.0 else recipe_at(trial.share)
    trace = run_trace(*faults, seed=trial.seed, recipe=recipe)
    return judge(trace, recipe, LOWER, LIMITS, LOAD)


def tried(task: tuple[Trial, Usual]) -> Result:
    """Simulate, judge and diagnose."""
    trial, usual = task
    judgement = judgement_of(trial)
    known = usual if trial.share == 1.0 else {}
    found = diagnose(Seen(judgement, LOWER, known))
    return Result(trial, judgement.outcome, found.verdict, judgement.reasons)


def trials(seeds: int, nominal: int, *, all_sizes: bool) -> Iterator[Trial]:
    """Give all runs to make."""
    for kind in SIZES:
        for size in range(3) if all_sizes else (2,):
            for seed in range(seeds):
                yield Trial(kind, size, 100 + seed)
    for seed in range(nominal):
        yield Trial(None, 0, 2000 + seed, NOMINAL_SPEEDS[seed % len(NOMINAL_SPEEDS)])


def show(results: list[Result]) -> bool:
    """Print the table, and tell whether every bar is met."""
    nominal = [r for r in results if r.trial.kind is None]
    failed = [r for r in nominal if r.outcome is Outcome.RELEVANT_FAILURE]
    alarms = [r for r in nominal if r.verdict != NOTHING]
    print(f"nominal runs: {len(nominal)}; called relevant failures: {len(failed)}, with a cause: ")
    print(f"  {Counter(r.verdict for r in alarms) or 'none'}")
    for result in failed[:5]:
        print(f"  false failure, seed {result.trial.seed}: {result.reasons}")
    groups: dict[tuple[K, int], list[Result]] = defaultdict(list)
    for result in results:
        if result.trial.kind is not None:
            groups[result.trial.kind, result.trial.size].append(result)
    print(f"\n{'fault':22}{'size':8}{'runs':>5}{'seen':>6}{'cause first':>13}   named otherwise")
    seen_gross = first_gross = gross = 0
    for (kind, size), group in groups.items():
        seen = [r for r in group if r.outcome is not Outcome.COUNTED or r.verdict != NOTHING]
        first = [r for r in seen if r.verdict == kind.value]
        if size == 2:
            gross, seen_gross = gross + len(group), seen_gross + len(seen)
            first_gross += len(first)
        others = Counter(r.verdict for r in seen if r.verdict != kind.value)
        told = ", ".join(f"{name} {count}" for name, count in others.most_common(3))
        print(f"{kind.value:22}{NAMES[size]:8}{len(group):5}{len(seen):6}{len(first):13}   {told}")
    share = first_gross / seen_gross if seen_gross else 0.0
    print(f"\ngross faults seen: {seen_gross} of {gross}; right cause first: {share:.1%} of those")
    return not failed and seen_gross == gross and share >= LEAST_FIRST


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--full", action="store_true")
    full = parser.parse_args().full
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        usual = usual_of(list(pool.map(judgement_of, [Trial(None, 0, s) for s in BASELINE_SEEDS])))
        wanted = trials(5 if full else 1, 500 if full else 20, all_sizes=full)
        results = list(pool.map(tried, [(trial, usual) for trial in wanted], chunksize=4))
    sys.exit(0 if show(results) else 1)


if __name__ == "__main__":
    main()
