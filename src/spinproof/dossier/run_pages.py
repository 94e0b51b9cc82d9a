"""What the pages about runs say: all attempts, each run, the witnessed one, those not counted."""

from spinproof.dossier.front_pages import Content, Numbered, wafers
from spinproof.dossier.numbers import (
    MINUS,
    interval,
    margin_in_words,
    moment,
    plain,
    rule_in_words,
    with_uncertainty,
)
from spinproof.dossier.statements import limits_in_words
from spinproof.figures.marks import mark_of
from spinproof.figures.units import printed_unit
from spinproof.model.handover import Attempt, Handover, RunRecord
from spinproof.model.judgement import Event, Metric, Verdict
from spinproof.model.metric_words import metric_words, printed_probability
from spinproof.model.recipe import Step
from spinproof.model.run import Outcome

SHORT = 16
"""Digits of a sum that a table shows; evidence.json has all of them."""


def attempt_rows(handover: Handover) -> list[Content]:
    """Give the table of all attempts; reasons show for those that did not count."""
    return [attempt_row(attempt) for attempt in handover.attempts]


def attempt_row(attempt: Attempt) -> Content:
    """Give one attempt as the tables print it."""
    mark = mark_of(attempt.outcome, void=attempt.void)
    counted = attempt.outcome is Outcome.COUNTED
    return {
        "number": str(attempt.number),
        "run": attempt.run,
        "campaign": str(attempt.campaign),
        "started": moment(attempt.started_at).removesuffix(" UTC"),
        "recipe": attempt.recipe_name,
        "wafers": str(attempt.wafer_count),
        "mark": mark_file(attempt),
        "outcome": "void" if attempt.void else attempt.outcome.value,
        "outcome_in_full": mark.words,
        "reasons": [] if counted else list(attempt.reasons),
        "decided_by": attempt.decided_by,
        "trace": attempt.trace_sha256[:SHORT],
        "judgement": attempt.judgement_sha256[:SHORT],
    }


def mark_file(attempt: Attempt) -> str:
    """Give the name of the figure that marks an attempt's outcome."""
    return f"mark-{mark_of(attempt.outcome, void=attempt.void).letter}.svg"


def verdict_file(verdict: Verdict) -> str:
    """Give the name of the figure that marks a verdict."""
    return f"verdict-{verdict.value.replace(' ', '-')}.svg"


def strip_entry(record: RunRecord) -> Content:
    """Give one run as it stands among its equals: who it is, beside its strip."""
    attempt = record.attempt
    return {
        **attempt_row(attempt),
        "figure": f"strip-{attempt.run}.svg",
        "alt": strip_alt(record),
        "load": wafers(attempt.wafer_count),
        "limits": limits_in_words(record),
    }


def strip_alt(record: RunRecord) -> str:
    """Give the text alternative of a run's strip."""
    events = ", ".join(f"{e.name} at {e.time_s:.1f} s" for e in record.judgement.events)
    return (
        f"Speed over time of run {record.attempt.run}, recipe {record.recipe.name}, top speed"
        f" {plain(record.recipe.top_speed_rpm)} rpm; events: {events or 'none'}."
    )


def run_in_full(record: RunRecord, *, passed_too: bool) -> Content:
    """Give everything about one run; metrics that were passed may be left out."""
    attempt, judgement = record.attempt, record.judgement
    return {
        **attempt_row(attempt),
        "reasons": list(attempt.reasons),
        "second_name": attempt.second_name,
        "figure": f"full-{attempt.run}.svg",
        "alt": f"All quantities over time. {strip_alt(record)}",
        "limits": limits_in_words(record),
        "load": _load_in_words(record),
        "software": judgement.software,
        "limit_set": f"{judgement.limits_name} ({judgement.limits_sha256[:SHORT]})",
        "steps": [_step_row(i, step, record) for i, step in enumerate(record.recipe.steps, 1)],
        "events": [_event_row(event) for event in judgement.events],
        "metrics": [
            _metric_row(metric)
            for metric in judgement.metrics
            if metric.verdict is not None and (passed_too or metric.verdict is not Verdict.PASS)
        ],
        "rules": "; ".join(sorted({m.rule for m in judgement.metrics if m.rule})),
        "readings": [_metric_row(metric) for metric in judgement.metrics if metric.verdict is None],
        "incidents": [f"{i.time_s:.1f} s: {i.text}" for i in judgement.incidents],
        "evidence": [sha256[:SHORT] for sha256 in attempt.evidence],
    }


def _load_in_words(record: RunRecord) -> str:
    load = record.load
    if load is None or not load.slots:
        return wafers(record.attempt.wafer_count)
    slots = ", ".join(map(str, load.slots))
    return f"{wafers(load.wafer_count)} of {plain(load.wafer_mass_g)} g each, in slots {slots}"


def _step_row(number: int, step: Step, record: RunRecord) -> Content:
    segment = next((s for s in record.judgement.segments if s.step == number), None)
    media = [word for word, on in (("water", step.water), ("nitrogen", step.nitrogen)) if on]
    if step.heater_c is not None:
        media.append(f"heater {plain(step.heater_c)} °C")
    return {
        "number": str(number),
        "name": step.name,
        "kind": step.kind.value,
        "duration": plain(step.duration_s),
        "speed": plain(step.speed_rpm),
        "ramp": plain(step.ramp_rpm_per_s),
        "basis": step.timer_basis.value.replace("-", " "),
        "media": ", ".join(media) or MINUS,
        "ran": f"{segment.start_s:.1f} to {segment.end_s:.1f}" if segment else "did not run",
    }


def _event_row(event: Event) -> list[str]:
    return [event.name, f"{event.time_s:.2f} ± {event.uncertainty_s:.2f} s"]


def _metric_row(metric: Metric) -> Content:
    unit, limit = printed_unit(metric.unit), metric.limit
    value = "not measured"
    if metric.value is not None:
        value = f"{with_uncertainty(metric.value, metric.uncertainty)} {unit}".rstrip()
    return {
        "name": metric_words(metric.name),
        "step": str(metric.step or ""),
        "value": value,
        "limit": interval(limit) if limit else "",
        "basis": f"{limit.basis.value.replace('-', ' ')}: {limit.source}" if limit else "",
        "rule": rule_in_words(limit) if limit else "",
        "verdict": metric.verdict.value if metric.verdict else None,
        "mark": verdict_file(metric.verdict) if metric.verdict else None,
        "conformance": ""
        if metric.conformance is None
        else f"P {printed_probability(metric.conformance)}",
        "margin": margin_in_words(metric),
        "note": "; ".join(filter(None, (metric.note, metric.remark))),
    }


def not_counted(handover: Handover, numbered: Numbered) -> list[Content]:
    """Give the runs that neither counted nor became void, each with its statement."""
    return [
        {
            **run_in_full(record, passed_too=False),
            "statement": numbered.one(f"not-counted-{record.attempt.number}"),
        }
        for record in handover.runs
        if record.attempt.outcome is not Outcome.COUNTED
    ]
