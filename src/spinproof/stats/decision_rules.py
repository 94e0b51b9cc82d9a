"""Decision rules: which readings are accepted, which are refused, and in which words.

Every rule comes down to two intervals of readings. A reading inside the first is accepted; one
outside the second is refused; one between them is undecided.
"""

from dataclasses import dataclass
from math import inf
from statistics import NormalDist

from scipy.optimize import brentq

from spinproof.model.limit import DecisionRule
from spinproof.stats.conformance import conformance_probability, updated
from spinproof.stats.distributions import Gaussian
from spinproof.stats.validity import require

NORMAL = NormalDist()
GUARD_FACTOR = NORMAL.inv_cdf(0.95)
"""Standard uncertainties between limit and acceptance limit: 1.645, for 5 % risk at the limit."""
EXPANDED_FACTOR = 2.0
"""Standard uncertainties in an expanded uncertainty U with k = 2, about 95 %."""

Interval = tuple[float, float]
"""Lowest and highest reading; empty when the first lies above the second. [unit]"""


@dataclass(frozen=True)
class Guarded:
    """Accept only inside the limits, refuse only outside them, by so many uncertainties."""

    factor: float = GUARD_FACTOR
    """Width of the guard band in standard uncertainties; zero is simple acceptance. [1]"""

    def __post_init__(self) -> None:
        require(
            0 <= self.factor < inf,
            f"a guard band of {self.factor:g} standard uncertainties guards nothing",
            where="Guarded",
            mend="Give a factor of zero or more, commonly 1.645 or 2.",
        )

    def accepted(self, uncertainty: float, lower: float | None, upper: float | None) -> Interval:
        """Give the readings that are accepted [unit]."""
        return _widened(lower, upper, -self.factor * uncertainty)

    def not_refused(self, uncertainty: float, lower: float | None, upper: float | None) -> Interval:
        """Give the readings that are not refused [unit]."""
        return _widened(lower, upper, self.factor * uncertainty)

    @property
    def words(self) -> str:
        """The rule as printed beside a verdict."""
        if self.factor == 0:
            return "simple: accepted inside the limit, the risk is shared"
        width = "U = 2 u" if self.factor == EXPANDED_FACTOR else f"{self.factor:.3f} u"
        risk = 100 * NORMAL.cdf(-self.factor)
        return f"guarded by {width}: at most {risk:.2g} % risk of accepting at the limit"


@dataclass(frozen=True)
class ByRisk:
    """Accept when the true value is inside, refuse when it is outside, with a probability."""

    probability: float = 0.95
    """Conformance probability that a reading must reach. [1]"""
    prior: Gaussian | None = None
    """What is known of such values before the reading."""

    def __post_init__(self) -> None:
        require(
            0.5 < self.probability < 1,
            f"a conformance probability of {self.probability:g} decides nothing",
            where="ByRisk",
            mend="Give a probability above one half and below one, commonly 0.95.",
        )
        require(
            self.prior is None or self.prior.uncertainty > 0,
            "a value that is exactly known beforehand needs no reading",
            where="ByRisk",
            mend="Give a prior with an uncertainty above zero, or none.",
        )

    def accepted(self, uncertainty: float, lower: float | None, upper: float | None) -> Interval:
        """Give the readings that are accepted [unit]."""
        spread = updated(0.0, uncertainty, self.prior).uncertainty
        reach = NORMAL.inv_cdf(self.probability) * spread
        if lower is None or upper is None or spread == 0:
            known = _widened(lower, upper, -reach)
        else:
            known = self._between(spread, lower, upper)
        return self._read(known[0], uncertainty), self._read(known[1], uncertainty)

    def not_refused(self, uncertainty: float, lower: float | None, upper: float | None) -> Interval:
        """Give the readings that are not refused [unit]."""
        spread = updated(0.0, uncertainty, self.prior).uncertainty
        known = _widened(lower, upper, NORMAL.inv_cdf(self.probability) * spread)
        return self._read(known[0], uncertainty), self._read(known[1], uncertainty)

    @property
    def words(self) -> str:
        """The rule as printed beside a verdict."""
        text = (
            f"by risk: accepted when the true value lies inside the limit with a probability of "
            f"{100 * self.probability:g} % or more, refused when outside with as much"
        )
        if self.prior is None:
            return text
        return f"{text}, given {self.prior.value:g} ± {self.prior.uncertainty:g} (u) beforehand"

    def _between(self, spread: float, lower: float, upper: float) -> Interval:
        """Find the knowledge between two limits that reaches the probability, by symmetry."""
        middle, reach = (lower + upper) / 2, 10 * spread

        def excess(offset: float) -> float:
            conformance = conformance_probability(middle + offset, spread, lower, upper)
            return conformance - self.probability

        if excess(0.0) < 0:
            return inf, -inf
        offset = float(brentq(excess, 0.0, (upper - lower) / 2 + reach, xtol=1e-12 * spread))
        return middle - offset, middle + offset

    def _read(self, known: float, uncertainty: float) -> float:
        """Turn the value that is known after a reading into the reading that gives it."""
        if self.prior is None:
            return known
        return known + (uncertainty / self.prior.uncertainty) ** 2 * (known - self.prior.value)


Rule = Guarded | ByRisk

SIMPLE = Guarded(0.0)
GUARDED = Guarded()
GUARDED_BY_U = Guarded(EXPANDED_FACTOR)
RULES: dict[DecisionRule, Rule] = {
    DecisionRule.SIMPLE: SIMPLE,
    DecisionRule.GUARDED: GUARDED,
    DecisionRule.GUARDED_BY_U: GUARDED_BY_U,
    DecisionRule.BY_RISK: ByRisk(),
}
"""The rule behind each name that a limit can carry."""


def _widened(lower: float | None, upper: float | None, by: float) -> Interval:
    return (-inf if lower is None else lower - by, inf if upper is None else upper + by)
