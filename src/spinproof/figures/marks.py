"""Outcomes as marks: a shape and a letter each, so that none is told by its colour alone."""

import math
from dataclasses import dataclass

from spinproof.figures.palette import (
    BLACK,
    BLUISH_GREEN,
    MUTED,
    ORANGE,
    PAPER,
    REDDISH_PURPLE,
    SKY_BLUE,
    VERMILLION,
)
from spinproof.figures.svg import drawing, element, label
from spinproof.model.judgement import Verdict
from spinproof.model.run import Outcome


@dataclass(frozen=True)
class Mark:
    """How an outcome is drawn."""

    letter: str
    words: str
    corners: int
    """Corners of the shape; 0 is a circle."""
    turn: float
    """Angle of the first corner, clockwise from the right. [deg]"""
    fill: str
    stroke: str
    dash: str | None = None


COUNTED = Mark("C", "counted", 0, 0, BLUISH_GREEN, BLUISH_GREEN)
VOID = Mark("V", "void (its campaign was closed)", 0, 0, PAPER, MUTED, "2 1.5")
RELEVANT_FAILURE = Mark("F", "relevant failure", 3, -90, VERMILLION, VERMILLION)
INVALID_OUTSIDE = Mark("S", "invalid (outside cause)", 4, -90, SKY_BLUE, SKY_BLUE)
INVALID_OPERATOR = Mark("P", "invalid (operator)", 4, -45, ORANGE, ORANGE)
ABORTED = Mark("A", "aborted", 6, 0, REDDISH_PURPLE, REDDISH_PURPLE)
MARKS = (COUNTED, VOID, RELEVANT_FAILURE, INVALID_OUTSIDE, INVALID_OPERATOR, ABORTED)

_OF_OUTCOME = {
    Outcome.COUNTED: COUNTED,
    Outcome.RELEVANT_FAILURE: RELEVANT_FAILURE,
    Outcome.INVALID_OUTSIDE: INVALID_OUTSIDE,
    Outcome.INVALID_OPERATOR: INVALID_OPERATOR,
    Outcome.ABORTED: ABORTED,
}


_OF_VERDICT = {
    Verdict.PASS: Mark("✓", "pass", 0, 0, BLUISH_GREEN, BLUISH_GREEN),
    Verdict.FAIL: Mark("✗", "fail", 3, -90, VERMILLION, VERMILLION),
    Verdict.UNDECIDED: Mark("?", "undecided", 4, -90, ORANGE, ORANGE),
    Verdict.NOT_MEASURED: Mark("–", "not measured", 0, 0, PAPER, MUTED, "2 1.5"),
}


def mark_of(outcome: Outcome, *, void: bool) -> Mark:
    """Give the mark of an outcome; a counted run of a closed campaign is void."""
    return VOID if void and outcome is Outcome.COUNTED else _OF_OUTCOME[outcome]


def draw_mark(mark: Mark, x: float, y: float, radius: float) -> str:
    """Draw a mark about a point, all in CSS px."""
    text = label(
        x,
        y + radius * 0.42,
        mark.letter,
        size=radius * 1.15,
        fill=BLACK if mark.dash is None else MUTED,
        anchor="middle",
        weight="600",
    )
    return _shape(mark, x, y, radius) + text


def outcome_mark(outcome: Outcome, *, void: bool) -> str:
    """Give the mark of one outcome as a figure of its own."""
    mark = mark_of(outcome, void=void)
    return drawing(20, 20, mark.words, [draw_mark(mark, 10, 10, 8)])


def verdict_mark(verdict: Verdict) -> str:
    """Give the mark of one verdict as a figure of its own."""
    mark = _OF_VERDICT[verdict]
    return drawing(20, 20, mark.words, [draw_mark(mark, 10, 10, 8)])


def _shape(mark: Mark, x: float, y: float, radius: float) -> str:
    style: dict[str, str | float | None] = {
        "fill": mark.fill,
        "stroke": mark.stroke,
        "stroke_width": 1.2,
        "stroke_dasharray": mark.dash,
        "stroke_linejoin": "round",
    }
    if mark.corners == 0:
        return element("circle", cx=x, cy=y, r=radius, **style)
    reach = radius * {3: 1.3, 4: 1.22, 6: 1.1}[mark.corners]
    drop = radius * 0.15 if mark.corners == 3 else 0.0
    corners = []
    for i in range(mark.corners):
        angle = math.radians(mark.turn + 360 * i / mark.corners)
        corners.append(
            f"{x + reach * math.cos(angle):.1f},{y + drop + reach * math.sin(angle):.1f}"
        )
    return element("polygon", points=" ".join(corners), **style)
