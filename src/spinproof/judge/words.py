"""Reasons in plain words, with numbers and units."""

from collections.abc import Iterable

from spinproof.model.judgement import Metric, Verdict
from spinproof.model.metric_words import metric_words
from spinproof.model.recipe import Recipe

PRINTED = {
    "1": "",
    "%": " %",
    "degC": " °C",
    "MOhm.cm": " MΩ·cm",
    "bar_g": " bar gauge",
    "kPa_g": " kPa gauge",
    "rad2/s": " rad²/s",
}


def number(value: float, unit: str) -> str:
    """Give a value with its unit, to four significant digits."""
    shown = f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
    return f"{shown}{PRINTED.get(unit, f' {unit}')}"


def place(step: int | None, recipe: Recipe) -> str:
    """Name the step that something belongs to, as the begin of a sentence."""
    if step is None or step > len(recipe.steps):
        return ""
    return f"step {step}, {recipe.steps[step - 1].name}: "


def reason_of(metric: Metric, recipe: Recipe) -> str:
    """Say why a metric stands in the way of counting."""
    where = place(metric.step, recipe)
    if metric.value is None:
        what = "failed" if metric.verdict is Verdict.FAIL else "not measured"
        return f"{where}{metric_words(metric.name)} {what}: {metric.note}"
    if metric.name == "step_duration_error":
        return where + _cut(metric)
    if metric.name == "door_order_breaches":
        what = "undecided" if metric.verdict is Verdict.UNDECIDED else "broken"
        return f"order of the stop sequence {what}: {metric.note}"
    text = f"{where}{metric_words(metric.name)} {number(metric.value, metric.unit)}"
    note = f" ({metric.note})" if metric.note else ""
    if metric.verdict is Verdict.UNDECIDED:
        spread = number(metric.uncertainty or 0.0, metric.unit)
        return f"{text}{note}, too near to {_bounds(metric)} to decide, u = {spread}"
    return f"{text}{note}, outside {_bounds(metric)}"


def reasons_of(metrics: Iterable[Metric], recipe: Recipe) -> list[str]:
    """Say why metrics stand in the way: failures first, unmeasured ones of one cause together."""
    order = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.NOT_MEASURED)
    found: list[str] = []
    by_cause: dict[str, list[Metric]] = {}
    for metric in sorted(metrics, key=lambda m: order.index(m.verdict or Verdict.NOT_MEASURED)):
        if metric.verdict is Verdict.NOT_MEASURED:
            by_cause.setdefault(metric.note or "no reason given", []).append(metric)
        else:
            found.append(reason_of(metric, recipe))
    return found + [_unmeasured(cause, group, recipe) for cause, group in by_cause.items()]


def _cut(metric: Metric) -> str:
    off = metric.value or 0.0
    if metric.verdict is Verdict.UNDECIDED:
        return f"ended {abs(off):.2f} s off its time, too near to {_bounds(metric)} to decide"
    return f"ended {abs(off):.1f} s {'early' if off < 0 else 'late'}: {metric.note}"


def _bounds(metric: Metric) -> str:
    limit = metric.limit
    if limit is None:
        return "its limit"
    if limit.lower is None:
        return f"the limit of at most {number(limit.upper or 0.0, limit.unit)}"
    if limit.upper is None:
        return f"the limit of at least {number(limit.lower, limit.unit)}"
    if limit.lower == -limit.upper:
        return f"the limit of ±{number(limit.upper, limit.unit)}"
    low, high = f"{limit.lower:g}", number(limit.upper, limit.unit)
    return f"the limits of {low} to {high}"


def _unmeasured(cause: str, group: list[Metric], recipe: Recipe) -> str:
    names = list(dict.fromkeys(metric_words(metric.name) for metric in group))
    steps = sorted({metric.step for metric in group if metric.step is not None})
    where = ""
    if len(steps) == 1:
        where = place(steps[0], recipe)
    elif steps:
        where = f"steps {', '.join(str(step) for step in steps)}: "
    return f"{where}not measured: {', '.join(names)}: {cause}"
