"""Invented runs for the tests: recipes, curves by simple laws, metrics, and what became of them."""

import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from spinproof.files.canonical import digest_of
from spinproof.files.digest import sha256_of_bytes
from spinproof.model.documents import parse_document
from spinproof.model.handover import (
    Attempt,
    RunRecord,
    Series,
)
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Event, Judgement, Metric, Segment, Verdict
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe, RecipeSource, Step, StepKind, TimerBasis
from spinproof.model.run import Ending, Outcome, Purpose
from spinproof.model.software import SOFTWARE

DEMO_DATA = Path(__file__).parents[2] / "src" / "spinproof" / "app" / "demo_data"
DRAG, QUADRATIC, INERTIA = 0.35, 2.5e-5, 0.22
PERIOD_S = 0.5
SUPPLY_LOG = b"time;pressure bar gauge\n14:02:10;2.8\n14:02:20;1.4\n14:02:40;2.8\n"
NCR = b"NCR-01 re-opened: torque of the sensor lock-nut recorded, gap 0.80 mm\n"


def _text(name: str) -> str:
    return (DEMO_DATA / name).read_text("utf-8")


@cache
def inputs() -> tuple[HeadSpec, LimitSet, Recipe, Load]:
    """Read the demo's head, limits, customer's recipe and witness load."""
    return (
        parse_document(_text("lower.head.toml"), HeadSpec, "lower.head.toml"),
        parse_document(_text("run.limits.toml"), LimitSet, "run.limits.toml"),
        parse_document(_text("cr-1.recipe.toml"), Recipe, "cr-1.recipe.toml"),
        parse_document(_text("partial.load.toml"), Load, "partial.load.toml"),
    )


def _pick(rng: np.random.Generator, low: int, high: int, step: int) -> float:
    return float(low + step * int(rng.integers((high - 1 - low) // step + 1)))


def fill_recipe(number: int) -> Recipe:
    """Invent a recipe inside the envelope."""
    rng = np.random.default_rng(number)
    ramp = _pick(rng, 40, 81, 5)
    rinse, dry = _pick(rng, 300, 601, 10), _pick(rng, 1000, 2001, 25)
    basis = list(TimerBasis)[int(rng.integers(2))]

    def step(name: str, kind: StepKind, duration: float, speed: float, **more: object) -> Step:
        return Step(
            name=name,
            kind=kind,
            duration_s=duration,
            speed_rpm=speed,
            ramp_rpm_per_s=ramp,
            timer_basis=basis,
            **more,  # type: ignore[arg-type] # the three flags of a step
        )

    return Recipe(
        name=f"F-{number:02d}",
        source=RecipeSource.SHOP,
        steps=(
            step("rinse", StepKind.RINSE, _pick(rng, 20, 91, 5), rinse, water=True),
            step("purge", StepKind.PURGE, _pick(rng, 5, 31, 5), rinse, nitrogen=True),
            step("fast dry", StepKind.DRY, _pick(rng, 60, 181, 10), dry, nitrogen=True),
            step(
                "final dry",
                StepKind.DRY,
                _pick(rng, 60, 181, 10),
                _pick(rng, 600, 1001, 50),
                nitrogen=True,
                heater_c=80.0,
            ),
        ),
    )


@dataclass(frozen=True)
class Course:
    """How the speed of an invented run goes."""

    segments: tuple[Segment, ...]
    events: tuple[Event, ...]
    speed: tuple[float, ...]


def _coast_rpm(start_rpm: float, time_s: float) -> float:
    k = math.sqrt(QUADRATIC / DRAG)
    angle = math.atan(start_rpm * math.pi / 30 * k) - math.sqrt(DRAG * QUADRATIC) / INERTIA * time_s
    return max(math.tan(angle) / k * 30 / math.pi, 0.0) if angle > 0 else 0.0


def course(recipe: Recipe, *, stop_after_s: float | None, has_index: bool) -> Course:
    """Play a recipe: ramps, holds, coast-down and the way to the released door."""
    segments, speed, at, now = [], [0.0], 0.0, 0.0
    for number, step in enumerate(recipe.steps, 1):
        ramp_s = abs(step.speed_rpm - at) / step.ramp_rpm_per_s
        extra = ramp_s if step.timer_basis is TimerBasis.FROM_AT_SPEED else 0.0
        end = now + step.duration_s + extra
        end = min(end, stop_after_s) if stop_after_s else end
        segments.append(
            Segment(
                step=number,
                name=step.name,
                kind=step.kind,
                start_s=now,
                end_s=end,
                at_speed_s=now + ramp_s if now + ramp_s <= end else None,
            )
        )
        begin = at
        while len(speed) * PERIOD_S < end:
            share = min((len(speed) * PERIOD_S - now) / ramp_s, 1.0) if ramp_s else 1.0
            at = begin + (step.speed_rpm - begin) * share
            speed.append(at)
        now = end
        if stop_after_s == end:
            break
    coast = 0
    while (rpm := _coast_rpm(at, coast * PERIOD_S)) > (36.0 if has_index else 83.0):
        speed.append(rpm)
        coast += 1
    slow = now + coast * PERIOD_S
    events = [
        Event(
            name="stop pressed" if stop_after_s else "stop command", time_s=now, uncertainty_s=0.05
        )
    ]
    if not has_index:
        events.append(Event(name="index timed out", time_s=slow + 33.0, uncertainty_s=0.05))
        speed += [0.0] * 80
    else:
        events += [
            Event(name="index proven", time_s=slow + 2.1, uncertainty_s=0.05),
            Event(name="seal vented", time_s=slow + 4.2, uncertainty_s=0.05),
            Event(name="door released", time_s=slow + 4.9, uncertainty_s=0.05),
        ]
        speed += [20.0, 8.0, 2.0] + [0.0] * 9
    return Course(tuple(segments), tuple(events), tuple(speed))


def curves(
    recipe: Recipe, played: Course, number: int, *, dip: bool, in_full: bool
) -> tuple[Series, ...]:
    """Give the curves of an invented run: speed alone, or all of them."""
    rng = np.random.default_rng(number)
    time = tuple(i * PERIOD_S for i in range(len(played.speed)))
    speed = tuple(v + rng.normal(0, 1.2) if v > 5 else v for v in played.speed)
    found = [Series("optical tach", "rpm", time, tuple(round(v, 2) for v in speed))]
    if not in_full:
        return tuple(found)
    water, drain, flow, hot, seal, shake, current = [], [], [], [], [], [], []
    resistivity, temperature, pressure = 0.2, 22.0, 0.0
    release = played.events[-1].time_s if len(played.events) > 2 else 1e9
    for t, v in zip(time, speed, strict=True):
        segment = next((s for s in played.segments if s.start_s <= t < s.end_s), None)
        step = recipe.steps[segment.step - 1] if segment else None
        wet, blown = bool(step and step.water), bool(step and step.nitrogen)
        water.append((9.4 if dip and 18 < t < 32 else 15.0) + rng.normal(0, 0.05) if wet else 0.0)
        conductivity = 1 / 17.6 + (1 / resistivity - 1 / 17.6) * (0.92 if wet else 1.0)
        resistivity = 1 / conductivity
        drain.append(resistivity + rng.normal(0, 0.03) if wet or t < 60 else None)
        flow.append(170.0 + rng.normal(0, 0.8) if blown else 0.0)
        goal = (step.heater_c or 22.0) if step and blown else 22.0
        temperature += (goal - temperature) * PERIOD_S / 14
        hot.append(temperature + rng.normal(0, 0.15))
        pressure += ((200.0 if t < release - 2.5 else 0.0) - pressure) * PERIOD_S / 0.7
        seal.append(pressure + rng.normal(0, 0.3))
        shake.append(
            0.1
            + 1.2 * (v / 1750) ** 2
            + 0.8 * math.exp(-(((v - 1240) / 60) ** 2))
            + rng.normal(0, 0.02)
        )
        current.append(
            0.4
            + v / 900
            + (2.5 if segment and step and v < step.speed_rpm - 5 else 0) * bool(segment)
        )
    for name, unit, values in (
        ("head tach", "rpm", [v + rng.normal(0, 2) if v > 5 else v for v in played.speed]),
        ("DI flow", "L/min", water),
        ("drain", "MOhm.cm", drain),
        ("feed", "MOhm.cm", [17.6 + rng.normal(0, 0.02) for _ in time]),
        ("N2 flow", "slm", flow),
        ("N2 temperature", "degC", hot),
        ("seal pressure", "kPa_g", seal),
        ("vibration", "mm/s", shake),
        ("motor current", "A", current),
    ):
        found.append(
            Series(name, unit, time, tuple(None if v is None else round(v, 3) for v in values))
        )
    return tuple(found)


def metrics(
    recipe: Recipe, limits: LimitSet, number: int, failing: dict[str, float]
) -> tuple[Metric, ...]:
    """Invent a value for each limit, inside it but for the failing ones."""
    rng, found = np.random.default_rng(number), []
    per_step = {
        "step_duration_error",
        "speed_error",
        "ripple",
        "overshoot",
        "ramp_error",
        "settling_time",
    }
    for limit in limits.limits:
        steps = [
            n
            for n, step in enumerate(recipe.steps, 1)
            if limit.step_kind in {None, step.kind}
            and (limit.metric in per_step or limit.step_kind)
        ]
        for step in steps or [None]:
            low = limit.lower if limit.lower is not None else 0.0
            high = limit.upper if limit.upper is not None else 1.3 * low
            value = low + (high - low) * rng.uniform(0.35, 0.6)
            value = failing.get(limit.metric, value)
            inside = low <= value <= high
            measured = limit.metric != "seal_loss"
            found.append(
                Metric(
                    name=limit.metric,
                    unit=limit.unit,
                    step=step,
                    value=value if measured else None,
                    uncertainty=(high - low) * 0.02 if measured else None,
                    limit=limit,
                    verdict=(Verdict.PASS if inside else Verdict.FAIL)
                    if measured
                    else Verdict.NOT_MEASURED,
                    conformance=(0.999 if inside else 0.001) if measured else None,
                    rule="inside the limit by 1.645 u"
                    if limit.rule == "guarded"
                    else "inside the limit",
                    margin=min(value - low, high - value) if measured else None,
                    note=None if measured else "the seal was not closed off in this run",
                )
            )
    return tuple(found)


@dataclass(frozen=True)
class Story:
    """What happens in an invented run."""

    outcome: Outcome = Outcome.COUNTED
    reasons: tuple[str, ...] = ("every step held its full time", "door order kept")
    decided_by: str = "judge"
    second_name: str | None = None
    evidence: tuple[str, ...] = ()
    failing: tuple[tuple[str, float], ...] = ()
    water_dips: bool = False
    stop_after_s: float | None = None
    has_index: bool = True
    purpose: Purpose = Purpose.BURN_IN


GOOD = Story()
WITNESS = Story(purpose=Purpose.WITNESS)
NO_INDEX = Story(
    Outcome.RELEVANT_FAILURE,
    ("the index was not proven within 20 s of the stop", "last tach pulse at 83 rpm, limit 40 rpm"),
    evidence=(sha256_of_bytes(NCR),),
    failing=(("tach_lost_below", 83.0), ("index_time", 20.0)),
    has_index=False,
)
WATER_DIP = Story(
    Outcome.INVALID_OUTSIDE,
    ("the water supply dipped from 2.8 to 1.4 bar during the rinse; the supply log shows it",),
    decided_by="TT-1",
    second_name="QI-2",
    evidence=(sha256_of_bytes(SUPPLY_LOG),),
    failing=(("di_pressure_low", 1.4), ("di_flow", 9.4)),
    water_dips=True,
)
STOP_PRESSED = Story(
    Outcome.INVALID_OPERATOR,
    ("stop pressed by the operator 61.0 s after the start",),
    failing=(("operator_inputs", 1.0),),
    stop_after_s=61.0,
)


def make_record(
    number: int, campaign: int, recipe: Recipe, load: Load, story: Story
) -> tuple[RunRecord, bytes]:
    head, limits, _, _ = inputs()
    run = f"QA-1041-L-{number:03d}"
    played = course(recipe, stop_after_s=story.stop_after_s, has_index=story.has_index)
    trace = f"trace of {run}\n".encode() * 40
    is_outside = story.outcome is Outcome.INVALID_OUTSIDE
    judgement = Judgement(
        run=run,
        trace_sha256=sha256_of_bytes(trace),
        recipe_sha256=digest_of(recipe.to_document()),
        head_sha256=digest_of(head.to_document()),
        limits_sha256=digest_of(limits.to_document()),
        limits_name=limits.name,
        software=SOFTWARE,
        simulated=True,
        ending=Ending.COMPLETE,
        segments=played.segments,
        events=played.events,
        metrics=metrics(recipe, limits, number, dict(story.failing)),
        incidents=(),
        outcome=Outcome.RELEVANT_FAILURE if is_outside else story.outcome,
        reasons=story.reasons,
    )
    attempt = Attempt(
        run=run,
        number=number,
        campaign=campaign,
        purpose=story.purpose,
        started_at=_when(number, campaign, story.purpose),
        recipe_name=recipe.name,
        wafer_count=load.wafer_count,
        outcome=story.outcome,
        void=campaign == 1 and story.outcome is Outcome.COUNTED,
        reasons=story.reasons,
        decided_by=story.decided_by,
        second_name=story.second_name,
        trace_sha256=judgement.trace_sha256,
        judgement_sha256=digest_of(judgement.to_document()),
        evidence=story.evidence,
    )
    in_full = story.outcome is not Outcome.COUNTED or story.purpose is Purpose.WITNESS
    series = curves(recipe, played, number, dip=story.water_dips, in_full=in_full)
    return RunRecord(attempt, recipe, judgement, series, load), trace


def _when(number: int, campaign: int, purpose: Purpose) -> str:
    if purpose is Purpose.WITNESS:
        return "2031-03-23T09:30:00.000Z"
    minutes = (number - 1 if campaign == 1 else number - 24) * 9
    day = 19 if campaign == 1 else 20 + minutes // 420
    return f"2031-03-{day:02d}T{8 + minutes % 420 // 60:02d}:{minutes % 60:02d}:00.000Z"
