"""What a fit left over, run by run: a shape in it says that the model is not the whole story."""

from spinproof.figures.axes import Scale
from spinproof.figures.chart import Axis, Chart
from spinproof.figures.palette import (
    BLUE,
    BLUISH_GREEN,
    INK,
    ORANGE,
    REDDISH_PURPLE,
    SKY_BLUE,
    VERMILLION,
)
from spinproof.figures.svg import element, label, line
from spinproof.figures.units import printed_unit
from spinproof.model.head_model import Fit, Residuals

COLOURS = (BLUE, VERMILLION, BLUISH_GREEN, REDDISH_PURPLE, ORANGE, SKY_BLUE)
NAMED_RUNS = 6
"""Runs that the legend names; of more, it says how many."""


def residual_plot(fit: Fit) -> str:
    """Draw what a fit left over.

    Parameters
    ----------
    fit : Fit
        The fit, with its residuals.

    Returns
    -------
    str
        An SVG document, the same bytes for the same fit.
    """
    across = [x for run in fit.residuals for x in run.across] or [0.0]
    left = [r for run in fit.residuals for r in run.left_over] or [0.0]
    reach = max(map(abs, left)) or 1.0
    unit = printed_unit(fit.residual_unit)
    chart = Chart(
        title=f"{fit.subject}: measured less fitted",
        note=f"{len(fit.runs)} runs, {fit.points} readings, rms {fit.residual_rms:.3g} {unit}; "
        "scatter without a shape is what a good model leaves",
        across=Axis(fit.across, min(across), max(across)),
        up=Axis(f"left over, {unit}", -reach, reach),
        simulated=any(run.simulated for run in fit.runs),
    )
    zero = line(chart.x.start, chart.y(0.0), chart.x.end, chart.y(0.0), stroke=INK, width=0.9)
    dots = [
        _dots(run, COLOURS[i % len(COLOURS)], chart.x, chart.y)
        for i, run in enumerate(fit.residuals)
    ]
    alt = f"Residuals of the fit {fit.subject} against {fit.across}, {len(fit.runs)} runs."
    return chart.drawn([zero, *dots, *_legend(fit, chart)], alt)


def _dots(run: Residuals, colour: str, x: Scale, y: Scale) -> str:
    marks = [
        element("circle", cx=x(a), cy=y(r), r=1.6)
        for a, r in zip(run.across, run.left_over, strict=True)
    ]
    return element("g", *marks, fill=colour, fill_opacity="0.7") if marks else ""


def _legend(fit: Fit, chart: Chart) -> list[str]:
    named = fit.residuals[:NAMED_RUNS]
    parts, at = [], chart.x.start
    for i, run in enumerate(named):
        parts.append(element("circle", cx=at + 4, cy=310, r=3, fill=COLOURS[i % len(COLOURS)]))
        parts.append(label(at + 10, 313.5, run.run[-14:], size=9))
        at += 18 + 5.4 * len(run.run[-14:])
    if len(fit.residuals) > NAMED_RUNS:
        parts.append(label(at, 313.5, f"and {len(fit.residuals) - NAMED_RUNS} more", size=9))
    return parts
