"""A metric over the runs of a burn-in: what the recipe leaves, with its weighted mean."""

from spinproof.figures.chart import Axis, Chart, path_through
from spinproof.figures.palette import BLUE, INK, MUTED, ORANGE, SKY_BLUE, VERMILLION
from spinproof.figures.svg import element, label, line
from spinproof.figures.units import printed_unit
from spinproof.model.metric_words import metric_words
from spinproof.model.series import Compared, MetricSeries, SeriesChart


def drift_chart(series: MetricSeries, *, simulated: bool) -> str:
    """Draw a series with its exponentially weighted mean and the limits of that.

    Parameters
    ----------
    series : MetricSeries
        A series with two values or more.
    simulated : bool
        Whether the runs come from the virtual head; the figure then says so.

    Returns
    -------
    str
        An SVG document, the same bytes for the same series.
    """
    drawn, note = [*series.left_over], "dots: runs"
    if series.chart is not None:
        first = series.chart.first_phase
        note += f"; line: weighted mean; dashed: its limits, from the first {first} of these runs"
        drawn += [*series.chart.weighted, *series.chart.lower, *series.chart.upper]
    unit = printed_unit(series.unit)
    fitted = series.compared in {Compared.FIT, Compared.MODEL}
    name = " ".join(filter(None, (metric_words(series.metric), series.place)))
    chart = Chart(
        title=f"{name[:1].upper()}{name[1:]}, run by run",
        note=note,
        across=Axis("run of the campaign", series.positions[0], series.positions[-1]),
        up=Axis(f"{'less what the recipe explains, ' if fitted else ''}{unit}",
                min(drawn), max(drawn)),
        simulated=simulated,
    )  # fmt: skip
    dots = [
        element("circle", cx=chart.x(at), cy=chart.y(value), r=2.6)
        for at, value in zip(series.positions, series.left_over, strict=True)
    ]
    parts = [element("g", *dots, fill=SKY_BLUE, stroke=BLUE, stroke_width=0.6)]
    if series.chart is not None:
        parts += _weighted(series, series.chart, chart)
    if series.since is not None:
        parts += _beginning(series, series.since, chart)
    return chart.drawn(parts, f"{series.words} {len(series.runs)} runs.")


def _weighted(series: MetricSeries, of: SeriesChart, chart: Chart) -> list[str]:
    across = [chart.x(at) for at in series.positions]

    def path(values: tuple[float, ...], colour: str, width: float, dash: str | None) -> str:
        d = path_through(across, [chart.y(value) for value in values])
        return element(
            "path", d=d, fill="none", stroke=colour, stroke_width=width, stroke_dasharray=dash
        )

    centre = line(chart.x.start, chart.y(of.centre), chart.x.end, chart.y(of.centre), stroke=MUTED)
    marks = [
        element("circle", cx=chart.x(at), cy=chart.y(value), r=3.2, fill="none",
                stroke=VERMILLION, stroke_width=1.2)
        for run, at, value in zip(series.runs, series.positions, of.weighted, strict=True)
        if run in of.signals
    ]  # fmt: skip
    return [
        centre,
        path(of.lower, MUTED, 0.9, "4 3"),
        path(of.upper, MUTED, 0.9, "4 3"),
        path(of.weighted, INK, 1.6, None),
        *marks,
    ]


def _beginning(series: MetricSeries, since: str, chart: Chart) -> list[str]:
    x = chart.x(series.positions[series.runs.index(since)])
    late = x > chart.x.end - 150
    return [
        line(x, chart.y.start, x, chart.y.end, stroke=ORANGE, width=1.2),
        label(x - 4 if late else x + 4, chart.y.end + 10, f"since about {since}",
              size=9, anchor="end" if late else None),
    ]  # fmt: skip
