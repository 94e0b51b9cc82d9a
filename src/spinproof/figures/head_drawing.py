"""A head drawn as its positions: what sits in each, where it comes from, what was found there."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from spinproof.figures.palette import (
    BAND,
    BLACK,
    INK,
    MUTED,
    ORANGE,
    PAPER,
    RULE,
    SKY_BLUE,
    VERMILLION,
)
from spinproof.figures.svg import drawing, element, escaped, label, line
from spinproof.model.part import Severity

CELL_W, CELL_H, GAP, EDGE = 158.0, 94.0, 8.0, 12.0
TITLE_H, LEGEND_H = 30.0, 34.0
LETTERS_A_LINE = 25
"""Letters of the smallest type that fit across a cell."""

_MARKS = {
    Severity.SAFETY: ("S", 8, VERMILLION),
    Severity.FUNCTION: ("F", 4, ORANGE),
    Severity.COSMETIC: ("C", 0, SKY_BLUE),
}
"""Letter, corners of the shape (0 is a circle), and fill."""


@dataclass(frozen=True)
class PositionCell:
    """A position as it is drawn."""

    code: str
    name: str
    row: int
    """From the top, counted from 1."""
    column: int
    """From the left, counted from 1."""
    state: str
    """What sits there, in words: a provenance, "empty", "not recorded"."""
    tag: str | None = None
    """Of the part that sits there."""
    findings: tuple[Severity, ...] = ()
    """Severities of the open findings."""
    refused: str | None = None
    """Why no other part may be fitted there, in a word; it is then drawn grey and hatched."""
    href: str | None = None
    """Page of the position."""

    @property
    def words(self) -> str:
        """All that is drawn, in words."""
        found = [
            f"{self.findings.count(severity)} open {severity} finding"
            + ("s" if self.findings.count(severity) > 1 else "")
            for severity in Severity
            if severity in self.findings
        ]
        parts = [f"{self.code}, {self.name}", self.refused, self.state, self.tag, *found]
        return ": ".join(filter(None, [parts[0], ", ".join(filter(None, parts[1:]))]))


def head_drawing(title: str, cells: Sequence[PositionCell]) -> str:
    """Draw a head, or the module that heads share, as its positions.

    Parameters
    ----------
    title : str
        What is drawn, for example "head QM-207-L".
    cells : sequence of PositionCell
        The positions, each at its row and column.

    Returns
    -------
    str
        An SVG document, the same bytes for the same values, legible in grey and on paper.
    """
    columns = max((cell.column for cell in cells), default=1)
    rows = max((cell.row for cell in cells), default=1)
    width = 2 * EDGE + columns * CELL_W + (columns - 1) * GAP
    height = 2 * EDGE + TITLE_H + rows * CELL_H + (rows - 1) * GAP + LEGEND_H
    width = max(width, 620.0)
    refused = sum(cell.refused is not None for cell in cells)
    found = sum(len(cell.findings) for cell in cells)
    alt = f"Positions of {title}: {len(cells)}, {refused} of them refused; open findings: {found}"
    return drawing(
        width,
        height,
        alt,
        [
            label(EDGE, EDGE + 16, f"Positions of {title}", size=15, weight="600"),
            *(_cell(cell) for cell in sorted(cells, key=lambda each: (each.row, each.column))),
            _legend(height - EDGE - 8),
        ],
        role="group" if any(cell.href for cell in cells) else "img",
    )


def severity_mark(severity: Severity) -> str:
    """Give the mark of a severity as a small figure of its own, without a background."""
    return element(
        "svg",
        element("title", escaped(f"{severity} finding")),
        _mark(severity, 11, 11, 9),
        xmlns="http://www.w3.org/2000/svg",
        viewBox="0 0 22 22",
        width=22,
        height=22,
        role="img",
    )


def _cell(cell: PositionCell) -> str:
    x = EDGE + (cell.column - 1) * (CELL_W + GAP)
    y = EDGE + TITLE_H + (cell.row - 1) * (CELL_H + GAP)
    grey = cell.refused is not None
    ink = MUTED if grey else INK
    children = [
        element("title", escaped(cell.words)),
        element(
            "rect",
            x=x,
            y=y,
            width=CELL_W,
            height=CELL_H,
            rx=6,
            fill=BAND if grey else PAPER,
            stroke=MUTED if grey else INK,
            stroke_width=1.2 if cell.tag is None or grey else 2,
            stroke_dasharray="5 4" if grey or cell.tag is None else None,
        ),
        *(_hatch(x, y) if grey else ()),
        label(x + 8, y + 20, cell.code, size=15, fill=ink, weight="700"),
        label(x + 8, y + 37, _cut(cell.name), size=11, fill=ink),
        label(x + 8, y + 56, cell.tag or "no part", size=11, fill=ink, weight="600"),
        label(x + 8, y + 71, _cut(cell.state), size=11, fill=ink),
        *(
            [label(x + 8, y + 87, _cut(cell.refused), size=11, weight="700")]
            if cell.refused
            else []
        ),
        *_findings(cell, x + CELL_W - 16, y + 16),
    ]
    if cell.href is None:
        return element("g", *children)
    return element("a", *children, href=cell.href)


def _hatch(x: float, y: float) -> list[str]:
    """Give short strokes in the right lower corner: grey alone would not survive a copier."""
    right, foot = x + CELL_W, y + CELL_H
    return [
        line(right - 9 - 6 * i, foot - 3, right - 3, foot - 9 - 6 * i, stroke=MUTED, width=1.2)
        for i in range(4)
    ]


def _findings(cell: PositionCell, x: float, y: float) -> list[str]:
    drawn = []
    for severity in (s for s in Severity if s in cell.findings):
        count = cell.findings.count(severity)
        drawn.append(_mark(severity, x, y, 9))
        if count > 1:
            drawn.append(label(x - 12, y + 4, f"{count}×", size=11, anchor="end", weight="700"))
        x -= 23 if count == 1 else 42
    return drawn


def _mark(severity: Severity, x: float, y: float, radius: float) -> str:
    letter, corners, fill = _MARKS[severity]
    text = label(x, y + 3.8, letter, size=10.5, fill=BLACK, anchor="middle", weight="700")
    if corners == 0:
        return element("circle", cx=x, cy=y, r=radius, fill=fill, stroke=INK, stroke_width=1) + text
    turn = math.pi / corners if corners > 4 else 0.0
    reach = radius * (1.0 if corners > 4 else 1.15)
    points = " ".join(
        f"{x + reach * math.cos(turn + 2 * math.pi * i / corners):.1f},"
        f"{y + reach * math.sin(turn + 2 * math.pi * i / corners):.1f}"
        for i in range(corners)
    )
    return element("polygon", points=points, fill=fill, stroke=INK, stroke_width=1) + text


def _legend(y: float) -> str:
    drawn = [label(EDGE, y + 4, "Open findings:", size=11, fill=MUTED)]
    x = EDGE + 92.0
    for severity in Severity:
        drawn += [_mark(severity, x, y, 8), label(x + 13, y + 4, severity, size=11, fill=MUTED)]
        x += 84.0
    drawn += [
        element(
            "rect",
            x=x,
            y=y - 8,
            width=24,
            height=16,
            rx=3,
            fill=BAND,
            stroke=MUTED,
            stroke_width=1.2,
            stroke_dasharray="5 4",
        ),
        line(x + 12, y + 6, x + 22, y - 4, stroke=MUTED, width=1),
        line(x + 4, y + 6, x + 14, y - 4, stroke=RULE, width=1),
        label(x + 32, y + 4, "refused: the customer wants no work there", size=11, fill=MUTED),
    ]
    return "".join(drawn)


def _cut(text: str) -> str:
    return text if len(text) <= LETTERS_A_LINE else text[: LETTERS_A_LINE - 1].rstrip() + "…"
