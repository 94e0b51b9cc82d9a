"""What stands in the slots of each cassette, and how the load pulls at the rotor."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from spinproof.figures.palette import BAND, BLUE, INK, MUTED, ORANGE, PAPER, RULE, VERMILLION
from spinproof.figures.svg import box, drawing, element, label, line

EDGE, TITLE_H, ROW_H, STRIP_W, GAP = 18.0, 40.0, 13.0, 120.0, 26.0
ROTOR_R = 105.0
SEAT = 0.62 * ROTOR_R
"""Where the cassettes are drawn. [CSS px]"""
MOST_PULL = 3.0
"""Multiple of the limit at which the stroke of the unbalance reaches the rim."""
LEGEND_H, LEGEND_W = 26.0, 260.0
LETTER_W = 6.6
"""Width that a letter of the words below takes at most, in the mean. [CSS px]"""


@dataclass(frozen=True)
class CassettePicture:
    """A cassette with its slots."""

    angle: float
    """Where it stands on the rotor; nothing for the one on the axis. [rad]"""
    loaded: frozenset[int]
    """Slots that hold wafers, counted from 1."""
    dummies: frozenset[int] = frozenset()
    """Slots that get a dummy."""


def slot_picture(
    title: str,
    cassettes: Sequence[CassettePicture],
    slots: int,
    *,
    pull: tuple[float, float] | None = None,
    words: str = "",
) -> str:
    """Draw the slots of each cassette; beside several cassettes, the rotor seen along its axis.

    Parameters
    ----------
    title : str
        What is drawn.
    cassettes : sequence of CassettePicture
        The cassettes in order.
    slots : int
        Slots of each.
    pull : tuple of float, optional
        Share of the limit (1 is the limit itself) and angle of the static unbalance. [1, rad]
    words : str
        What stands below, for example the unbalance with its unit.

    Returns
    -------
    str
        An SVG document, the same bytes for the same values.
    """
    several = len(cassettes) > 1
    rotor_w = 2 * ROTOR_R + 2 * EDGE if several else 0.0
    told_w = LEGEND_W + LETTER_W * len(words)
    width = 2 * EDGE + max(rotor_w + len(cassettes) * (STRIP_W + GAP), told_w, 420.0 - 2 * EDGE)
    height = TITLE_H + 24 + max(slots * ROW_H, 2 * ROTOR_R if several else 0.0) + LEGEND_H + EDGE
    counts = ", ".join(
        f"cassette {n}: {len(c.loaded)} wafers"
        + (f" and {len(c.dummies)} dummies" if c.dummies else "")
        for n, c in enumerate(cassettes, start=1)
    )
    children = [label(EDGE, 24, title, size=15, weight="600")]
    if several:
        children.append(_rotor(cassettes, pull))
    for number, cassette in enumerate(cassettes, start=1):
        left = EDGE + rotor_w + (number - 1) * (STRIP_W + GAP)
        children.append(_strip(cassette, slots, left, number))
    children += [_legend(height - EDGE), label(EDGE + LEGEND_W, height - EDGE + 4, words, size=12)]
    return drawing(width, height, f"{title}. {counts}. {words}".strip(), children)


def _strip(cassette: CassettePicture, slots: int, left: float, number: int) -> str:
    top = TITLE_H + 22
    drawn = [
        label(left + 22, TITLE_H + 14, f"cassette {number}", size=12, weight="600"),
        box(left + 22, top, STRIP_W - 22, slots * ROW_H, fill=BAND),
    ]
    for slot in range(1, slots + 1):
        y = top + (slot - 0.5) * ROW_H
        if slot == 1 or slot % 5 == 0 or slot == slots:
            drawn.append(label(left + 18, y + 4, f"{slot}", size=11, fill=MUTED, anchor="end"))
        drawn.append(_wafer(cassette, slot, left + 26, left + STRIP_W - 4, y))
    return element("g", *drawn)


def _wafer(cassette: CassettePicture, slot: int, x1: float, x2: float, y: float) -> str:
    if slot in cassette.loaded:
        return line(x1, y, x2, y, stroke=BLUE, width=5)
    if slot in cassette.dummies:
        return line(x1, y, x2, y, stroke=ORANGE, width=5, dash="8 4")
    return line(x1, y, x2, y, stroke=RULE, width=1)


def _rotor(cassettes: Sequence[CassettePicture], pull: tuple[float, float] | None) -> str:
    x, y = EDGE + ROTOR_R, TITLE_H + 22 + ROTOR_R
    drawn = [
        element("circle", cx=x, cy=y, r=ROTOR_R, fill=PAPER, stroke=INK, stroke_width=2),
        *(_seat(cassette, number, x, y) for number, cassette in enumerate(cassettes, start=1)),
        element("circle", cx=x, cy=y, r=4, fill=INK),
    ]
    if pull is not None and pull[0] > 0:
        reach = ROTOR_R * (0.2 + 0.8 * min(pull[0], MOST_PULL) / MOST_PULL)
        tip = x + reach * math.sin(pull[1]), y - reach * math.cos(pull[1])
        point = element(
            "circle", cx=tip[0], cy=tip[1], r=6, fill=VERMILLION, stroke=INK, stroke_width=1
        )
        drawn += [line(x, y, *tip, stroke=VERMILLION, width=4), point]
    said = ("seen along the axis;", "the stroke shows where the load pulls")
    drawn += [
        label(x, y + ROTOR_R + 18 + 15 * n, words, size=11, fill=MUTED, anchor="middle")
        for n, words in enumerate(said if pull else said[:1])
    ]
    return element("g", *drawn)


def _seat(cassette: CassettePicture, number: int, x: float, y: float) -> str:
    cx, cy = x + SEAT * math.sin(cassette.angle), y - SEAT * math.cos(cassette.angle)
    held = f"{len(cassette.loaded)}" + (f"+{len(cassette.dummies)}" if cassette.dummies else "")
    return "".join(
        (
            element("circle", cx=cx, cy=cy, r=34, fill=BAND, stroke=INK, stroke_width=1.4),
            label(cx - 16, cy + 5, f"{number}", size=15, anchor="middle", weight="700"),
            label(cx + 11, cy + 5, held, size=11, anchor="middle", fill=MUTED),
        )
    )


def _legend(y: float) -> str:
    drawn = []
    for number, (words, stroke, width, dash) in enumerate(
        (("wafer", BLUE, 5.0, None), ("dummy", ORANGE, 5.0, "8 4"), ("empty", RULE, 1.0, None))
    ):
        x = EDGE + 86.0 * number
        drawn += [
            line(x, y, x + 26, y, stroke=stroke, width=width, dash=dash),
            label(x + 31, y + 4, words, size=11, fill=MUTED),
        ]
    return "".join(drawn)
