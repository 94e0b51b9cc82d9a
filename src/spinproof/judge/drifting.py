"""Judgements of a campaign to what drifts in it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spinproof.judge.drift_words import campaign_words, series_words
from spinproof.judge.recipe_effect import Comparable, SeenRun, comparable
from spinproof.model.judgement import Metric
from spinproof.model.limit import Limit
from spinproof.model.recipe import StepKind
from spinproof.model.series import (
    Compared,
    Drift,
    Forecast,
    Jolt,
    MetricSeries,
    SeriesChart,
    SeriesTrend,
)
from spinproof.stats.charts import centre_of, ewma_chart
from spinproof.stats.creep import Creep, creep_of
from spinproof.stats.drift import Trend, discounted, false_discoveries, likeness_of, trend_of
from spinproof.stats.onset import Onset, onset_of
from spinproof.stats.outliers import outliers_of

FEWEST = 8
"""With fewer values a drift is not told from scatter (common practice). [1]"""
FIRST_PHASE = 20
"""Values, half of them at most, that set the limits of a chart. [1]"""
SHARE = 0.05
"""Share of false discoveries; of what is judged alone, its chance of a false alarm. [1]"""

ALONE = {"door_order_breaches", "release_speed", "release_pressure"}
"""What protects people at the door: each is judged alone."""
NOT_OF_HEAD = {"largest_gap", "missing_share", "operator_inputs"}
"""What tells of the record or of the operator."""
SAME_AS = {
    "hold_speed": "speed_error",
    "ramp_rate": "ramp_error",
    "time_at_speed": "time_at_speed_shortfall",
    "end_resistivity": "resistivity_shortfall",
    "n2_flow": "n2_flow_error",
    "n2_temperature": "n2_temperature_error",
    "coast_time": "coast_time_error",
    "dose": "dose_error",
    "seal_pressure_loss": "seal_loss",
}
"""Metrics that another one says again, against the recipe: they would count twice."""

Key = tuple[str, int | None, StepKind | None]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Gathered:
    key: Key
    runs: list[SeenRun]
    metrics: list[Metric]
    values: list[float]


def drift_of(
    head: str, campaign: int | None, runs: Sequence[SeenRun], left_out: Sequence[str] = ()
) -> Drift:
    """Say what drifts over the runs of a campaign.

    Parameters
    ----------
    head : str
        Designation of the head.
    campaign : int or None
        Number of the campaign; None when there is none.
    runs : sequence of SeenRun
        Its runs in the order they were made.
    left_out : sequence of str
        What is not among them, in sentences.

    Returns
    -------
    Drift
        The same runs give the same answer.

    Notes
    -----
    A trend by ranks stands when the share of false discoveries over all metrics is held at 5 %;
    what protects people at the door is judged alone at 5 %. Neighbouring runs that resemble one
    another make a trend's chance larger. Single runs that stand out are told by
    a limit that holds the chance of one or more false ones in all series together at 5 %. The
    intervals of a creep's slope and of the run at which it reaches its limit weigh every beginning
    that the series leaves possible.

    References
    ----------
    .. [1] Y. Benjamini and Y. Hochberg, J. R. Stat. Soc. B 57, 289-300 (1995).
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.
    .. [3] B. Rosner, Technometrics 25, 165-172 (1983).
    """
    gathered = _gathered(runs)
    charted = [(g, _compare(g)) for g in gathered]
    trends = [_trend(c) if len(c.left_over) >= FEWEST else None for _, c in charted]
    family = [i for i, t in enumerate(trends) if t is not None and gathered[i].key[0] not in ALONE]
    chances = [t.chance for i in family if (t := trends[i]) is not None]
    stands = dict(zip(family, false_discoveries(chances, SHARE), strict=True))
    series = tuple(
        _series(
            g,
            c,
            t,
            drifts=t is not None and bool(stands.get(i, t.chance <= SHARE)),
            chance=SHARE / len(family) if i in stands else SHARE,
        )
        for i, ((g, c), t) in enumerate(zip(charted, trends, strict=True))
    )
    told = tuple(replace(one, words=series_words(one, len(family), SHARE)) for one in series)
    return Drift(
        head=head,
        campaign=campaign,
        runs=tuple(run.name for run in runs),
        series=told,
        words=(campaign_words(campaign, len(runs), told, FEWEST, SHARE), *left_out),
        simulated=any(run.judgement.simulated for run in runs),
    )


def _gathered(runs: Sequence[SeenRun]) -> list[_Gathered]:
    """Collect each metric of each step over the runs, without what another one says again."""
    found: dict[Key, _Gathered] = {}
    for run in runs:
        for metric in run.judgement.metrics:
            step = metric.step
            if metric.value is None or metric.name in NOT_OF_HEAD:
                continue
            if step is not None and step > len(run.recipe.steps):
                continue
            kind = None if step is None else run.recipe.steps[step - 1].kind
            key = (metric.name, step, kind)
            one = found.setdefault(key, _Gathered(key, [], [], []))
            one.runs.append(run)
            one.metrics.append(metric)
            one.values.append(metric.value)
    return [g for g in found.values() if not _is_said_again(g, found)]


def _trend(c: Comparable) -> Trend:
    """Give the trend by ranks; its chance allows for the likeness of neighbours."""
    trend = trend_of(c.left_over)
    if trend.chance > SHARE:
        return trend
    flat = _flat(c, onset_of(c.left_over))
    return replace(trend, chance=discounted(trend.chance, likeness_of(flat - flat.mean())))


def _is_said_again(one: _Gathered, found: dict[Key, _Gathered]) -> bool:
    name, step, kind = one.key
    twin = found.get((SAME_AS.get(name, ""), step, kind))
    return twin is not None and len(twin.values) >= len(one.values)


def _compare(one: _Gathered) -> Comparable:
    return comparable(one.key[0], one.key[1], one.runs, one.values)


def _series(
    one: _Gathered, c: Comparable, trend: Trend | None, *, drifts: bool, chance: float
) -> MetricSeries:
    name, step, kind = one.key
    runs = [one.runs[i] for i in c.places]
    names, positions = tuple(run.name for run in runs), tuple(run.position for run in runs)
    onset = onset_of(c.left_over) if drifts else None
    if onset is not None and c.compared in {Compared.FIT, Compared.MODEL}:
        c = comparable(name, step, one.runs, one.values, onset.shape.tolist())
    told = forecast = None
    jolts: tuple[Jolt, ...] = ()
    if trend is not None:
        pace = _pace(positions)
        creep = None if onset is None or not onset.creeps else creep_of(c.left_over, spent=c.spent)
        told = _told(c, trend, creep, pace, onset)
        jolts = _jolts(c, onset, names, chance)
        if creep is not None:
            forecast = _forecast(c, creep, one.metrics[-1].limit, pace)
    return MetricSeries(
        metric=name,
        step=step,
        kind=kind,
        place="" if step is None else f"in {one.runs[-1].recipe.steps[step - 1].name}",
        unit=one.metrics[-1].unit,
        runs=names,
        positions=positions,
        values=tuple(one.values[i] for i in c.places),
        left_over=c.left_over,
        compared=c.compared,
        how=c.how,
        alone=name in ALONE,
        trend=told,
        drifts=drifts,
        chart=None if trend is None else _chart(np.array(c.left_over), names),
        since=None if onset is None else names[onset.first],
        forecast=forecast,
        words="",
        jolts=jolts,
    )


def _jolts(
    c: Comparable, onset: Onset | None, names: tuple[str, ...], chance: float
) -> tuple[Jolt, ...]:
    """Give the single runs that stand out once a drift is taken off."""
    flat = _flat(c, onset)
    spent, most = c.spent + 2 * int(onset is not None), max(flat.size // 10, 1)
    found = outliers_of(flat, chance, most=most, spent=spent)
    return tuple(Jolt(names[each.place], each.off, each.deviations) for each in found)


def _flat(c: Comparable, onset: Onset | None) -> Floats:
    """Take the drift that stands off a series."""
    left = np.array(c.left_over)
    return left if onset is None else left - onset.size * onset.shape


def _pace(positions: tuple[int, ...]) -> float:
    """Give how many runs of the campaign lie from one value to the next, in the mean."""
    return max((positions[-1] - positions[0]) / (len(positions) - 1), 1.0) if positions[1:] else 1.0


def _told(
    c: Comparable, trend: Trend, creep: Creep | None, pace: float, onset: Onset | None
) -> SeriesTrend:
    """Give a trend by ranks; the slope of a creep with every beginning weighed."""
    recent, left = trend, np.array(c.left_over)
    if onset is not None and not onset.creeps and left.size - onset.first >= FEWEST:
        recent = trend_of(left[onset.first :])
    slope, low, high = recent.slope, recent.low, recent.high
    if creep is not None:
        slope, low, high = (creep.slope_at(chance) for chance in (0.5, 0.025, 0.975))
    flat = left - trend.slope * np.arange(left.size) if onset is None else _flat(c, onset)
    flat = flat - flat.mean()
    power = float(flat @ flat)
    return SeriesTrend(
        chance=trend.chance,
        slope=slope / pace,
        low=low / pace,
        high=high / pace,
        shift=None if onset is None or onset.creeps else onset.size,
        likeness=float(flat[1:] @ flat[:-1]) / power if power > 0 else 0.0,
    )


def _chart(left: Floats, runs: tuple[str, ...]) -> SeriesChart | None:
    first = _first_phase(left)
    centre = centre_of(left[:first])
    if centre.deviation <= 0:
        return None
    chart = ewma_chart(left, centre)
    return SeriesChart(
        centre=centre.mean,
        first_phase=first,
        weighted=tuple(map(float, chart.values)),
        lower=tuple(map(float, chart.lower)),
        upper=tuple(map(float, chart.upper)),
        signals=tuple(runs[i] for i in chart.signals),
    )


def _first_phase(left: Floats) -> int:
    return min(FIRST_PHASE, max(FEWEST, left.size // 2))


def _forecast(c: Comparable, creep: Creep, limit: Limit | None, pace: float) -> Forecast | None:
    """Say when the recipe that lies nearest to the limit would reach it."""
    slope = creep.slope_at(0.5)
    if limit is None or slope == 0:
        return None
    bound = limit.upper if slope > 0 else limit.lower
    if bound is None:
        return None
    level = bound - (max(c.expected) if slope > 0 else min(c.expected))
    now = float(creep.weight @ creep.now)
    if (level - now) * slope <= 0:
        return Forecast(bound, 0.0, 0.0, 0.0)
    runs, soonest, latest = (
        None if n is None else n * pace
        for n in (creep.steps_to(level, chance) for chance in (0.5, 0.025, 0.975))
    )
    return Forecast(bound, runs, soonest, latest)
