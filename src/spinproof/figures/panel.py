"""Panels: the series of one unit over time, with its axis."""

from collections.abc import Sequence
from dataclasses import dataclass

from spinproof.figures.axes import Scale, round_ticks, tick_text
from spinproof.figures.curve import curve
from spinproof.figures.palette import (
    BLUE,
    BLUISH_GREEN,
    INK,
    MUTED,
    REDDISH_PURPLE,
    RULE,
    VERMILLION,
)
from spinproof.figures.setpoint import SETPOINT
from spinproof.figures.svg import label, line
from spinproof.figures.units import printed_unit
from spinproof.model.handover import Series

TITLES = {
    "rpm": "speed",
    "L/min": "water flow",
    "bar_g": "water pressure",
    "MOhm.cm": "resistivity",
    "slm": "nitrogen flow",
    "degC": "nitrogen temperature",
    "kPa_g": "seal pressure",
    "mm/s": "vibration",
    "A": "motor current",
}
"""Panels in their order from top to bottom; other units follow."""


@dataclass(frozen=True)
class Pen:
    """How a curve is drawn: colour and dash differ together, so that grey prints tell it too."""

    stroke: str
    width: float
    dash: str | None = None


PENS = (
    Pen(BLUE, 1.1),
    Pen(VERMILLION, 1.1, "5 2.5"),
    Pen(BLUISH_GREEN, 1.1, "1.5 1.5"),
    Pen(REDDISH_PURPLE, 1.1, "6 2 1.5 2"),
)
SETPOINT_PEN = Pen("#c3cbd2", 3.6)


@dataclass(frozen=True)
class Panel:
    """The series that share one unit, and so one axis."""

    unit: str
    series: tuple[Series, ...]

    @property
    def title(self) -> str:
        """What the panel shows."""
        return TITLES.get(self.unit, "value")


def panels_of(series: Sequence[Series]) -> tuple[Panel, ...]:
    """Sort series into panels by their unit."""
    units = [*TITLES, *sorted({s.unit for s in series} - set(TITLES))]
    panels = (Panel(unit, tuple(s for s in series if s.unit == unit)) for unit in units)
    return tuple(panel for panel in panels if panel.series)


def draw_panel(panel: Panel, across: Scale, top: float, height: float) -> str:
    """Draw a panel below ``top`` [CSS px]: title with unit, grid, axis and curves."""
    ticks = _ticks(panel, height)
    up = Scale(ticks[0], ticks[-1], top + height, top + 18)
    curves = [
        curve(series, across, up, stroke=pen.stroke, width=pen.width, dash=pen.dash)
        for series, pen in _with_pens(panel.series)
    ]
    return _axis(ticks, across, up) + _title(panel, across, top + 11) + "".join(curves)


def _with_pens(series: Sequence[Series]) -> list[tuple[Series, Pen]]:
    """Give each series its pen; the set-point lies as a broad pale line under the others."""
    measured = [s for s in series if s.name != SETPOINT]
    return [(s, SETPOINT_PEN) for s in series if s.name == SETPOINT] + [
        (s, PENS[i % len(PENS)]) for i, s in enumerate(measured)
    ]


def _ticks(panel: Panel, height: float) -> tuple[float, ...]:
    """Give ticks that hold all readings; panels start at zero unless readings lie below it."""
    readings = [v for s in panel.series for v in s.values if v is not None] or [0.0, 1.0]
    low, high = min(readings), max(readings)
    is_noise_about_zero = low > -0.02 * high
    return round_ticks(
        0.0 if is_noise_about_zero else low, max(high, 0.0), at_most=max(3, int(height / 24))
    )


def _axis(ticks: Sequence[float], across: Scale, up: Scale) -> str:
    parts = []
    for tick in ticks:
        y = up(tick)
        parts.append(line(across.start, y, across.end, y, stroke=RULE, width=0.6))
        parts.append(
            label(across.start - 5, y + 3, tick_text(tick), size=8.5, fill=MUTED, anchor="end")
        )
    return "".join(parts)


def _title(panel: Panel, across: Scale, baseline: float) -> str:
    unit = printed_unit(panel.unit)
    title = f"{panel.title} [{unit}]" if unit else panel.title
    parts = [label(across.start, baseline, title, size=9.5, weight="600")]
    if len(panel.series) > 1:
        x, y = across.start + 14 + 5.4 * len(title), baseline - 3
        for series, pen in _with_pens(panel.series):
            parts.append(
                line(x, y, x + 18, y, stroke=pen.stroke, width=pen.width + 0.3, dash=pen.dash)
            )
            parts.append(label(x + 22, baseline, series.name, size=9, fill=INK))
            x += 36 + 4.8 * len(series.name)
    return "".join(parts)
