"""The judgement of a run: from its trace, recipe, head, limits and load. Pure and repeatable."""

from spinproof.files.canonical import digest_of
from spinproof.judge.coast import drag_metrics
from spinproof.judge.door import door_metrics
from spinproof.judge.mounts import fast_metrics
from spinproof.judge.outcome import Findings, outcome_of, outside_cause_of
from spinproof.judge.process_metrics import process_metrics
from spinproof.judge.quality import quality_metrics, strangers
from spinproof.judge.readings import Readings
from spinproof.judge.seal import seal_metrics
from spinproof.judge.segments import StepRun, duration_metrics, executed, step_runs, stretches
from spinproof.judge.speed_metrics import dose_metrics, speed_metrics
from spinproof.judge.stop_sequence import events_of, find_stop_sequence
from spinproof.judge.two_speeds import speed_quarrels
from spinproof.judge.verdicts import judged
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Judgement
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.model.run import IncidentKind, Outcome
from spinproof.model.software import SOFTWARE
from spinproof.model.trace import Trace


def judge(trace: Trace, recipe: Recipe, head: HeadSpec, limits: LimitSet, load: Load) -> Judgement:
    """Judge a run.

    Parameters
    ----------
    trace : Trace
        What was recorded.
    recipe : Recipe
        What the run should have executed.
    head : HeadSpec
        The head it should have run on.
    limits : LimitSet
        What each metric has to keep.
    load : Load
        The wafers that were in the rotor.

    Returns
    -------
    Judgement
        Segments, events, metrics with their verdicts, the outcome and its reasons. The same inputs
        give the same document, byte for byte.

    Notes
    -----
    A channel that the trace lacks makes metrics that are not measured, and a limit on a metric
    that is not measured is never passed. A limit in another unit than its metric is refused with
    a ``DocumentError``.
    """
    readings = Readings(trace)
    parts = stretches(readings)
    runs = step_runs(parts, recipe, readings.reference)
    sequence = find_stop_sequence(readings, parts, head)
    raw = [
        *duration_metrics(runs, recipe, has_step_channel=readings.step is not None),
        *speed_metrics(runs, readings),
        *quality_metrics(runs, readings),
        *process_metrics(runs, head, readings),
        *dose_metrics(runs, recipe, readings),
        *door_metrics(sequence, readings, head, load),
        *drag_metrics(parts, readings, head),
        *seal_metrics(readings),
        *fast_metrics(trace, runs, head),
    ]
    findings = Findings(
        ending=trace.ending,
        recipe=recipe,
        head=head,
        runs=runs,
        metrics=judged(raw, recipe, limits),
        events=tuple(events_of(sequence, parts, readings)),
        incidents=readings.incidents,
        mismatches=(
            *_mismatches(trace, recipe, head, load),
            *_shape(executed(parts), recipe, readings),
            *_binding(runs, readings),
            *_no_proof(trace),
        ),
        cut_off=_cut_off(executed(parts), recipe, readings),
    )
    outcome, reasons = outcome_of(findings)
    return Judgement(
        run=trace.header.run,
        trace_sha256=trace.sha256,
        recipe_sha256=digest_of(recipe.to_document()),
        head_sha256=digest_of(head.to_document()),
        limits_sha256=digest_of(limits.to_document()),
        limits_name=limits.name,
        software=SOFTWARE,
        simulated=trace.header.simulated,
        ending=trace.ending,
        segments=tuple(run.segment for run in runs),
        events=findings.events,
        metrics=findings.metrics,
        incidents=readings.incidents,
        outcome=outcome,
        reasons=reasons,
        outside_cause=None if outcome is Outcome.COUNTED else outside_cause_of(findings),
    )


def _mismatches(trace: Trace, recipe: Recipe, head: HeadSpec, load: Load) -> list[str]:
    """Say what the trace's own header contradicts."""
    header, found = trace.header, []
    if header.head.designation != head.designation:
        found.append(
            f"recorded on head {header.head.designation}, but judged as head {head.designation}"
        )
    if header.channel_map.head != header.head.designation:
        found.append(
            f'the channel map "{header.channel_map.name}" belongs to head '
            f"{header.channel_map.head}, not to {header.head.designation}"
        )
    if header.recipe != recipe:
        found.append(
            f"ran another recipe: {header.recipe.name} revision {header.recipe.revision} was "
            f"loaded, {recipe.name} revision {recipe.revision} was planned"
        )
    if header.load != load:
        found.append(
            f'ran with another load: "{header.load.name}" was recorded, "{load.name}" was planned'
        )
    return found


def _shape(steps: tuple[int, ...], recipe: Recipe, readings: Readings) -> list[str]:
    """Say whether the controller executed other steps than the recipe has."""
    count = len(recipe.steps)
    if readings.step is None:
        return ["no channel says which step the controller executed"]
    if steps == tuple(range(1, min(len(steps), count) + 1)):
        return []
    ran = ", ".join(str(step) for step in steps) or "none"
    return [f"ran another recipe: steps {ran} were executed, the recipe has steps 1 to {count}"]


def _cut_off(steps: tuple[int, ...], recipe: Recipe, readings: Readings) -> str | None:
    """Say whether the last steps never ran."""
    count = len(recipe.steps)
    if readings.step is None or len(steps) >= count or steps != tuple(range(1, len(steps) + 1)):
        return None
    return f"only {len(steps)} of {count} steps ran"


def _no_proof(trace: Trace) -> list[str]:
    """Say what the recording noticed that leaves a channel without proof."""
    why = {
        IncidentKind.FROZEN: "what it shows proves nothing",
        IncidentKind.RATE: "its times prove nothing",
        IncidentKind.DISAGREEMENT: "nobody can say which is right",
    }
    return [
        f"{incident.text}, from {incident.time_s:.1f} s on: {why[incident.kind]}"
        for incident in trace.incidents
        if incident.kind in why
    ]


def _binding(runs: tuple[StepRun, ...], readings: Readings) -> list[str]:
    """Say whether the channels come from different heads, or contradict one another."""
    why = strangers(runs, readings)
    return speed_quarrels(runs, readings) if why is None else [why]
