"""A predicted course over the time of a recipe: median and 95 % band."""

import math

from spinproof.figures.chart import Axis, Chart, path_through
from spinproof.figures.palette import BAND, BLUE, MUTED, SKY_BLUE
from spinproof.figures.svg import box, element, label
from spinproof.figures.units import printed_unit
from spinproof.model.prediction import Band
from spinproof.model.recipe import Recipe, TimerBasis

LEAST_LOG = -2.0
"""Decimal logarithm of the thinnest film that is drawn: 10 nm. [µm]"""
LEAST_NAMED_PX = 46.0
"""Width of a step below which its name is left out. [CSS px]"""


def band_chart(band: Band, recipe: Recipe, *, simulated: bool) -> str:
    """Draw a predicted course.

    Parameters
    ----------
    band : Band
        The course.
    recipe : Recipe
        Its steps are shaded.
    simulated : bool
        Whether the model behind it stands on simulated runs.

    Returns
    -------
    str
        An SVG document, the same bytes for the same values.
    """
    unit = printed_unit(band.unit)
    is_steep = band.unit == "um"
    shown = _logarithms(band) if is_steep else band
    floor = LEAST_LOG if is_steep else 0.0
    chart = Chart(
        title=f"{band.label}: predicted",
        note="line: median; band: 95 % interval over what is known of the head",
        across=Axis("time from the start of the recipe, s", 0.0, recipe.process_time_s()),
        up=Axis(f"{band.label}, {unit}", floor, max(shown.high) or 1.0, powers=is_steep),
        simulated=simulated,
    )
    x, y = chart.x, chart.y
    across = [x(t) for t in shown.time_s]
    around = path_through(
        [*across, *reversed(across)],
        [*(y(v) for v in shown.high), *(y(v) for v in reversed(shown.low))],
    )
    edges = [
        element("path", d=path_through(across, map(y, side)), fill="none", stroke=BLUE,
                stroke_width=0.7, stroke_dasharray="4 2.5")
        for side in (shown.low, shown.high)
    ]  # fmt: skip
    middle = path_through(across, map(y, shown.median))
    alt = (
        f"{band.label}: median {band.median[0]:.3g} at first and {band.median[-1]:.3g} {unit} at "
        f"last; 95 % interval {band.low[-1]:.3g} to {band.high[-1]:.3g} {unit} at last."
    )
    content = [
        *_steps(recipe, chart),
        element("path", d=f"{around}Z", fill=SKY_BLUE, fill_opacity="0.35"),
        *edges,
        element("path", d=middle, fill="none", stroke=BLUE, stroke_width=2.0),
    ]
    return chart.drawn(content, alt)


def _logarithms(band: Band) -> Band:
    """Give the decimal logarithms of a course that falls through decades."""

    def logs(values: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(math.log10(max(v, 10**LEAST_LOG)) for v in values)

    return band.model_copy(
        update={"median": logs(band.median), "low": logs(band.low), "high": logs(band.high)}
    )


def _steps(recipe: Recipe, chart: Chart) -> list[str]:
    """Shade every second step, and name those that are wide enough."""
    parts, begin, speed = [], 0.0, 0.0
    x, y = chart.x, chart.y
    for number, step in enumerate(recipe.steps):
        end = begin + step.duration_s
        if step.timer_basis is TimerBasis.FROM_AT_SPEED:
            end += abs(step.speed_rpm - speed) / step.ramp_rpm_per_s
        width = x(end) - x(begin)
        if number % 2 == 0:
            parts.append(box(x(begin), y.end, width, y.start - y.end, fill=BAND))
        if width >= LEAST_NAMED_PX:
            parts.append(label((x(begin) + x(end)) / 2, y.end + 12, step.name[:14], size=9,
                               fill=MUTED, anchor="middle"))  # fmt: skip
        begin, speed = end, step.speed_rpm
    return parts
