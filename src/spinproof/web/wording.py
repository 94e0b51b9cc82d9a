"""How values, times and states read on a page: always with a unit, always with a word."""

import math
from datetime import datetime

from spinproof.app.views import NOT_JUDGED, RUNNING, VOID, LiveReading
from spinproof.figures.marks import mark_of
from spinproof.figures.units import printed_unit
from spinproof.model.calculation import Result
from spinproof.model.handover import ScopeState
from spinproof.model.instrument import Standing
from spinproof.model.judgement import Metric, Verdict
from spinproof.model.limit import Limit
from spinproof.model.metric_words import metric_words, printed_probability
from spinproof.model.run import Outcome

COVERAGE = 2
"""Coverage factor k of the expanded uncertainty U that the pages show."""

SHAPES: dict[str, tuple[str, str]] = {
    Verdict.PASS: ("tick", "well"),
    Verdict.FAIL: ("cross", "act"),
    Verdict.UNDECIDED: ("ask", "doubt"),
    Verdict.NOT_MEASURED: ("dash", "quiet"),
    Outcome.COUNTED: ("circle", "well"),
    Outcome.RELEVANT_FAILURE: ("triangle", "act"),
    Outcome.INVALID_OUTSIDE: ("diamond", "outside"),
    Outcome.INVALID_OPERATOR: ("square", "doubt"),
    Outcome.ABORTED: ("hexagon", "aborted"),
    VOID: ("ring", "quiet"),
    NOT_JUDGED: ("ask", "doubt"),
    RUNNING: ("dot", "well"),
    "yes": ("tick", "well"),
    "no": ("cross", "act"),
    ScopeState.ACCEPTED: ("tick", "well"),
    ScopeState.DECLINED: ("dash", "quiet"),
    ScopeState.CUSTOMER_SUPPLIED: ("hand", "quiet"),
    ScopeState.PROPOSED: ("ring", "doubt"),
    ScopeState.RECOMMENDED: ("ask", "doubt"),
    ScopeState.DEFERRED: ("ring", "quiet"),
    ScopeState.DONE: ("circle", "well"),
    ScopeState.WITHDRAWN: ("cross", "quiet"),
    "in position": ("dot", "well"),
    "scrapped": ("cross", "act"),
    "refused": ("cross", "quiet"),
    "settled": ("tick", "well"),
    "offered": ("ask", "doubt"),
    "in scope": ("tick", "well"),
    "not in scope": ("dash", "quiet"),
    "in the sealed store": ("tick", "well"),
    "not entered": ("ask", "doubt"),
    "open": ("hand", "quiet"),
    "waiting": ("ring", "quiet"),
    "waived": ("half", "doubt"),
    "to be verified": ("half", "act"),
    "to be repeated": ("turn", "act"),
    "suspect": ("ask", "doubt"),
    "not on this head": ("dash", "quiet"),
    "contained": ("half", "act"),
    "dispositioned": ("half", "doubt"),
    "actioned": ("half", "doubt"),
    "verified": ("tick", "doubt"),
    "closed": ("tick", "well"),
    "asked": ("ask", "doubt"),
    "approved by the shop": ("half", "doubt"),
    "in force": ("tick", "well"),
    Standing.VALID: ("tick", "well"),
    Standing.EXPIRED: ("ask", "doubt"),
    Standing.NOT_CALIBRATED: ("ask", "doubt"),
    Standing.OUT_OF_TOLERANCE: ("cross", "act"),
    Standing.OUT_OF_RANGE: ("ask", "doubt"),
    "indication only": ("dash", "quiet"),
    Standing.OWN_DISPLAY: ("dash", "quiet"),
}
"""The shape and the tone that stand beside each word of a state.

The outcomes of runs have the outlines and letters of ``figures.marks``.
"""

LETTERS: dict[str, str] = {
    **{outcome: mark_of(outcome, void=False).letter for outcome in Outcome},
    VOID: mark_of(Outcome.COUNTED, void=True).letter,
}


def shape(word: str) -> str:
    """Give the shape that stands beside a word of a state."""
    return SHAPES.get(word, ("ring", "quiet"))[0]


def letter(word: str) -> str:
    """Give the letter inside the shape of an outcome, as in the strip of all attempts."""
    return LETTERS.get(word, "")


def tone(word: str) -> str:
    """Give the tone of a word of a state, which chooses its colour."""
    return SHAPES.get(word, ("ring", "quiet"))[1]


def unit(name: str) -> str:
    """Write a unit as it is printed; a pure number is a count.

    Examples
    --------
    >>> unit("MOhm.cm"), unit("1")
    ('MΩ·cm', '(count)')
    """
    return printed_unit(name) or "(count)"


def number(value: float, decimals: int) -> str:
    """Write a number with a true minus sign, and no minus before zero.

    Examples
    --------
    >>> number(-1.26, 1), number(-0.0, 1)
    ('−1.3', '0.0')
    """
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.removeprefix("-")
    return text.replace("-", "−")


def decimals_of(uncertainty: float) -> int:
    """Give the decimals that leave two significant digits of an uncertainty, none below one.

    Examples
    --------
    >>> decimals_of(0.0123), decimals_of(1.24), decimals_of(38.0)
    (3, 1, 0)
    """
    return max(0, 1 - math.floor(math.log10(uncertainty)))


def quantity(value: float | None, name: str) -> str:
    """Write a value without a stated uncertainty, to four significant digits, with its unit.

    Examples
    --------
    >>> quantity(1749.62, "rpm"), quantity(0.4123, "mm/s"), quantity(None, "rpm")
    ('1750 rpm', '0.4123 mm/s', 'no reading')
    """
    if value is None or not math.isfinite(value):
        return "no reading"
    decimals = 0 if value == int(value) or abs(value) >= 1e3 else _decimals_for(value)
    return f"{number(value, decimals)} {unit(name)}"


def _decimals_for(value: float) -> int:
    return max(0, 3 - math.floor(math.log10(abs(value))))


def reading(shown: LiveReading) -> str:
    """Write a reading with the decimals of its channel, and its unit.

    Examples
    --------
    >>> reading(LiveReading(name="motor current", unit="A", value=0.01, resolution=0.01))
    '0.01 A'
    """
    if shown.value is None:
        return "no reading"
    decimals = max(0, -math.floor(math.log10(shown.resolution) + 1e-9))
    return f"{number(shown.value, decimals)} {unit(shown.unit)}"


def measured(metric: Metric) -> str:
    """Write a metric as value ± U with its unit, U being twice the standard uncertainty.

    Examples
    --------
    >>> measured(Metric(name="speed", unit="rpm", value=1749.62, uncertainty=0.61))
    '1749.6 ± 1.2 rpm'
    >>> measured(Metric(name="breaches", unit="1", value=0.0))
    '0 (count)'
    """
    if metric.value is None:
        return "not measured"
    if not metric.uncertainty:
        return quantity(metric.value, metric.unit)
    expanded = COVERAGE * metric.uncertainty
    decimals = decimals_of(expanded)
    return f"{number(metric.value, decimals)} ± {number(expanded, decimals)} {unit(metric.unit)}"


def calculated(result: Result) -> str:
    """Write a result of a calculation as value ± U with its unit, or as its words.

    Examples
    --------
    >>> calculated(Result(name="h", label="removed", value=20.07, unit="um",
    ...                   standard_uncertainty=0.41))
    '20.07 ± 0.82 µm'
    >>> calculated(Result(name="n", label="times gravity", value=876.703, unit="1"))
    '876.7'
    """
    if result.value is None or result.unit is None:
        return result.words or ""
    name = printed_unit(result.unit)
    if not result.standard_uncertainty:
        return f"{_short_number(result.value)} {name}".strip()
    expanded = COVERAGE * result.standard_uncertainty
    decimals = decimals_of(expanded)
    text = f"{number(result.value, decimals)} ± {number(expanded, decimals)}"
    return f"{text} {name}".strip()


def bracket(result: Result) -> str:
    """Write the bracket of a result, empty when it has none.

    Examples
    --------
    >>> bracket(Result(name="h", label="removed", value=24.0, unit="um", low=20.09, high=31.79))
    '20.09 to 31.79 µm'
    """
    if result.low is None or result.high is None or result.unit is None:
        return ""
    low, high = _short_number(result.low), _short_number(result.high)
    return f"{low} to {high} {printed_unit(result.unit)}".strip()


def _short_number(value: float) -> str:
    """Write a number to four significant digits, as a power of ten when it is tiny."""
    if value == 0 or 1e-3 <= abs(value) < 1e3:
        decimals = 0 if value == int(value) else _decimals_for(value)
        return number(value, decimals)
    if abs(value) < 1e-3:
        return bare(float(f"{value:.4g}"))
    return number(value, 0)


def limit(limit_: Limit | None) -> str:
    """Write an acceptance interval with its unit.

    Examples
    --------
    >>> from spinproof.model.limit import Basis
    >>> limit(Limit(metric="x", upper=4.5, unit="mm/s", basis=Basis.STANDARD, source="s"))
    'at most 4.5 mm/s'
    """
    if limit_ is None:
        return "no limit"
    name = unit(limit_.unit)
    lower, upper = (None if x is None else bare(x) for x in (limit_.lower, limit_.upper))
    if lower is None:
        return f"at most {upper} {name}"
    if upper is None:
        return f"at least {lower} {name}"
    return f"{lower} to {upper} {name}"


def bare(value: float) -> str:
    """Write a number as short as it is known, with a true minus sign.

    Examples
    --------
    >>> bare(2.50), bare(-0.05)
    ('2.5', '−0.05')
    """
    return f"{value:g}".replace("-", "−")


def metric_title(name: str) -> str:
    """Write a metric's name as the words of a heading.

    Examples
    --------
    >>> metric_title("speed_error"), metric_title("di_flow")
    ('Speed against the set-point', 'Flow of DI water')
    """
    words = metric_words(name)
    return words[:1].upper() + words[1:]


def margin(value: float | None, unit_: str, uncertainty: float | None) -> str:
    """Write the distance to the nearest limit, and on which side of it; empty without one.

    Examples
    --------
    >>> margin(-0.052, "mm/s", 0.01), margin(12.4, "rpm", None), margin(None, "rpm", None)
    ('0.052 mm/s outside', '12.4 rpm inside', '')
    """
    if not value:
        return "" if value is None else "at the limit"
    decimals = decimals_of(COVERAGE * uncertainty) if uncertainty else None
    size = bare(abs(value)) if decimals is None else number(abs(value), decimals)
    return f"{size} {unit(unit_)} {'outside' if value < 0 else 'inside'}"


def title(name: str) -> str:
    """Write a field's name as words.

    Examples
    --------
    >>> title("standard_uncertainty"), title("di flow")
    ('Standard uncertainty', 'DI flow')
    """
    words = name.replace("_", " ").replace("-", " ")
    words = " ".join("DI" if word == "di" else word for word in words.split())
    return words[:1].upper() + words[1:]


def moment(text: str) -> str:
    """Write an RFC 3339 instant as date and time in UTC; text that is no instant stays.

    Examples
    --------
    >>> moment("2031-05-06T07:08:09.123Z"), moment("day 19")
    ('2031-05-06 07:08:09 UTC', 'day 19')
    """
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        return text
    return instant.strftime("%Y-%m-%d %H:%M:%S") + " UTC" if instant.tzinfo else text


def clock(seconds: float) -> str:
    """Write a duration as minutes and seconds.

    Examples
    --------
    >>> clock(83.4), clock(7.0), clock(4000)
    ('1:23', '0:07', '66:40')
    """
    whole = max(0, int(seconds))
    return f"{whole // 60}:{whole % 60:02d}"


def short(sha256: str | None) -> str:
    """Give the first twelve digits of a hash, enough to compare by eye."""
    return (sha256 or "")[:12] or "none"


FILTERS = {
    "shape": shape,
    "tone": tone,
    "letter": letter,
    "unit": unit,
    "reading": reading,
    "measured": measured,
    "calculated": calculated,
    "bracket": bracket,
    "limit": limit,
    "title": title,
    "metric": metric_title,
    "margin": margin,
    "probability": printed_probability,
    "moment": moment,
    "clock": clock,
    "bare": bare,
    "short": short,
}
"""What the templates call, by name."""
