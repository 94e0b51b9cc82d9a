"""A limit with its guard band, laid out on a line for a page to draw."""

from dataclasses import dataclass
from math import inf

from spinproof.model.limit import DecisionRule, Limit
from spinproof.stats.decision_rules import RULES

ROOM = 0.35
"""Room beyond a limit, in proportion to what is shown of the accepted side."""


@dataclass(frozen=True)
class Zone:
    """A stretch of the line."""

    word: str
    """accepted, undecided or refused."""
    start: float
    """Where it begins, from 0 at the left to 1 at the right."""
    end: float

    @property
    def width(self) -> float:
        """How much of the line it takes."""
        return self.end - self.start


@dataclass(frozen=True)
class LimitBand:
    """Where a reading must lie, and where it lies."""

    limit: Limit
    zones: tuple[Zone, ...]
    """From left to right."""
    limits_at: tuple[tuple[float, float], ...]
    """Each limit: its place on the line, and its value in the limit's unit."""
    accepted: tuple[float | None, float | None]
    """Lowest and highest reading that is accepted; None where nothing bounds it. [unit]"""
    uncertainty: float | None
    """Standard uncertainty that the guard band is made of; None when none is known. [unit]"""
    rule: str
    """The decision rule, in words."""
    value: float | None
    """The reading. [unit]"""
    value_at: float | None
    """Its place on the line; at an end when it lies beyond."""

    @property
    def is_empty(self) -> bool:
        """Whether the uncertainty is so large that no reading could be accepted."""
        low, high = self.accepted
        return low is not None and high is not None and low > high

    @property
    def is_guarded(self) -> bool:
        """Whether uncertainty takes something off the limit."""
        return self.limit.rule is not DecisionRule.SIMPLE


def limit_band(
    limit: Limit, uncertainty: float | None = None, value: float | None = None
) -> LimitBand:
    """Lay a limit out on a line.

    Parameters
    ----------
    limit : Limit
        The limit.
    uncertainty : float, optional
        Standard uncertainty of a reading near the limit. [unit of the limit]
    value : float, optional
        The reading. [unit of the limit]

    Returns
    -------
    LimitBand
        What a page draws.

    Examples
    --------
    >>> from spinproof.model.limit import Basis
    >>> at_most = Limit(metric="x", upper=2.8, unit="mm/s", basis=Basis.STANDARD, source="s")
    >>> band = limit_band(at_most, 0.15)
    >>> [zone.word for zone in band.zones], round(band.accepted[1], 3)
    (['accepted', 'undecided', 'refused'], 2.553)
    """
    low, high = _ends(limit)
    rule = RULES[limit.rule]
    spread = uncertainty or 0.0
    accepted = rule.accepted(spread, limit.lower, limit.upper)
    kept = rule.not_refused(spread, limit.lower, limit.upper)

    def at(x: float) -> float:
        return min(1.0, max(0.0, (x - low) / (high - low)))

    outer = (at(kept[0]), at(kept[1]))
    inner = (at(accepted[0]), at(accepted[1]))
    if inner[0] > inner[1]:
        inner = (outer[1], outer[1])
    marks = (0.0, outer[0], inner[0], inner[1], outer[1], 1.0)
    words = ("refused", "undecided", "accepted", "undecided", "refused")
    zones = (Zone(w, a, b) for w, a, b in zip(words, marks, marks[1:], strict=False))
    bounds = [bound for bound in (limit.lower, limit.upper) if bound is not None]
    return LimitBand(
        limit=limit,
        zones=tuple(zone for zone in zones if zone.width > 0),
        limits_at=tuple((at(bound), bound) for bound in bounds),
        accepted=(_finite(accepted[0]), _finite(accepted[1])),
        uncertainty=uncertainty,
        rule=rule.words,
        value=value,
        value_at=None if value is None else at(value),
    )


def _ends(limit: Limit) -> tuple[float, float]:
    """Choose the ends of the line."""
    lower, upper = limit.lower, limit.upper
    if lower is not None and upper is not None:
        room = ROOM * (upper - lower) or abs(upper) or 1.0
        return lower - room, upper + room
    bound = lower if upper is None else upper
    reach = abs(bound or 0.0) or 1.0
    if upper is None:
        return (bound or 0.0) - reach, (bound or 0.0) + 2 * reach
    return upper - reach, upper + ROOM * 2 * reach


def _finite(x: float) -> float | None:
    return None if x in {inf, -inf} else x
