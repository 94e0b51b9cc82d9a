"""Whether a run counts, and why: in plain words."""

from collections.abc import Sequence
from dataclasses import dataclass

from spinproof.judge.segments import StepRun
from spinproof.judge.words import number, place, reasons_of
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Event, Metric, Verdict
from spinproof.model.recipe import Recipe
from spinproof.model.run import Ending, Incident, IncidentKind, Outcome

ENDINGS = {
    Ending.INTERRUPTED: "the recorder stopped in mid-run",
    Ending.STAND_LOST: "the stand stopped answering in mid-run",
    Ending.NEVER_FINISHED: "the run did not end within the time its recipe could need",
}
SPOILED_BY_A_STOP = {"dose_error", "operator_inputs", "largest_gap", "missing_share"}
"""Metrics of the whole run that an early stop spoils, or that say nothing of the head."""
NOTED = {
    IncidentKind.CLOCK_STEP,
    IncidentKind.LATE,
    IncidentKind.OUT_OF_ORDER,
    IncidentKind.DUPLICATE,
    IncidentKind.COUNTER_RESET,
    IncidentKind.PULSES_REPAIRED,
    IncidentKind.SPIKE,
}
"""What a recording noticed about itself and a counted run must tell."""
LOW_SHARE = 0.8
"""Share of nominal below which a supply is called low when no limit is set."""


@dataclass(frozen=True)
class Findings:
    """Everything that the decision on a run looks at."""

    ending: Ending
    recipe: Recipe
    head: HeadSpec
    runs: tuple[StepRun, ...]
    metrics: tuple[Metric, ...]
    events: tuple[Event, ...]
    incidents: tuple[Incident, ...]
    mismatches: tuple[str, ...]
    """What shows that the trace is of another run, recipe, load or head."""
    cut_off: str | None
    """What shows that the last steps never ran."""


def outcome_of(findings: Findings) -> tuple[Outcome, tuple[str, ...]]:
    """Decide what becomes of a run, and say why."""
    failed = blocking(findings.metrics)
    pressed = next((e.time_s for e in findings.events if e.name == "stop pressed"), None)
    against = [*findings.mismatches, *_faults(findings)]
    if findings.ending in ENDINGS:
        before = _failed_on_its_own(failed, findings.runs, pressed)
        reasons = (*_cut_off(findings), *against, *reasons_of(before, findings.recipe))
        return Outcome.ABORTED, (ENDINGS[findings.ending], *reasons)
    if pressed is not None and not findings.mismatches:
        stopped = f"stop was pressed at {pressed:.1f} s{_during(findings, pressed)}"
        before = _failed_on_its_own(failed, findings.runs, pressed)
        reasons = (*against, *reasons_of(before, findings.recipe))
        if not reasons:
            return Outcome.INVALID_OPERATOR, (stopped,)
        return Outcome.RELEVANT_FAILURE, (*reasons, f"{stopped}, which excuses none of this")
    reasons = (*_cut_off(findings), *against, *reasons_of(failed, findings.recipe))
    if reasons:
        return Outcome.RELEVANT_FAILURE, reasons
    return Outcome.COUNTED, (*_in_order(findings), *_notes(findings.incidents))


def blocking(metrics: Sequence[Metric]) -> list[Metric]:
    """Give the metrics whose limit counts and was not passed."""
    return [
        metric
        for metric in metrics
        if metric.limit is not None and metric.limit.counts and metric.verdict is not Verdict.PASS
    ]


def outside_cause_of(findings: Findings) -> str | None:
    """Say what in the trace points to a cause outside the head, if anything does."""
    head, recipe = findings.head, findings.recipe
    feeds = [step.end_resistivity_mohm_cm for step in recipe.steps]
    needed = max((feed for feed in feeds if feed is not None), default=0.0)
    for metric in findings.metrics:
        if metric.value is None:
            continue
        where = place(metric.step, recipe).removesuffix(": ")
        if metric.name == "di_pressure_low" and _is_low(metric, LOW_SHARE * head.di_pressure_bar_g):
            return (
                f"the supply of DI water fell to {number(metric.value, metric.unit)} in {where} "
                f"(nominal {head.di_pressure_bar_g:g})"
            )
        if metric.name == "feed_resistivity_low" and _is_low(metric, needed):
            fell = number(metric.value, metric.unit)
            return f"the resistivity of the feed fell to {fell} in {where}"
    return None


def _is_low(metric: Metric, otherwise: float) -> bool:
    if metric.limit is not None:
        return metric.verdict is not Verdict.PASS
    return metric.value is not None and metric.value < otherwise


def _cut_off(findings: Findings) -> list[str]:
    return [findings.cut_off] if findings.cut_off else []


def _failed_on_its_own(
    failed: Sequence[Metric], runs: tuple[StepRun, ...], pressed_s: float | None
) -> list[Metric]:
    """Give what failed in spite of an early end: in steps that were over, or in the stop."""
    over = {
        run.number
        for run in runs
        if run.is_whole and (pressed_s is None or run.end_s < pressed_s - run.error_s)
    }
    return [
        metric
        for metric in failed
        if metric.verdict is Verdict.FAIL
        and (metric.step in over or (metric.step is None and metric.name not in SPOILED_BY_A_STOP))
    ]


def _during(findings: Findings, moment: float) -> str:
    for run in findings.runs:
        if run.start_s <= moment <= run.end_s + run.error_s:
            return f", during {place(run.number, findings.recipe).removesuffix(': ')}"
    return ""


def _faults(findings: Findings) -> list[str]:
    return [
        f"the controller reported a fault at {event.time_s:.1f} s"
        for event in findings.events
        if event.name == "fault"
    ]


def _in_order(findings: Findings) -> list[str]:
    held = ", ".join(
        f"{metric.note}" for metric in findings.metrics if metric.name == "step_duration_error"
    )
    limits = sum(metric.limit is not None for metric in findings.metrics)
    order = next((m.note for m in findings.metrics if m.name == "door_order_breaches"), None)
    found = [f"all {len(findings.runs)} steps held their time: {held}"]
    if limits:
        found.append(f"{limits} of {limits} verdicts passed")
    if order:
        found.append(f"stop sequence: {order}")
    return found


def _notes(incidents: Sequence[Incident]) -> list[str]:
    return [
        f"noted at {incident.time_s:.1f} s: {incident.text}"
        for incident in incidents
        if incident.kind in NOTED
    ]
