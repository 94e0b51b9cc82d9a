"""Unbalance in the planes of a rotor, drawn as a balancer reads it: amounts at their angles."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from spinproof.figures.axes import round_ticks, tick_text
from spinproof.figures.palette import (
    BLACK,
    BLUE,
    BLUISH_GREEN,
    INK,
    MUTED,
    ORANGE,
    RULE,
    VERMILLION,
)
from spinproof.figures.svg import drawing, element, escaped, label, line

RADIUS, EDGE, TITLE_H, RIM = 138.0, 18.0, 52.0, 26.0
LEGEND_LINE = 19.0


class Shape(StrEnum):
    """What a vector is; each has its own line and head."""

    FOUND = "found"
    """Unbalance that was found."""
    CORRECTION = "correction"
    """Mass to add."""
    HOLE = "hole"
    """Part of a correction at a place that takes it."""
    RESIDUAL = "residual"
    """What is left."""


_STROKES = {
    Shape.FOUND: (VERMILLION, None, 2.6),
    Shape.CORRECTION: (BLUE, "7 4", 2.6),
    Shape.HOLE: (ORANGE, "2 3", 2.0),
    Shape.RESIDUAL: (BLACK, None, 2.0),
}


@dataclass(frozen=True)
class PolarVector:
    """An amount at an angle."""

    words: str
    """For the legend, with amount, unit and angle."""
    amount: float
    angle: float
    """From the mark. [rad]"""
    shape: Shape


@dataclass(frozen=True)
class PolarPlane:
    """One correction plane."""

    title: str
    unit: str
    """Of the amounts, as printed."""
    vectors: tuple[PolarVector, ...]
    limit: float | None = None
    """Permissible residual, in the unit of the amounts."""


def polar_plot(
    title: str, planes: Sequence[PolarPlane], *, convention: str, clockwise: bool = False
) -> str:
    """Draw the planes of a rotor side by side.

    Parameters
    ----------
    title : str
        What is drawn.
    planes : sequence of PolarPlane
        One or two planes.
    convention : str
        How angles are counted, in words; it is printed.
    clockwise : bool
        Whether angles are drawn clockwise from the mark on top.

    Returns
    -------
    str
        An SVG document, the same bytes for the same values, legible in grey and on paper.
    """
    wide = 2 * (RADIUS + RIM)
    lines = max((len(plane.vectors) + (plane.limit is not None) for plane in planes), default=0)
    width = max(2 * EDGE + wide * max(len(planes), 1) + EDGE * (len(planes) - 1), 480.0)
    height = TITLE_H + wide + LEGEND_LINE * lines + 2 * EDGE
    told = "; ".join(
        f"{plane.title}: {', '.join(vector.words for vector in plane.vectors)}" for plane in planes
    )
    return drawing(
        width,
        height,
        f"{title}. {told}. {convention}",
        [
            label(EDGE, 22, title, size=15, weight="600"),
            label(EDGE, 41, convention, size=12, fill=MUTED),
            *(
                _plane(plane, EDGE + number * (wide + EDGE), clockwise=clockwise)
                for number, plane in enumerate(planes)
            ),
        ],
    )


def _plane(plane: PolarPlane, left: float, *, clockwise: bool) -> str:
    x, y = left + RIM + RADIUS, TITLE_H + RIM + RADIUS
    most = max([vector.amount for vector in plane.vectors] + [plane.limit or 0.0]) or 1.0
    ticks = [tick for tick in round_ticks(0.0, most, 3) if tick > 0]
    scale = RADIUS / ticks[-1]
    children = [
        element("title", escaped(plane.title)),
        *(_ring(x, y, tick * scale) for tick in ticks),
        *(_spoke(x, y, degrees, clockwise=clockwise) for degrees in range(0, 360, 30)),
        *(
            label(x + 3, y - tick * scale + 12, tick_text(tick), size=11, fill=MUTED)
            for tick in ticks
        ),
        *(
            _limit(x, y, plane.limit * scale)
            for _ in range(plane.limit is not None)
            if plane.limit is not None
        ),
        *(_arrow(x, y, vector, scale, clockwise=clockwise) for vector in plane.vectors),
        label(left, TITLE_H + 8, f"{plane.title}, in {plane.unit}", size=13, weight="600"),
        *_legend(plane, left, y + RADIUS + RIM + 18),
    ]
    return element("g", *children)  # fmt: skip


def _place(
    x: float, y: float, reach: float, angle: float, *, clockwise: bool
) -> tuple[float, float]:
    turn = angle if clockwise else -angle
    return x + reach * math.sin(turn), y - reach * math.cos(turn)


def _ring(x: float, y: float, radius: float) -> str:
    return element("circle", cx=x, cy=y, r=radius, fill="none", stroke=RULE, stroke_width=1)


def _limit(x: float, y: float, radius: float) -> str:
    return element(
        "circle",
        cx=x,
        cy=y,
        r=radius,
        fill=BLUISH_GREEN,
        fill_opacity="0.18",
        stroke=BLUISH_GREEN,
        stroke_width=1.6,
        stroke_dasharray="4 3",
    )


def _spoke(x: float, y: float, degrees: int, *, clockwise: bool) -> str:
    angle = math.radians(degrees)
    far = _place(x, y, RADIUS, angle, clockwise=clockwise)
    text = _place(x, y, RADIUS + 14, angle, clockwise=clockwise)
    return line(x, y, *far, stroke=RULE) + label(
        text[0], text[1] + 4, f"{degrees}°", size=11, fill=MUTED, anchor="middle"
    )


def _arrow(x: float, y: float, vector: PolarVector, scale: float, *, clockwise: bool) -> str:
    stroke, dash, width = _STROKES[vector.shape]
    tip = _place(x, y, vector.amount * scale, vector.angle, clockwise=clockwise)
    return line(x, y, *tip, stroke=stroke, width=width, dash=dash) + _head(vector.shape, *tip)


def _head(shape: Shape, x: float, y: float) -> str:
    stroke = _STROKES[shape][0]
    if shape is Shape.FOUND:
        return element("circle", cx=x, cy=y, r=5, fill=stroke, stroke=INK, stroke_width=1)
    if shape is Shape.CORRECTION:
        points = f"{x:.1f},{y - 7:.1f} {x + 6.5:.1f},{y + 5:.1f} {x - 6.5:.1f},{y + 5:.1f}"
        return element("polygon", points=points, fill=stroke, stroke=INK, stroke_width=1)
    if shape is Shape.HOLE:
        return element(
            "rect", x=x - 4.5, y=y - 4.5, width=9, height=9, fill=stroke, stroke=INK, stroke_width=1
        )
    return element("circle", cx=x, cy=y, r=4, fill="#ffffff", stroke=stroke, stroke_width=2)


def _legend(plane: PolarPlane, left: float, top: float) -> list[str]:
    drawn = []
    for number, vector in enumerate(plane.vectors):
        y = top + LEGEND_LINE * number
        drawn += [_head(vector.shape, left + 8, y - 4), label(left + 22, y, vector.words, size=12)]
    if plane.limit is not None:
        y = top + LEGEND_LINE * len(plane.vectors)
        words = f"permissible residual {plane.limit:.4g} {plane.unit}"
        drawn += [_limit(left + 8, y - 4, 6), label(left + 22, y, words, size=12)]
    return drawn
