"""What the commands print: tables and live lines, in words and shapes, not by colour alone."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table

from spinproof.model.handover import Attempt, Tally
from spinproof.model.judgement import Judgement, Metric, Verdict
from spinproof.model.plan import Plan

if TYPE_CHECKING:
    from spinproof.model.trace import Trace

console = Console(highlight=False, soft_wrap=False)

MARKS = {
    Verdict.PASS: "✓ pass",
    Verdict.FAIL: "✗ fail",
    Verdict.UNDECIDED: "? undecided",
    Verdict.NOT_MEASURED: "– not measured",
}


def say(text: str) -> None:
    """Print a line as it is."""
    console.print(text, markup=False, soft_wrap=True)


def number(value: float | None, uncertainty: float | None = None) -> str:
    """Write a value with its expanded uncertainty (k = 2), to the digits that mean something."""
    if value is None:
        return "–"
    if not uncertainty:
        return f"{value:.4g}"
    spread = 2 * uncertainty
    digits = max(0, -int(f"{spread:.0e}".split("e")[1]) + 1)
    return f"{value:.{digits}f} ± {spread:.{digits}f}"


def bounds(metric: Metric) -> str:
    """Write a limit as an interval."""
    limit = metric.limit
    if limit is None:
        return ""
    if limit.lower is None:
        return f"≤ {limit.upper:g}"
    if limit.upper is None:
        return f"≥ {limit.lower:g}"
    return f"{limit.lower:g} … {limit.upper:g}"


def judgement_table(judgement: Judgement, *, every: bool) -> Table:
    """Lay out the metrics of a run; without ``every``, only those with a limit."""
    table = Table(title=None, box=None, pad_edge=False, header_style="bold")
    for head in ("step", "metric", "value (k = 2)", "unit", "limit", "verdict"):
        table.add_column(head, justify="right" if head.startswith("value") else "left")
    names = {segment.step: segment.name for segment in judgement.segments}
    for metric in judgement.metrics:
        if metric.verdict is None and not every:
            continue
        step = "run" if metric.step is None else f"{metric.step} {names.get(metric.step, '')}"
        verdict = "" if metric.verdict is None else MARKS[metric.verdict]
        table.add_row(
            step,
            metric.name,
            number(metric.value, metric.uncertainty),
            metric.unit,
            bounds(metric),
            verdict,
        )
    return table


def print_judgement(judgement: Judgement, *, every: bool = False) -> None:
    """Print a judgement: outcome and reasons first, then the table."""
    simulated = "  SIMULATED" if judgement.simulated else ""
    console.print(f"{judgement.run}: [bold]{judgement.outcome}[/bold]{simulated}")
    for reason in judgement.reasons:
        console.print(f"  - {reason}", markup=False)
    if judgement.outside_cause:
        console.print(
            f"  - points to an outside cause: {judgement.outside_cause} "
            "(people decide, with evidence and a second name)",
            markup=False,
        )
    console.print(judgement_table(judgement, every=every))


def print_plan(plan: Plan) -> None:
    """Print a plan as a table, with the claim it would support."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for head in ("run", "why", "steps: s@rpm", "rpm/s", "°C", "wafers"):
        table.add_column(head, no_wrap=True)
    shift = 1
    for run in plan.runs:
        if run.block != shift:
            shift = run.block
            table.add_row("", f"shift {shift}")
        steps = " ".join(f"{s.duration_s:g}@{s.speed_rpm:g}" for s in run.recipe.steps)
        heat = next((f"{s.heater_c:g}" for s in run.recipe.steps if s.heater_c), "off")
        wafers, why = f"{run.load.wafer_count}{' *' * bool(run.note)}", str(run.cell)
        ramp = f"{run.recipe.steps[0].ramp_rpm_per_s:g}"
        table.add_row(f"{run.number}{'!' * run.pinned}", why, steps, ramp, heat, wafers)
    console.print(table)
    for run in plan.runs:
        if run.pause_s:
            console.print(
                f"before run {run.number}: {run.pause_s:.0f} s more for the drive to cool"
            )
    for edit in plan.edits:
        console.print(f"edited: {edit}", markup=False)
    notes = [run.note for run in plan.runs if run.note]
    if notes:
        more = f" Something like it holds for {len(notes)} runs." if len(notes) > 1 else ""
        console.print(f"* {notes[0]}{more}", markup=False)
    hours = plan.process_time_s / 3600
    console.print(
        f"{len(plan.runs)} runs, {hours:.1f} h of process time, seed {plan.seed}; the constraints "
        f"leave {plan.feasible_share:.1%} of the envelope's box.\n"
        f"If every run counts: a further run is good with probability "
        f"{plan.reliability_if_clean:.4f} "
        f"or more, at {plan.confidence:.0%} confidence, for recipes inside this envelope."
    )


def print_trace(trace: "Trace", folder: Path) -> None:
    """Print what a recording became, with all that it noticed about itself."""
    simulated = "  SIMULATED" if trace.header.simulated else ""
    say(f"{trace.header.run}: {trace.ending}, {trace.duration_s:.1f} s{simulated}")
    for incident in trace.incidents:
        say(f"  - {incident.kind} at {incident.time_s:.1f} s: {incident.text}")
    say(f"trace: {folder / trace.sha256}.parquet")


def print_attempts(attempts: Sequence[Attempt], tally: Tally) -> None:
    """Print all attempts of a head in order, and how they add up."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    for head in ("run", "campaign", "recipe", "wafers", "outcome", "why"):
        table.add_column(head)
    for attempt in attempts:
        outcome = f"void (was {attempt.outcome})" if attempt.void else attempt.outcome.value
        why = attempt.reasons[0] if attempt.reasons else ""
        row = (attempt.run, str(attempt.campaign), attempt.recipe_name, str(attempt.wafer_count))
        table.add_row(*row, outcome, why)
    console.print(table)
    say(str(tally))
