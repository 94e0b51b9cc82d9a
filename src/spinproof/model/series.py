"""A burn-in as series of runs: what drifts, since when, how sure, and when it meets its limit."""

from dataclasses import dataclass
from enum import StrEnum

from spinproof.model.recipe import StepKind


class Compared(StrEnum):
    """What the values of a series were compared with, since recipes differ by design."""

    VALUES = "the values themselves"
    """The metric does not depend on the recipe, or is measured against it already."""
    MODEL = "what the calibrated head predicts"
    """The head's own drag, fitted to its coast-downs, says what each recipe should give."""
    FIT = "what the recipe explains"
    """A robust fit over the recipes and loads of all runs."""
    REPEATED = "runs of the repeated recipe"
    """There are too few runs for a fit: the customer's recipe alone."""


@dataclass(frozen=True)
class Expected:
    """What the calibrated model of a head expects of a metric in one run.

    Attributes
    ----------
    value : float
        The value, or what the metric follows in proportion. [unit of the metric, or its own]
    uncertainty : float
        Standard uncertainty of the model, which all runs share. [same]
    is_shape : bool
        Whether the metric is known up to an offset and a factor only.
    what : str
        What is expected in words, for example "drag torque at the set-point".
    """

    value: float
    uncertainty: float
    what: str
    is_shape: bool = False


@dataclass(frozen=True)
class SeriesTrend:
    """A trend of a series by ranks."""

    chance: float
    """Two-sided chance of such an order of the runs without a drift. [1]"""
    slope: float
    """Change per run of the campaign, from where the drift began. [unit of the metric]"""
    low: float
    high: float
    """Interval of the slope at 95 %, every beginning weighed. [unit of the metric]"""
    shift: float | None
    """Height, when it moved at once and then held; None for a creep. [unit of the metric]"""
    likeness: float
    """Correlation of neighbours once the trend is taken out; the chance allows for it. [1]"""


@dataclass(frozen=True)
class SeriesChart:
    """The exponentially weighted mean of a series with its limits."""

    centre: float
    first_phase: int
    """Number of values, from the first one on, that set the limits. [1]"""
    weighted: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    signals: tuple[str, ...]
    """Runs at which the weighted mean lies outside its limits."""


@dataclass(frozen=True)
class Forecast:
    """When a drift would reach its limit if it went on, in runs from the last one."""

    limit: float
    runs: float | None
    soonest: float | None
    latest: float | None
    """Interval at 95 %, level, slope and beginning weighed together; None for never. [runs]"""


@dataclass(frozen=True)
class Jolt:
    """A single run that does not belong to the others, whether or not the series drifts."""

    run: str
    off: float
    """Distance from what the other runs lead to expect. [unit of the metric]"""
    deviations: float
    """The same in standard deviations of the other runs. [1]"""


@dataclass(frozen=True)
class MetricSeries:
    """One metric of one step over the runs of a campaign."""

    metric: str
    step: int | None
    """Number of the step, or absent for the run as a whole."""
    kind: StepKind | None
    place: str
    """The step in words, for example "in fast dry"; empty for the run as a whole."""
    unit: str
    runs: tuple[str, ...]
    """Runs with a value, in the order they were made."""
    positions: tuple[int, ...]
    """Place of each of these runs in the campaign, counted from 1. [1]"""
    values: tuple[float, ...]
    left_over: tuple[float, ...]
    """What is charted: the values, less what the recipe explains where a fit was used."""
    compared: Compared
    how: str
    """The comparison in words."""
    alone: bool
    """Whether it protects people: then it is judged alone, outside the family of the others."""
    trend: SeriesTrend | None
    """Absent when there are too few values."""
    drifts: bool
    """Whether the trend stands."""
    chart: SeriesChart | None
    """Absent when there are too few values, or all of the first ones are equal."""
    since: str | None
    """Run at which the drift began, as well as it can be told."""
    forecast: Forecast | None
    """Absent without a drift, or without a limit on the side that it goes to."""
    words: str
    jolts: tuple[Jolt, ...] = ()
    """Single runs that stand out of the individuals chart, the series judged as one family."""

    @property
    def is_told(self) -> bool:
        """Whether there are enough values to tell a drift."""
        return self.trend is not None


@dataclass(frozen=True)
class Drift:
    """What drifts in the burn-in of a head."""

    head: str
    campaign: int | None
    """Absent while there is none."""
    runs: tuple[str, ...]
    """Runs that were looked at, in order."""
    series: tuple[MetricSeries, ...]
    words: tuple[str, ...]
    """What was looked at, and what was left out."""
    simulated: bool

    @property
    def drifting(self) -> tuple[MetricSeries, ...]:
        """Give the series that drift."""
        return tuple(one for one in self.series if one.drifts)

    @property
    def jolted(self) -> tuple[MetricSeries, ...]:
        """Give the series in which single runs stand out."""
        return tuple(one for one in self.series if one.jolts)
