"""How a plan lies in its envelope: every pair of factors, and how warm drive and heater get."""

from collections.abc import Sequence

from spinproof.figures.axes import Scale, tick_text
from spinproof.figures.palette import (
    BAND,
    BLUE,
    INK,
    MUTED,
    ORANGE,
    REDDISH_PURPLE,
    RULE,
    VERMILLION,
)
from spinproof.figures.svg import box, drawing, element, label, line
from spinproof.model.plan import Cell
from spinproof.model.plan_quality import CoverageView, Forecast, PlanPoint

CELL, GAP, LEFT, TOP = 92.0, 8.0, 74.0, 30.0
RADIUS = 2.6
WIDTH, HEIGHT = 720.0, 190.0

_LOOKS = {
    Cell.CUSTOMER: (VERMILLION, 4),
    Cell.LADDER: (ORANGE, 3),
    Cell.CORNER: (REDDISH_PURPLE, 6),
    Cell.FILL: (BLUE, 0),
}
"""Colour and corners of each kind of run: none is told by its colour alone."""

_WORDS = {
    "rinse_rpm": "rinse [rpm]",
    "rinse_s": "rinse [s]",
    "purge_s": "purge [s]",
    "fast_dry_rpm": "fast dry [rpm]",
    "fast_dry_s": "fast dry [s]",
    "final_dry_rpm": "final dry [rpm]",
    "final_dry_s": "final dry [s]",
    "ramp_rpm_per_s": "ramp [rpm/s]",
}


def coverage_matrix(view: CoverageView) -> str:
    """Draw every pair of factors: a point a run; on the diagonal, each factor by itself.

    Parameters
    ----------
    view : CoverageView
        The plan's points in the unit cube, and what its ends mean.

    Returns
    -------
    str
        The figure; its width grows with the number of factors.
    """
    count = len(view.lows)  # heater and wafers, which come last, have levels only
    size = LEFT + count * (CELL + GAP)
    parts = []
    for row in range(count):
        for column in range(row + 1):
            x, y = LEFT + column * (CELL + GAP), TOP + row * (CELL + GAP)
            parts.append(box(x, y, CELL, CELL, fill=BAND))
            parts.append(_rug(view, row, x, y) if row == column else _pair(view, column, row, x, y))
        parts.append(_row_ends(view, row))
    parts += [_column_ends(view, column, TOP + count * (CELL + GAP)) for column in range(count)]
    parts.append(_legend(view.points, LEFT + 4.4 * (CELL + GAP), TOP + 6))
    return drawing(size, TOP + count * (CELL + GAP) + 16, _matrix_alt(view), parts)


def warmth_chart(forecast: Forecast) -> str:
    """Draw how warm drive and heater are along the plan, as shares of what they bear for ever.

    Parameters
    ----------
    forecast : Forecast
        What the plan will take.

    Returns
    -------
    str
        The figure, 720 CSS px wide.
    """
    hours = max((step.end_s for step in forecast.along), default=0.0) / 3600 or 1.0
    across, up = Scale(0, hours, 46, WIDTH - 12), Scale(0, 1.0, HEIGHT - 30, 16)
    parts = [line(46, up(y), WIDTH - 12, up(y), stroke=RULE) for y in (0.0, 0.5, 1.0)]
    parts += [
        label(40, up(y) + 3, tick_text(y), size=9, fill=MUTED, anchor="end") for y in (0, 0.5, 1)
    ]
    for name, colour, dash, values in (
        ("drive", BLUE, None, [step.drive for step in forecast.along]),
        ("heater", VERMILLION, "5 3", [step.heater for step in forecast.along]),
    ):
        places = [(across(s.end_s / 3600), v) for s, v in zip(forecast.along, values, strict=True)]
        points = " ".join(f"{x:.1f},{up(v):.1f}" for x, v in places)
        parts.append(
            element(
                "polyline",
                points=points,
                fill="none",
                stroke=colour,
                stroke_width=1.6,
                stroke_dasharray=dash,
            )
        )
        if places:
            parts.append(label(places[-1][0], up(places[-1][1]) - 5, name, size=9.5, anchor="end"))
    parts.append(label(46, HEIGHT - 8, "0 h", size=9, fill=MUTED))
    parts.append(label(WIDTH - 12, HEIGHT - 8, f"{hours:.1f} h", size=9, fill=MUTED, anchor="end"))
    highest = max((step.drive for step in forecast.along), default=0.0)
    alt = (
        f"Warmth along the plan of {len(forecast.along)} runs and {hours:.1f} hours: the drive"
        f" reaches {highest:.0%} of what its duty limit means for ever."
    )
    return drawing(WIDTH, HEIGHT, alt, parts)


def fill_chart(view: CoverageView) -> str:
    """Draw how far feasible recipes lie from the nearest run: what a plan leaves out.

    Parameters
    ----------
    view : CoverageView
        The plan's distances of feasible points, at 0, 5 ... 100 % of them.

    Returns
    -------
    str
        The figure, 720 CSS px wide.
    """
    far = max(view.fill_distances, default=0.0) or 1.0
    steps = max(len(view.fill_distances) - 1, 1)
    across, up = Scale(0, steps, 46, WIDTH - 12), Scale(0, far, HEIGHT - 30, 20)
    parts = [line(46, up(y), WIDTH - 12, up(y), stroke=RULE) for y in (0.0, far / 2, far)]
    parts += [
        label(40, up(y) + 3, f"{y:.2f}", size=9, fill=MUTED, anchor="end")
        for y in (0.0, far / 2, far)
    ]
    points = " ".join(
        f"{across(place):.1f},{up(distance):.1f}"
        for place, distance in enumerate(view.fill_distances)
    )
    parts.append(element("polyline", points=points, fill="none", stroke=BLUE, stroke_width=1.6))
    parts.append(label(46, 12, "distance to the nearest run, in the unit cube", size=9.5))
    parts += [
        label(
            across(steps * share / 100), HEIGHT - 8, f"{share} %", size=9, fill=MUTED, anchor=where
        )
        for share, where in ((0, None), (50, "middle"), (100, "end"))
    ]
    half = view.fill_distances[steps // 2] if view.fill_distances else 0.0
    alt = (
        f"Distance of feasible recipes to the nearest run: half of them lie within {half:.2f},"
        f" all within {far:.2f} of the unit cube."
    )
    return drawing(WIDTH, HEIGHT, alt, parts)


def _pair(view: CoverageView, first: int, second: int, x: float, y: float) -> str:
    return "".join(
        _point(
            point,
            x + 5 + point.unit[first] * (CELL - 10),
            y + CELL - 5 - point.unit[second] * (CELL - 10),
        )
        for point in view.points
    )


def _rug(view: CoverageView, factor: int, x: float, y: float) -> str:
    name = view.factors[factor]
    title, _, unit = _WORDS.get(name, name).partition(" [")
    parts = [
        label(x + CELL / 2, y + 30, title, size=10, anchor="middle", weight="600"),
        label(x + CELL / 2, y + 44, unit.rstrip("]"), size=9, fill=MUTED, anchor="middle"),
    ]
    for point in view.points:
        at = x + 5 + point.unit[factor] * (CELL - 10)
        parts.append(line(at, y + CELL - 22, at, y + CELL - 6, stroke=INK, width=0.6))
    return "".join(parts)


def _point(point: PlanPoint, x: float, y: float) -> str:
    colour, corners = _LOOKS[point.cell]
    if corners == 0:
        return element("circle", cx=x, cy=y, r=RADIUS, fill=colour, fill_opacity=0.75)
    return _shape(corners, x, y, colour)


def _shape(corners: int, x: float, y: float, colour: str) -> str:
    reach = RADIUS * 1.5
    outlines = {
        3: ((0, -reach), (reach, reach * 0.8), (-reach, reach * 0.8)),
        4: ((0, -reach), (reach, 0), (0, reach), (-reach, 0)),
        6: ((-reach, -reach), (reach, -reach), (reach, reach), (-reach, reach)),
    }
    points = " ".join(f"{x + dx:.1f},{y + dy:.1f}" for dx, dy in outlines[corners])
    return element("polygon", points=points, fill=colour, stroke=INK, stroke_width=0.4)


def _row_ends(view: CoverageView, row: int) -> str:
    y = TOP + row * (CELL + GAP)
    return label(
        LEFT - 6, y + 9, tick_text(view.highs[row]), size=8.5, fill=MUTED, anchor="end"
    ) + label(LEFT - 6, y + CELL - 2, tick_text(view.lows[row]), size=8.5, fill=MUTED, anchor="end")


def _column_ends(view: CoverageView, column: int, y: float) -> str:
    x = LEFT + column * (CELL + GAP)
    return label(x, y + 6, tick_text(view.lows[column]), size=8.5, fill=MUTED) + label(
        x + CELL, y + 6, tick_text(view.highs[column]), size=8.5, fill=MUTED, anchor="end"
    )


def _legend(points: Sequence[PlanPoint], x: float, y: float) -> str:
    parts = []
    for cell in Cell:
        count = sum(point.cell is cell for point in points)
        if count:
            colour, corners = _LOOKS[cell]
            mark = (
                element("circle", cx=x, cy=y, r=4, fill=colour)
                if corners == 0
                else _shape(corners, x, y, colour)
            )
            parts += [mark, label(x + 10, y + 4, f"{cell.value} ({count})", size=10.5)]
            y += 18
    return "".join(parts)


def _matrix_alt(view: CoverageView) -> str:
    pairs = sum(sum(map(sum, pair.feasible)) for pair in view.pairs)
    seen = sum(
        (count > 0) and feasible
        for pair in view.pairs
        for counts, row in zip(pair.counts, pair.feasible, strict=True)
        for count, feasible in zip(counts, row, strict=True)
    )
    return (
        f"{len(view.points)} runs over {len(view.lows)} factors, every pair of factors:"
        f" {seen} of {pairs} feasible pairs of levels are run."
    )
