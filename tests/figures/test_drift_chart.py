"""The chart of a series that drifts."""

import xml.etree.ElementTree as ET
from dataclasses import replace

from spinproof.figures.drift_chart import drift_chart
from spinproof.model.series import Compared, MetricSeries, SeriesChart, SeriesTrend

RUNS = tuple(f"QA-1041-L-{n:03d}" for n in range(1, 11))
VALUES = tuple(2 + 0.1 * n for n in range(10))
SERIES = MetricSeries(
    metric="seal_loss",
    step=None,
    kind=None,
    place="",
    unit="%/min",
    runs=RUNS,
    positions=tuple(range(1, 11)),
    values=VALUES,
    left_over=VALUES,
    compared=Compared.VALUES,
    how="the values themselves",
    alone=False,
    trend=SeriesTrend(0.001, 0.1, 0.09, 0.11, None, 0.0),
    drifts=True,
    chart=SeriesChart(
        2.2, 8, tuple(0.9 * v + 0.2 for v in VALUES), (2.0,) * 10, (2.4,) * 10, RUNS[-2:]
    ),
    since="QA-1041-L-004",
    forecast=None,
    words="Pressure loss of the seal rises by 0.1 %/min a run.",
)


def test_each_run_is_a_dot_and_each_signal_a_ring_and_the_beginning_is_named():
    svg = drift_chart(SERIES, simulated=True)
    circles = [e for e in ET.fromstring(svg).iter() if e.tag.endswith("circle")]  # noqa: S314 - our own figure
    assert len(circles) == 10 + 2
    assert "since about QA-1041-L-004" in svg
    assert "SIMULATED" in svg
    assert SERIES.words in svg


def test_a_series_without_limits_is_drawn_without_them():
    svg = drift_chart(replace(SERIES, chart=None, since=None), simulated=False)
    assert "stroke-dasharray" not in svg
    assert "since about" not in svg


def test_the_same_series_gives_the_same_bytes():
    assert drift_chart(SERIES, simulated=False) == drift_chart(SERIES, simulated=False)
