"""The trade-off front: odds of being dry against process time, cost as the size of the mark."""

from spinproof.figures.chart import Axis, Chart, path_through
from spinproof.figures.palette import BLUE, INK, MUTED, SKY_BLUE
from spinproof.figures.svg import element, label
from spinproof.model.prediction import Advice, Candidate

SMALLEST, LARGEST = 4.0, 11.0
"""Radius of the cheapest and of the dearest mark. [CSS px]"""


def front_chart(advice: Advice) -> str:
    """Draw the trade-off front.

    Parameters
    ----------
    advice : Advice
        Recipes by rising process time.

    Returns
    -------
    str
        An SVG document, the same bytes for the same values.
    """
    times = [c.process_time_s for c in advice.front]
    odds = [100 * c.dry.probability for c in advice.front]
    costs = [c.cost.median for c in advice.front]
    chart = Chart(
        title="Recipes that no other beats in time, dryness and cost",
        note=f"{advice.tried} tried; size of a mark: cost, {min(costs):.3g} to {max(costs):.3g} "
        f"{advice.cost_unit} a run; the odds hold for the model, not for the head",
        across=Axis("process time, s", 0.95 * min(times), 1.02 * max(times)),
        up=Axis("dry when the recipe ends, %", max(min(*odds, 90.0) - 5, 0.0), 100.0),
        simulated=advice.simulated,
    )
    places = [(chart.x(t), chart.y(p)) for t, p in zip(times, odds, strict=True)]
    trail = path_through([a for a, _ in places], [b for _, b in places])
    marks = [
        element("circle", cx=a, cy=b, r=_radius(c, costs), fill=SKY_BLUE, stroke=BLUE,
                stroke_width=1.2, fill_opacity="0.75")
        for (a, b), c in zip(places, advice.front, strict=True)
    ]  # fmt: skip
    alt = (
        f"{len(advice.front)} recipes, from {min(times):.0f} s with odds of {odds[0]:.0f} % to "
        f"{max(times):.0f} s with odds of {odds[-1]:.0f} %."
    )
    path = element(
        "path", d=trail, fill="none", stroke=MUTED, stroke_width=1, stroke_dasharray="3 3"
    )
    return chart.drawn([path, *marks, *_names(advice, places, chart)], alt)


def _radius(candidate: Candidate, costs: list[float]) -> float:
    span = max(costs) - min(costs)
    share = (candidate.cost.median - min(costs)) / span if span > 0 else 0.0
    return SMALLEST + share * (LARGEST - SMALLEST)


def _names(advice: Advice, places: list[tuple[float, float]], chart: Chart) -> list[str]:
    """Give each mark its number in the table, and name the best at each goal."""
    parts = []
    for number, ((x, y), candidate) in enumerate(zip(places, advice.front, strict=True), start=1):
        parts.append(label(x, y - 14, str(number), size=9, fill=INK, anchor="middle"))
        if candidate.best_at:
            words = ", ".join(candidate.best_at)
            late = x > chart.x.end - 120
            at, anchor = (x - 14, "end") if late else (x + 14, "start")
            parts.append(label(at, y + 15, words, size=9, fill=MUTED, anchor=anchor))
    return parts
