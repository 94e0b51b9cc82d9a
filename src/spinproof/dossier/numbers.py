"""Numbers as a document prints them.

References
----------
.. [1] JCGM 100:2008, "Guide to the expression of uncertainty in measurement," 7.2.6: an
   uncertainty is given with at most two significant digits, its value to the same digit.
"""

import math
from datetime import UTC, datetime

from spinproof.figures.units import printed_unit
from spinproof.model.judgement import Metric
from spinproof.model.limit import Limit

MINUS = "−"
COVERAGE = 2.0
"""Factor from the standard to the expanded uncertainty that is printed."""


def with_uncertainty(value: float, standard_uncertainty: float | None) -> str:
    """Give a value with its expanded uncertainty (k = 2), both rounded to its second digit.

    >>> with_uncertainty(1.4237, 0.0904), with_uncertainty(1749.62, 0.0), with_uncertainty(-3, 25)
    ('1.42 ± 0.18', '1749.62', '−3 ± 50')
    """
    expanded = COVERAGE * (standard_uncertainty or 0.0)
    if expanded <= 0:
        return plain(value)
    decimals = 1 - math.floor(math.log10(expanded))
    decimals = 1 - math.floor(math.log10(round(expanded, decimals)))  # 0.0996 rounds up to 0.10
    shown = max(decimals, 0)
    return f"{_fixed(round(value, decimals), shown)} ± {_fixed(round(expanded, decimals), shown)}"


def _fixed(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text.replace("-", MINUS)


def plain(value: float) -> str:
    """Give a number with up to six significant digits.

    >>> plain(-0.5), plain(450.0), plain(1749.6234)
    ('−0.5', '450', '1749.62')
    """
    return f"{value:.6g}".replace("-", MINUS)


def bound(probability: float) -> str:
    """Give a lower bound on a probability with four decimals; it is never printed as certain.

    >>> bound(0.946034), bound(0.939869), bound(0.99999)
    ('0.9460', '0.9399', '0.9999')
    """
    return f"{min(probability, 0.9999):.4f}"


def bound_in_percent(probability: float) -> str:
    """Give a lower bound on a probability in percent, with the digits of `bound`.

    >>> bound_in_percent(0.946034)
    '94.60 %'
    """
    return f"{100 * min(probability, 0.9999):.2f} %"


def interval(limit: Limit) -> str:
    """Give a limit's acceptance interval with its unit.

    >>> from spinproof.model.limit import Basis
    >>> interval(Limit(metric="x", upper=4.5, unit="mm/s", basis=Basis.CUSTOMER, source="y"))
    '≤ 4.5 mm/s'
    """
    unit = printed_unit(limit.unit)
    if limit.lower is None:
        text = f"≤ {plain(limit.upper or 0.0)}"
    elif limit.upper is None:
        text = f"≥ {plain(limit.lower)}"
    elif limit.lower == -limit.upper:
        text = f"± {plain(limit.upper)}"
    else:
        text = f"{plain(limit.lower)} to {plain(limit.upper)}"
    return f"{text} {unit}".rstrip()


def rule_in_words(limit: Limit) -> str:
    """Give the decision rule of a limit in few words."""
    return limit.rule.value.replace("-", " ")


def margin_in_words(metric: Metric) -> str:
    """Give the distance to the nearest limit, and on which side; empty when none was computed.

    >>> margin_in_words(Metric(name="vibration", unit="mm/s", uncertainty=0.05, margin=-0.312))
    '0.31 mm/s outside'
    """
    if not metric.margin:
        return "" if metric.margin is None else "at the limit"
    size = with_uncertainty(abs(metric.margin), metric.uncertainty).partition(" ±")[0]
    side = "outside" if metric.margin < 0 else "inside"
    return f"{size} {printed_unit(metric.unit)}".rstrip() + f" {side}"


def moment(text: str) -> str:
    """Give an RFC 3339 moment as day and minute in UTC.

    >>> moment("2031-03-24T10:00:00.000Z")
    '2031-03-24 10:00 UTC'
    """
    return _in_utc(text).strftime("%Y-%m-%d %H:%M UTC")


def day(text: str) -> str:
    """Give the day of an RFC 3339 moment, in UTC."""
    return _in_utc(text).strftime("%Y-%m-%d")


def _in_utc(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)
