"""The metrics the judge knows, and what the limits say about them."""

from math import floor, isfinite, log10

from spinproof.model.errors import DocumentError
from spinproof.model.judgement import Metric, Verdict
from spinproof.model.limit import Limit, LimitSet
from spinproof.model.recipe import Recipe
from spinproof.stats.conformity import decide
from spinproof.stats.decision_rules import RULES

STEP_UNITS = {
    "step_duration_error": "s",
    "hold_speed": "rpm",
    "speed_error": "%",
    "ripple": "%",
    "ramp_rate": "rpm/s",
    "ramp_error": "%",
    "overshoot": "%",
    "settling_time": "s",
    "time_at_speed": "s",
    "time_at_speed_shortfall": "s",
    "vibration": "mm/s",
    "vibration_peak": "mm/s",
    "motor_current": "A",
    "di_flow": "L/min",
    "di_pressure_low": "bar_g",
    "rinse_close_time": "s",
    "end_resistivity": "MOhm.cm",
    "resistivity_shortfall": "MOhm.cm",
    "feed_resistivity_low": "MOhm.cm",
    "n2_flow": "slm",
    "n2_flow_error": "%",
    "n2_temperature": "degC",
    "n2_temperature_error": "degC",
}
"""Unit of each metric of a step; ``docs/metrics.md`` says what each one is."""
FAST_UNITS = {
    "severity": "mm/s",
    "severity_1x": "mm/s",
    "lag_1x": "deg",
    "crest_factor": "1",
    "kurtosis": "1",
    "clipped_share": "%",
    "envelope_outer": "m/s2",
    "envelope_inner": "m/s2",
    "envelope_cage": "m/s2",
    "envelope_element": "m/s2",
}
"""Unit of each metric of a step that only a fast stream tells."""
FAST_RUN_UNITS = {"resonance_speed": "rpm", "resonance_damping": "1"}
"""Unit of each metric of the whole run that only a fast stream tells."""
RUN_UNITS = {
    "dose": "rad2/s",
    "dose_error": "%",
    "coast_time": "s",
    "coast_time_error": "%",
    "tach_lost_below": "rpm",
    "index_time": "s",
    "vent_time": "s",
    "release_pressure": "kPa_g",
    "release_speed": "rpm",
    "door_order_breaches": "1",
    "seal_loss": "%/min",
    "seal_pressure_loss": "kPa/min",
    "drag_coulomb": "rad/s2",
    "drag_viscous": "1/s",
    "drag_windage": "1/rad",
    "tach_agreement": "%",
    "display_agreement": "%",
    "largest_gap": "1",
    "missing_share": "%",
    "operator_inputs": "1",
    "tach_repairs": "1",
}
"""Unit of each metric of the whole run."""
UNITS = STEP_UNITS | FAST_UNITS | FAST_RUN_UNITS | RUN_UNITS
"""Unit of each metric."""


def rounded(value: float, uncertainty: float = 0.0) -> float:
    """Round to six significant digits, and to a thousandth of the uncertainty.

    What lies beyond them means nothing, and depends on the machine.
    """
    if value == 0 or not isfinite(value):
        return value
    digits = 5 - floor(log10(abs(value)))
    if uncertainty > 0:
        digits = min(digits, 3 - floor(log10(uncertainty)))
    return round(value, digits) + 0.0


def measured(
    name: str,
    value: float,
    uncertainty: float,
    *,
    step: int | None = None,
    note: str | None = None,
    verdict: Verdict | None = None,
) -> Metric:
    """Make a metric from a number; one that is not a number becomes a missing metric."""
    if not (isfinite(value) and isfinite(uncertainty)):
        return missing(name, note or "too few readings", step=step)
    return Metric(
        name=name,
        unit=UNITS[name],
        step=step,
        value=rounded(float(value), float(uncertainty)),
        uncertainty=rounded(float(uncertainty)),
        note=note,
        verdict=verdict,
    )


def missing(
    name: str, why: str, *, step: int | None = None, verdict: Verdict = Verdict.NOT_MEASURED
) -> Metric:
    """Make a metric without a number, and say why there is none."""
    return Metric(name=name, unit=UNITS[name], step=step, note=why, verdict=verdict)


def judged(metrics: list[Metric], recipe: Recipe, limits: LimitSet) -> tuple[Metric, ...]:
    """Put each metric beside its limit, and give its verdict by the limit's own rule."""
    for limit in limits.limits:
        _require_sense(limit, limits.name)
    strangers = [
        Metric(
            name=limit.metric,
            unit=limit.unit,
            limit=limit,
            verdict=Verdict.NOT_MEASURED,
            rule=None,
            note="the judge knows no metric of this name",
        )
        for limit in limits.limits
        if limit.metric not in UNITS
    ]
    told = {metric.name for metric in metrics}
    untold = [
        missing(limit.metric, "no fast stream tells it").model_copy(update={"limit": limit})
        for limit in limits.limits
        if limit.metric in FAST_UNITS | FAST_RUN_UNITS and limit.metric not in told
    ]
    return (*(_judged(metric, recipe, limits) for metric in metrics), *strangers, *untold)


def _judged(metric: Metric, recipe: Recipe, limits: LimitSet) -> Metric:
    kind = None if metric.step is None else recipe.steps[metric.step - 1].kind
    limit = limits.for_metric(metric.name, kind)
    if limit is None:
        return metric.model_copy(update={"verdict": None})
    if metric.value is None or metric.uncertainty is None:
        return metric.model_copy(update={"limit": limit})
    rule = RULES[limit.rule]
    decision = decide(metric.value, metric.uncertainty, limit.lower, limit.upper, rule=rule)
    return metric.model_copy(
        update={
            "limit": limit,
            "verdict": metric.verdict or decision.verdict,
            "conformance": round(decision.conformance, 6),
            "rule": decision.rule,
            "margin": rounded(decision.margin, metric.uncertainty),
            "remark": decision.remark,
        }
    )


def _require_sense(limit: Limit, name: str) -> None:
    if limit.metric in RUN_UNITS | FAST_RUN_UNITS and limit.step_kind is not None:
        raise DocumentError(
            f"the limit for {limit.metric} is restricted to steps of kind {limit.step_kind}",
            where=name,
            mend="That metric belongs to the whole run: leave step_kind out.",
        )
    unit = UNITS.get(limit.metric)
    if unit is not None and unit != limit.unit:
        raise DocumentError(
            f'the limit for {limit.metric} is in "{limit.unit}"',
            where=name,
            mend=f'The metric is in "{unit}": give the limit in that unit.',
        )
