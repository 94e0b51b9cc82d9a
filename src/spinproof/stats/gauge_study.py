"""Gauge studies: how much of what readings show is the measuring, and not the parts."""

from dataclasses import dataclass
from math import inf, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc

from spinproof.stats.validity import require

STUDY_WIDTH = 6.0
"""Standard deviations that a tolerance is compared with: 99.73 % of a normal distribution."""


@dataclass(frozen=True)
class Source:
    """One line of the analysis of variance."""

    name: str
    sum_of_squares: float
    degrees: int
    ratio: float | None = None
    """Mean square over the mean square it is tested against (F), or none when nothing is tested."""
    chance: float | None = None
    """Probability of such a ratio by chance alone (p). [1]"""

    @property
    def mean_square(self) -> float:
        """Sum of squares by degree of freedom [square of the readings' unit]."""
        return self.sum_of_squares / self.degrees


@dataclass(frozen=True)
class GaugeStudy:
    """What a crossed study says about a way of measuring; variances in the unit's square."""

    table: tuple[Source, ...]
    """Parts, appraisers, their interaction, repeatability."""
    pooled: bool
    """Whether the interaction was small enough to be counted as repeatability."""
    repeatability: float
    """Variance between readings of one part by one appraiser."""
    appraiser: float
    """Variance between appraisers."""
    interaction: float
    """Variance of appraisers who differ from part to part; zero when pooled."""
    part: float
    """Variance between parts."""
    cut: tuple[str, ...]
    """Variances that came out negative and were set to zero."""

    @property
    def reproducibility(self) -> float:
        """Variance from one appraiser to another, the interaction included [square of the unit]."""
        return self.appraiser + self.interaction

    @property
    def gauge(self) -> float:
        """Variance of the measuring: repeatability and reproducibility [square of the unit]."""
        return self.repeatability + self.reproducibility

    @property
    def total(self) -> float:
        """Variance of measuring and parts together [square of the unit]."""
        return self.gauge + self.part

    @property
    def standard_uncertainty(self) -> float:
        """Standard deviation of one reading by any appraiser [unit of the readings]."""
        return sqrt(self.gauge)

    @property
    def distinct_categories(self) -> int:
        """How many groups of parts the measuring can tell apart; five are commonly asked [1]."""
        return 0 if self.gauge == 0 else int(1.41 * sqrt(self.part / self.gauge))

    def study_share(self, variance: float) -> float:
        """Give a deviation in proportion to the total deviation [%]."""
        return 100 * sqrt(variance / self.total) if self.total > 0 else 0.0

    def tolerance_share(self, lower: float, upper: float) -> float:
        """Six deviations of the measuring in proportion to a tolerance [%]."""
        return 100 * STUDY_WIDTH * self.standard_uncertainty / (upper - lower)


def gauge_study(readings: ArrayLike, *, pooling: float = 0.25) -> GaugeStudy:
    r"""Variances of a crossed gauge study, by analysis of variance with random effects.

    .. math:: \sigma^2_\mathrm{part} = \frac{MS_P - MS_{PA}}{a\,r}, \quad
              \sigma^2_\mathrm{appraiser} = \frac{MS_A - MS_{PA}}{p\,r}, \quad
              \sigma^2_\mathrm{interaction} = \frac{MS_{PA} - MS_E}{r}

    Parameters
    ----------
    readings : array_like
        Readings by part, appraiser and trial: two or more of each, every part read equally often
        by every appraiser. [unit]
    pooling : float
        Chance above which the interaction counts as repeatability, 0 to 1; 1 never pools. [1]

    Returns
    -------
    GaugeStudy
        The table, the variances, and what follows from them.

    Raises
    ------
    OutOfRangeError
        If the readings are not such a block, or one is missing.

    Notes
    -----
    "Appraisers" may be people, sensors or fixtures; "parts" may be repeated reference runs. A
    negative estimate is set to zero and named. The chance 0.25 for pooling is common practice
    (no source); the published example pools at any usual level.

    References
    ----------
    .. [1] D. C. Montgomery and G. C. Runger, "Gauge capability analysis and designed experiments,
       part II," Quality Engineering 6, 289-305 (1993).
    .. [2] Automotive Industry Action Group, Measurement Systems Analysis, 4th ed. (2010).

    Examples
    --------
    >>> study = gauge_study([[[1.0, 1.1], [1.2, 1.1]], [[3.0, 3.1], [3.1, 3.3]]])
    >>> study.pooled, round(study.gauge, 4), study.distinct_categories
    (True, 0.0132, 17)
    """
    block = np.asarray(readings, dtype=np.float64)
    require(
        block.ndim == 3 and min(block.shape) >= 2 and bool(np.isfinite(block).all()),
        f"readings of shape {block.shape} make no crossed study",
        where="gauge_study",
        mend="Give finite readings by part, appraiser and trial, two or more of each.",
    )
    squares, degrees = _squares(block)
    tied, error = squares["interaction"] / degrees["interaction"], squares["repeatability"]
    chance = _chance(tied, degrees["interaction"], error, degrees["repeatability"])
    pooled = chance > pooling
    if pooled:
        against, freedom = error + squares["interaction"], degrees["interaction"]
        freedom += degrees["repeatability"]
    else:
        against, freedom = squares["interaction"], degrees["interaction"]
    return _study(block, squares, degrees, (against / freedom, freedom), pooled=pooled)


@dataclass(frozen=True)
class ReferenceStudy:
    """What repeated readings of one reference say about an instrument."""

    bias: float
    """Mean of the readings minus the reference. [unit]"""
    scatter: float
    """Standard deviation of the readings. [unit]"""
    bias_chance: float
    """Probability of such a bias by chance alone. [1]"""
    potential: float
    """Capability of the scatter alone (Cg); 1.33 is commonly asked. [1]"""
    capability: float
    """Capability with the bias (Cgk); 1.33 is commonly asked. [1]"""


def reference_study(
    readings: ArrayLike, reference: float, lower: float, upper: float
) -> ReferenceStudy:
    r"""Capability of an instrument by repeated readings of one reference.

    .. math:: C_g = \frac{0.2\,T}{6 s}, \qquad C_{gk} = \frac{0.1\,T - |\bar x - x_0|}{3 s}

    Parameters
    ----------
    readings : array_like
        Readings of the reference under the conditions of use, two or more; commonly 50. [unit]
    reference : float
        Known value x0 of the reference. [unit]
    lower : float
        Lower limit of the quantity that is to be measured; T is upper minus lower. [unit]
    upper : float
        Upper limit. [unit]

    Returns
    -------
    ReferenceStudy
        Bias, scatter, and the two capabilities; infinite when the readings never vary.

    Raises
    ------
    OutOfRangeError
        If there are fewer than two readings, one is not finite, or the limits are no interval.

    Notes
    -----
    The factors 0.2 and 6 are common practice, no source; companies use others.

    Examples
    --------
    >>> study = reference_study([10.01, 9.99, 10.0, 10.02, 10.0], 10.0, 9.5, 10.5)
    >>> round(study.bias, 4), round(study.potential, 2), round(study.capability, 2)
    (0.004, 2.92, 2.81)
    """
    read = np.asarray(readings, dtype=np.float64)
    require(
        read.ndim == 1 and read.size >= 2 and bool(np.isfinite(read).all()) and lower < upper,
        "these readings make no study of a reference",
        where="reference_study",
        mend="Give two or more finite readings, and a lower limit below the upper one.",
    )
    bias, scatter = float(read.mean()) - reference, float(read.std(ddof=1))
    tolerance = upper - lower
    if scatter == 0:
        sign = 1 if abs(bias) <= 0.1 * tolerance else -1
        return ReferenceStudy(bias, 0.0, float(bias == 0), inf, sign * inf)
    t = bias * sqrt(read.size) / scatter
    return ReferenceStudy(
        bias=bias,
        scatter=scatter,
        bias_chance=float(fdtrc(1, read.size - 1, t**2)),
        potential=0.2 * tolerance / (6 * scatter),
        capability=(0.1 * tolerance - abs(bias)) / (3 * scatter),
    )


def _squares(block: NDArray[np.float64]) -> tuple[dict[str, float], dict[str, int]]:
    """Split the squares of a block of part, appraiser and trial."""
    parts, appraisers, trials = block.shape
    mean = block.mean()
    by_part, by_appraiser = block.mean(axis=(1, 2)) - mean, block.mean(axis=(0, 2)) - mean
    cells = block.mean(axis=2)
    tied = cells - mean - by_part[:, None] - by_appraiser[None, :]
    squares = {
        "part": appraisers * trials * float(np.sum(by_part**2)),
        "appraiser": parts * trials * float(np.sum(by_appraiser**2)),
        "interaction": trials * float(np.sum(tied**2)),
        "repeatability": float(np.sum((block - cells[:, :, None]) ** 2)),
    }
    degrees = {
        "part": parts - 1,
        "appraiser": appraisers - 1,
        "interaction": (parts - 1) * (appraisers - 1),
        "repeatability": parts * appraisers * (trials - 1),
    }
    return squares, degrees


def _study(
    block: NDArray[np.float64],
    squares: dict[str, float],
    degrees: dict[str, int],
    tested: tuple[float, int],
    *,
    pooled: bool,
) -> GaugeStudy:
    parts, appraisers, trials = block.shape
    mean = {name: squares[name] / degrees[name] for name in squares}
    against, freedom = tested
    raw = {
        "repeatability": against if pooled else mean["repeatability"],
        "appraiser": (mean["appraiser"] - against) / (parts * trials),
        "interaction": 0.0 if pooled else (against - mean["repeatability"]) / trials,
        "part": (mean["part"] - against) / (appraisers * trials),
    }
    rows = [
        _source(name, squares[name], degrees[name], against, freedom)
        for name in ("part", "appraiser")
    ]
    tied = _source(
        "interaction",
        squares["interaction"],
        degrees["interaction"],
        mean["repeatability"],
        degrees["repeatability"],
    )
    rest = Source("repeatability", squares["repeatability"], degrees["repeatability"])
    return GaugeStudy(
        table=(*rows, tied, rest),
        pooled=pooled,
        cut=tuple(name for name, variance in raw.items() if variance < 0),
        **{name: max(variance, 0.0) for name, variance in raw.items()},
    )


def _source(name: str, square: float, degrees: int, against: float, freedom: int) -> Source:
    mean = square / degrees
    ratio = mean / against if against > 0 else (inf if mean > 0 else 0.0)
    return Source(name, square, degrees, ratio, float(fdtrc(degrees, freedom, ratio)))


def _chance(mean: float, degrees: int, error: float, freedom: int) -> float:
    """Give the probability of such a mean square by chance, beside the error's sum of squares."""
    return _source("", mean * degrees, degrees, error / freedom, freedom).chance or 0.0
