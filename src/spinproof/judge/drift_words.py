"""A drift in sentences."""

from collections.abc import Sequence
from math import sqrt

from spinproof.model.metric_words import metric_words, printed_probability
from spinproof.model.series import Compared, Forecast, MetricSeries, SeriesTrend


def series_words(one: MetricSeries, family: int, share: float) -> str:
    """Say what a series shows, in one or more sentences.

    Parameters
    ----------
    one : MetricSeries
        The series.
    family : int
        Number of series that were looked at together. [1]
    share : float
        Share of false discoveries among them. [1]

    Returns
    -------
    str
        Sentences.
    """
    name = series_name(one)
    if one.trend is None:
        return f"{name}: too few runs to tell ({len(one.values)}); {one.how}."
    jolts = _jolts(one)
    chance = f"chance without a drift {printed_probability(one.trend.chance)}"
    if not one.drifts:
        return " ".join(filter(None, (f"{name}: no drift shows ({chance}); {one.how}.", jolts)))
    stands = (
        f"judged alone at {share:.0%}"
        if one.alone
        else f"it stands among {family} series at {share:.0%} false discoveries"
    )
    moves = _moves(one.trend, one.unit)
    parts = [
        f"{name} {moves}, since about {one.since}: {chance}, {stands}.",
        _signals(one),
        jolts,
        _limit_words(one),
        _likeness(one.trend, len(one.values)),
        f"Charted: {one.how}.",
    ]
    return " ".join(filter(None, parts))


def campaign_words(
    campaign: int | None, runs: int, series: Sequence[MetricSeries], fewest: int, share: float
) -> str:
    """Say what was looked at, and whether anything in it drifts.

    Parameters
    ----------
    campaign : int or None
        Number of the campaign.
    runs : int
        Runs that were looked at. [1]
    series : sequence of MetricSeries
        Their series.
    fewest : int
        Values that a series needs. [1]
    share : float
        Share of false discoveries. [1]

    Returns
    -------
    str
        Sentences.
    """
    if campaign is None:
        return "There is no campaign yet: nothing to look at."
    told = [one for one in series if one.is_told]
    family, alone = sum(not one.alone for one in told), sum(one.alone for one in told)
    few = len(series) - len(told)
    where = f"campaign {campaign}, {runs} runs"
    if not told:
        return f"Too few runs to tell a drift: {where}; {fewest} values of a metric are needed."
    moving = sum(one.drifts for one in told)
    found = f"{moving} of {len(told)} series drift" if moving > 1 else "1 series drifts"
    text = (
        f"{found if moving else 'Nothing drifts in what was looked at'}: {where}, {family} series "
        f"of metrics together with {share:.0%} false discoveries"
    )
    text += f", {alone} at the door each alone at {share:.0%}." if alone else "."
    jolted = sum(bool(one.jolts) for one in told)
    if jolted:
        text += f" Single runs stand out in {jolted} series."
    if few:
        have = "have" if few > 1 else "has"
        text += f" {few} more {have} fewer than {fewest} comparable values: too few runs to tell."
    return text


def _moves(trend: SeriesTrend, unit: str) -> str:
    if trend.shift is not None:
        return f"shifted by {trend.shift:+.2g} {unit} and then held"
    if trend.low <= 0 <= trend.high:
        return "moves at no steady pace"
    return (
        f"{'rises' if trend.slope > 0 else 'falls'} by {abs(trend.slope):.2g} {unit} a run "
        f"(95 %, every beginning weighed: {_span(trend)})"
    )


def _span(trend: SeriesTrend) -> str:
    low, high = sorted((abs(trend.low), abs(trend.high)))
    return f"{low:.2g} to {high:.2g}"


def _signals(one: MetricSeries) -> str:
    signals = one.chart.signals if one.chart is not None else ()
    if not signals:
        return ""
    count = f"{len(signals)} run{'s' if len(signals) > 1 else ''}"
    return f"The weighted mean lies outside its limits at {count}, the last {signals[-1]}."


def _jolts(one: MetricSeries) -> str:
    """Tell the runs that stand out by themselves."""
    return " ".join(
        f"{jolt.run} stands out by itself: {jolt.off:+.2g} {one.unit}, "
        f"{jolt.deviations:.1f} standard deviations of the other runs."
        for jolt in one.jolts
    )


def _limit_words(one: MetricSeries) -> str:
    trend, forecast = one.trend, one.forecast
    if trend is not None and (trend.shift is not None or trend.low <= 0 <= trend.high):
        return "No run can be named at which it would reach a limit."
    if forecast is None:
        return "No limit is set on the side that it goes to."
    at = f"its limit of {forecast.limit:g} {one.unit}"
    by_recipe = one.compared in {Compared.FIT, Compared.MODEL}
    where = " in the recipe nearest to it" if by_recipe else ""
    if forecast.runs == 0:
        return f"It has reached {at}{where}."
    return f"If it goes on, it reaches {at}{where} in about {_runs(forecast)}."


def _runs(forecast: Forecast) -> str:
    def whole(n: float | None) -> str:
        return "never" if n is None else f"{n:.0f}"

    return (
        f"{whole(forecast.runs)} runs (95 %: {whole(forecast.soonest)} to {whole(forecast.latest)})"
    )


def _likeness(trend: SeriesTrend, count: int) -> str:
    if abs(trend.likeness) <= 2 / sqrt(count):
        return ""
    return (
        f"Neighbouring runs resemble one another (correlation {trend.likeness:.2f}), which the "
        "chance and the intervals allow for."
    )


def series_name(one: MetricSeries) -> str:
    """Name a series at the start of a sentence, for example "Vibration in fast dry"."""
    words = metric_words(one.metric)
    comma = "," if "," in words and one.place else ""
    return " ".join(filter(None, (f"{words[:1].upper()}{words[1:]}{comma}", one.place)))
