"""The demo job as a handover built by hand: 79 attempts on the lower head, and the witnessed run.

Everything here is invented. The curves follow simple laws, so that the figures look like runs.
"""

import math
import random
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from spinproof.files.canonical import digest_of
from spinproof.files.digest import sha256_of_bytes
from spinproof.model.documents import parse_document
from spinproof.model.handover import (
    Attempt,
    Claim,
    ConfigurationEntry,
    EvidenceItem,
    Handover,
    RunRecord,
    ScopeLine,
    ScopeState,
    Series,
    Tally,
)
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Event, Judgement, Metric, Segment, Verdict
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load, spread_slots
from spinproof.model.plan import Cell, Plan, PlannedRun
from spinproof.model.recipe import Recipe, RecipeSource, Step, StepKind, TimerBasis
from spinproof.model.run import Ending, Outcome, Purpose
from spinproof.model.software import SOFTWARE
from spinproof.stats.demonstration import reliability_lower_bound

DEMO_DATA = Path(__file__).parents[2] / "src" / "spinproof" / "app" / "demo_data"
DRAG, QUADRATIC, INERTIA = 0.35, 2.5e-5, 0.22
PERIOD_S = 0.5
SUPPLY_LOG = b"time;pressure bar gauge\n14:02:10;2.8\n14:02:20;1.4\n14:02:40;2.8\n"
NCR = b"NCR-01 re-opened: torque of the sensor lock-nut recorded, gap 0.80 mm\n"


@dataclass(frozen=True)
class Example:
    """A handover, and the files that belong to it."""

    handover: Handover
    head: HeadSpec
    limits: LimitSet
    traces: dict[str, bytes]
    evidence: dict[str, bytes]

    def write_traces(self, folder: Path) -> dict[str, Path]:
        """Write the trace files and give their paths by run."""
        folder.mkdir(parents=True, exist_ok=True)
        for run, data in self.traces.items():
            (folder / f"{run}.parquet").write_bytes(data)
        return {run: folder / f"{run}.parquet" for run in self.traces}

    def write_evidence(self, folder: Path) -> dict[str, Path]:
        """Write the evidence files and give their paths by SHA-256."""
        folder.mkdir(parents=True, exist_ok=True)
        for sha256, data in self.evidence.items():
            (folder / sha256).write_bytes(data)
        return {sha256: folder / sha256 for sha256 in self.evidence}


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


def fill_recipe(number: int) -> Recipe:
    """Invent a recipe inside the envelope."""
    rng = random.Random(number)
    ramp = float(rng.randrange(40, 81, 5))
    rinse, dry = float(rng.randrange(300, 601, 10)), float(rng.randrange(1000, 2001, 25))
    basis = rng.choice(list(TimerBasis))

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
            step("rinse", StepKind.RINSE, float(rng.randrange(20, 91, 5)), rinse, water=True),
            step("purge", StepKind.PURGE, float(rng.randrange(5, 31, 5)), rinse, nitrogen=True),
            step("fast dry", StepKind.DRY, float(rng.randrange(60, 181, 10)), dry, nitrogen=True),
            step(
                "final dry",
                StepKind.DRY,
                float(rng.randrange(60, 181, 10)),
                float(rng.randrange(600, 1001, 50)),
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


def course(recipe: Recipe, *, stop_after_s: float | None, no_index: bool) -> Course:
    """Play a recipe: ramps, holds, coast-down and the way to the released door."""
    segments, speed, at, now = [], [0.0], 0.0, 0.0
    for number, step in enumerate(recipe.steps, 1):
        ramp_s = abs(step.speed_rpm - at) / step.ramp_rpm_per_s
        extra = ramp_s if step.timer_basis is TimerBasis.FROM_AT_SPEED else 0.0
        end = now + step.duration_s + extra
        end = min(end, stop_after_s) if stop_after_s else end
        segments.append(
            Segment(
                step=number, name=step.name, kind=step.kind, start_s=now, end_s=end,
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
    while (rpm := _coast_rpm(at, coast * PERIOD_S)) > (83.0 if no_index else 36.0):
        speed.append(rpm)
        coast += 1
    slow = now + coast * PERIOD_S
    events = [Event(name="stop pressed" if stop_after_s else "stop command", time_s=now, uncertainty_s=0.05)]
    if no_index:
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


def curves(recipe: Recipe, played: Course, number: int, *, dip: bool, in_full: bool) -> tuple[Series, ...]:
    """Give the curves of an invented run: speed alone, or all of them."""
    rng = random.Random(number)
    time = tuple(i * PERIOD_S for i in range(len(played.speed)))
    speed = tuple(v + rng.gauss(0, 1.2) if v > 5 else v for v in played.speed)
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
        water.append((9.4 if dip and 18 < t < 32 else 15.0) + rng.gauss(0, 0.05) if wet else 0.0)
        conductivity = 1 / 17.6 + (1 / resistivity - 1 / 17.6) * (0.92 if wet else 1.0)
        resistivity = 1 / conductivity
        drain.append(resistivity + rng.gauss(0, 0.03) if wet or t < 60 else None)
        flow.append(170.0 + rng.gauss(0, 0.8) if blown else 0.0)
        goal = (step.heater_c or 22.0) if step and blown else 22.0
        temperature += (goal - temperature) * PERIOD_S / 14
        hot.append(temperature + rng.gauss(0, 0.15))
        pressure += ((200.0 if t < release - 2.5 else 0.0) - pressure) * PERIOD_S / 0.7
        seal.append(pressure + rng.gauss(0, 0.3))
        shake.append(0.1 + 1.2 * (v / 1750) ** 2 + 0.8 * math.exp(-(((v - 1240) / 60) ** 2)) + rng.gauss(0, 0.02))
        current.append(0.4 + v / 900 + (2.5 if segment and step and v < step.speed_rpm - 5 else 0) * bool(segment))
    for name, unit, values in (
        ("head tach", "rpm", [v + rng.gauss(0, 2) if v > 5 else v for v in played.speed]),
        ("DI flow", "L/min", water),
        ("drain", "MOhm.cm", drain),
        ("feed", "MOhm.cm", [17.6 + rng.gauss(0, 0.02) for _ in time]),
        ("N2 flow", "slm", flow),
        ("N2 temperature", "degC", hot),
        ("seal pressure", "kPa_g", seal),
        ("vibration", "mm/s", shake),
        ("motor current", "A", current),
    ):
        found.append(Series(name, unit, time, tuple(None if v is None else round(v, 3) for v in values)))
    return tuple(found)


def metrics(recipe: Recipe, limits: LimitSet, number: int, failing: dict[str, float]) -> tuple[Metric, ...]:
    """Invent a value for each limit, inside it but for the failing ones."""
    rng, found = random.Random(number), []
    per_step = {"step_duration_error", "speed_error", "ripple", "overshoot", "ramp_error", "settling_time"}
    for limit in limits.limits:
        steps = [
            n
            for n, step in enumerate(recipe.steps, 1)
            if limit.step_kind in {None, step.kind} and (limit.metric in per_step or limit.step_kind)
        ]
        for step in steps or [None]:
            low = limit.lower if limit.lower is not None else 0.0
            high = limit.upper if limit.upper is not None else 1.3 * low
            value = low + (high - low) * rng.uniform(0.35, 0.6)
            value = failing.get(limit.metric, value)
            inside = low <= value <= high
            measured = not (limit.metric == "seal_loss")
            found.append(
                Metric(
                    name=limit.metric, unit=limit.unit, step=step,
                    value=value if measured else None,
                    uncertainty=(high - low) * 0.02 if measured else None,
                    limit=limit,
                    verdict=(Verdict.PASS if inside else Verdict.FAIL) if measured else Verdict.NOT_MEASURED,
                    conformance=(0.999 if inside else 0.001) if measured else None,
                    rule="inside the limit by 1.645 u" if limit.rule == "guarded" else "inside the limit",
                    note=None if measured else "the seal was not closed off in this run",
                )
            )
    return tuple(found)


def _record(run: str, number: int, campaign: int, recipe: Recipe, load: Load, kind: str) -> tuple[RunRecord, bytes]:
    head, limits, _, _ = inputs()
    outcome, reasons, by, second, evidence, failing, dip, stop = _story(kind)
    played = course(recipe, stop_after_s=stop, no_index=kind == "failure")
    trace = f"trace of {run}\n".encode() * 40
    judgement = Judgement(
        run=run, trace_sha256=sha256_of_bytes(trace), recipe_sha256=digest_of(recipe.to_document()),
        head_sha256=digest_of(head.to_document()), limits_sha256=digest_of(limits.to_document()),
        limits_name=limits.name, software=SOFTWARE, simulated=True, ending=Ending.COMPLETE,
        segments=played.segments, events=played.events,
        metrics=metrics(recipe, limits, number, failing), incidents=(),
        outcome=outcome if outcome is not Outcome.INVALID_OUTSIDE else Outcome.RELEVANT_FAILURE,
        reasons=reasons,
    )
    attempt = Attempt(
        run=run, number=number, campaign=campaign,
        purpose=Purpose.WITNESS if kind == "witness" else Purpose.BURN_IN,
        started_at=_when(number, campaign, kind), recipe_name=recipe.name, wafer_count=load.wafer_count,
        outcome=outcome, void=campaign == 1 and outcome is Outcome.COUNTED, reasons=reasons, decided_by=by,
        second_name=second, trace_sha256=judgement.trace_sha256,
        judgement_sha256=digest_of(judgement.to_document()), evidence=evidence,
    )
    series = curves(recipe, played, number, dip=dip, in_full=kind in {"witness", "failure"})
    return RunRecord(attempt, recipe, judgement, series, load), trace


def _when(number: int, campaign: int, kind: str) -> str:
    if kind == "witness":
        return "2031-03-23T09:30:00.000Z"
    minutes = (number - 1 if campaign == 1 else number - 24) * 9
    day = 19 if campaign == 1 else 20 + minutes // 420
    return f"2031-03-{day:02d}T{8 + minutes % 420 // 60:02d}:{minutes % 60:02d}:00.000Z"


def _story(kind: str) -> tuple[Outcome, tuple[str, ...], str, str | None, tuple[str, ...], dict[str, float], bool, float | None]:
    if kind == "failure":
        reasons = ("the index was not proven within 20 s of the stop", "last tach pulse at 83 rpm, limit 40 rpm")
        return Outcome.RELEVANT_FAILURE, reasons, "judge", None, (sha256_of_bytes(NCR),), {"tach_lost_below": 83.0, "index_time": 20.0}, False, None
    if kind == "outside":
        reasons = ("the water supply dipped from 2.8 to 1.4 bar during the rinse; the supply log shows it",)
        return Outcome.INVALID_OUTSIDE, reasons, "TT-1", "QI-2", (sha256_of_bytes(SUPPLY_LOG),), {"di_pressure_low": 1.4, "di_flow": 9.4}, True, None
    if kind == "operator":
        reasons = ("stop pressed by the operator 61.0 s after the start",)
        return Outcome.INVALID_OPERATOR, reasons, "judge", None, (), {"operator_inputs": 1.0}, False, 61.0
    return Outcome.COUNTED, ("every step held its full time", "door order kept"), "judge", None, (), {}, False, None


def scope() -> tuple[ScopeLine, ...]:
    """Give the scope of the demo job: 6 lines declined, 2 supplied by the customer."""
    lower, shared, upper = "QM-207-L", "QM-207-S", "QM-207-U"
    accepted = (
        (lower, "bowl electropolish"), (lower, "rotor electropolish and balance"), (lower, "main bearing and shaft seal"),
        (lower, "door seal"), (lower, "tach sensor and bracket"), (lower, "rinse valve"), (lower, "nitrogen heater check"),
        (shared, "drain trap"), (shared, "breaker"),
    )
    declined = (
        (lower, "window replacement", "the crazed window stays; the view of the rotor is reduced"),
        (lower, "ion-module replacement", "static charge after drying was not measured"),
        (lower, "cover repaint", "scratches stay"),
        (shared, "frame repaint", "corrosion under the paint was not looked for"),
        (shared, "exhaust valve", "the exhaust flow was not set"),
        (upper, "upper head, all work", "safety observation: door switch channel 2 is welded; do not energise this head"),
    )
    supplied = ((lower, "cassette"), (lower, "nitrogen regulator"))
    rows = [(u, t, ScopeState.ACCEPTED, None) for u, t in accepted]
    rows += [(u, t, ScopeState.DECLINED, c) for u, t, c in declined]
    rows += [(u, t, ScopeState.CUSTOMER_SUPPLIED, None) for u, t in supplied]
    return tuple(ScopeLine(f"SC-{i:02d}", u, t, s, c) for i, (u, t, s, c) in enumerate(rows, 1))


def make_plan(customer: Recipe) -> Plan:
    """Give a plan of 54 runs."""
    head, _, _, _ = inputs()
    runs = []
    for number in range(1, 55):
        own = number % 10 == 1
        load = Load(name="witness load", slots=spread_slots(13, 25), wafer_mass_g=53.05)
        recipe = customer if own else fill_recipe(number)
        cell = Cell.CUSTOMER if own else Cell.CORNER if number % 10 == 2 else Cell.FILL
        runs.append(PlannedRun(number=number, cell=cell, recipe=recipe, load=load))
    return Plan(
        name="QA-1041 burn-in", head=head.designation, head_sha256=digest_of(head.to_document()), seed=1041,
        software=SOFTWARE, feasible_share=0.62, runs=tuple(runs), reliability_if_clean=0.9460,
        restart_rule="a change of configuration or a relevant failure closes the campaign; its counted runs become void",
    )


@cache
def example() -> Example:
    """Build the whole example."""
    head, limits, customer, witness_load = inputs()
    plan = make_plan(customer)
    kinds = ["good"] * 22 + ["failure"] + ["good"] * 56
    kinds[23 + 18], kinds[23 + 40] = "outside", "operator"
    records, traces, place = [], {}, 0
    for number, kind in enumerate(kinds, 1):
        campaign = 1 if number <= 23 else 2
        place = 0 if number == 24 else place
        planned = plan.runs[place]
        record, trace = _record(f"QA-1041-L-{number:03d}", number, campaign, planned.recipe, planned.load, kind)
        place += kind == "good"
        records.append(record)
        traces[record.attempt.run] = trace
    witness, trace = _record("QA-1041-L-080", 80, 2, customer, witness_load, "witness")
    traces[witness.attempt.run] = trace
    return Example(_handover(plan, records, witness), head, limits, traces, {sha256_of_bytes(d): d for d in (SUPPLY_LOG, NCR)})


def _handover(plan: Plan, records: list[RunRecord], witness: RunRecord) -> Handover:
    first, second = sha256_of_bytes(b"configuration 1"), sha256_of_bytes(b"configuration 2")
    return Handover(
        job="QA-1041", order="PO 40-7716Q", shop="Quillmere Spindle & Bowl Works", machine="QM-207", head="QM-207-L",
        head_in_words="lower head of two, on-axis, 200 mm, 25 slots", other_heads=("QM-207-U",),
        issued_at="2031-03-24T10:00:00.000Z", software=SOFTWARE, simulated=True, scope=scope(),
        configurations=(
            ConfigurationEntry(first, "2031-03-19T07:40:00.000Z", "as built after the dry test"),
            ConfigurationEntry(
                second, "2031-03-20T07:15:00.000Z",
                "tach sensor set from 1.90 mm back to 0.80 mm, lock-nut torque recorded, after the failure in attempt 23",
            ),
        ),
        plan=plan, attempts=tuple(r.attempt for r in records),
        tally=Tally(attempts=79, counted=54, void=22, relevant_failures=1, invalid=2, aborted=0),
        claims=(
            Claim(54, 0, 0.95, 0.05 ** (1 / 54), "54 of 54"),
            Claim(77, 1, 0.95, reliability_lower_bound(77, 1, 0.95), "pooled, 1 failure in 77"),
        ),
        runs=tuple(records), witness=witness,
        evidence=(
            EvidenceItem(sha256_of_bytes(SUPPLY_LOG), "supply-log.csv", "water pressure of the supply, day 20", "TT-1", "2031-03-20T15:00:00.000Z"),
            EvidenceItem(sha256_of_bytes(NCR), "ncr-01.txt", "record of the tach gap and of its correction", "AS-2", "2031-03-19T16:20:00.000Z"),
        ),
        audit_entries=412, audit_head=sha256_of_bytes(b"audit"), limits_name="QA-1041 run limits",
        instruments=(
            ("OT-3", "speed, optical", "calibrated, due 2031-03-31"),
            ("VB-2", "vibration", "calibrated, due 2031-02-28: ended before the runs, an indication only"),
            ("RC-7", "drain resistivity", "calibrated, due 2031-04-30"),
            ("PT-11", "seal pressure", "calibrated, due 2031-06-30"),
            ("TC-9", "nitrogen temperature", "calibrated, due 2031-06-30"),
        ),
    )
