"""How a quantity goes on over time, beside a level that matters."""

from collections.abc import Sequence
from dataclasses import dataclass

from spinproof.figures.axes import Scale, round_ticks, tick_text
from spinproof.figures.palette import BLUE, INK, MUTED, RULE, VERMILLION
from spinproof.figures.svg import drawing, element, label, line, number

WIDTH, HEIGHT = 640.0, 300.0
LEFT, RIGHT, TOP, FOOT = 64.0, 18.0, 46.0, 44.0
UNITS_OF_TIME = ((86400.0, "days"), (3600.0, "h"), (60.0, "min"), (1.0, "s"))


@dataclass(frozen=True)
class Level:
    """A value that must not be passed."""

    value: float
    words: str


def course(
    title: str,
    times: Sequence[float],
    values: Sequence[float],
    *,
    unit: str,
    level: Level | None = None,
    low: float | None = None,
) -> str:
    """Draw values over time.

    Parameters
    ----------
    title : str
        What goes on.
    times : sequence of float
        Rising times from zero. [s]
    values : sequence of float
        The value at each, in the unit.
    unit : str
        Unit as printed.
    level : Level, optional
        A level to draw, dashed and named.
    low : float, optional
        Lowest value of the axis; the lowest value drawn when left out.

    Returns
    -------
    str
        An SVG document, the same bytes for the same values.
    """
    shown = [*values, *([level.value] if level else []), *([low] if low is not None else [])]
    ticks = round_ticks(min(shown), max(shown), 5)
    across = Scale(0.0, times[-1], LEFT, WIDTH - RIGHT)
    up = Scale(ticks[0], ticks[-1], HEIGHT - FOOT, TOP)
    points = " ".join(
        f"{number(across(t))},{number(up(v))}" for t, v in zip(times, values, strict=True)
    )
    told = f"{title}: from {values[0]:.4g} to {values[-1]:.4g} {unit} in {times[-1]:.4g} s"
    return drawing(
        WIDTH,
        HEIGHT,
        told,
        [
            label(LEFT, 24, f"{title}, in {unit}", size=14, weight="600"),
            *(_rung(tick, up) for tick in ticks),
            *_posts(times[-1], across),
            *_level(level, up),
            element("polyline", points=points, fill="none", stroke=BLUE, stroke_width=2.6),
        ],
    )


def _rung(tick: float, up: Scale) -> str:
    y = up(tick)
    text = label(LEFT - 8, y + 4, tick_text(tick), size=12, fill=MUTED, anchor="end")
    return line(LEFT, y, WIDTH - RIGHT, y, stroke=RULE) + text


def _posts(end: float, across: Scale) -> list[str]:
    """Mark the axis of time, in the unit that gives short numbers."""
    seconds, unit = next(
        ((size, name) for size, name in UNITS_OF_TIME if end >= 3 * size), UNITS_OF_TIME[-1]
    )
    foot = HEIGHT - FOOT
    drawn = [label(WIDTH - RIGHT, HEIGHT - 8, f"time in {unit}", size=12, fill=MUTED, anchor="end")]
    for tick in round_ticks(0.0, end / seconds, 6):
        x = across(tick * seconds)
        if x <= WIDTH - RIGHT + 0.5:
            text = label(x, foot + 18, tick_text(tick), size=12, fill=MUTED, anchor="middle")
            drawn += [line(x, foot, x, foot + 5, stroke=INK), text]
    return drawn


def _level(level: Level | None, up: Scale) -> list[str]:
    if level is None:
        return []
    y = up(level.value)
    return [
        line(LEFT, y, WIDTH - RIGHT, y, stroke=VERMILLION, width=1.8, dash="7 4"),
        label(LEFT + 8, y + 16 if y < HEIGHT / 2 else y - 6, level.words, size=12, weight="600"),
    ]
