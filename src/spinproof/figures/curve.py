"""Curves: from many samples to the few points that a drawing can show."""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from spinproof.figures.axes import Scale
from spinproof.figures.svg import element, number
from spinproof.model.handover import Series

Floats = NDArray[np.float64]


def curve(
    series: Series, across: Scale, up: Scale, *, stroke: str, width: float, dash: str | None = None
) -> str:
    """Draw a series as one path that is broken where readings are missing.

    Parameters
    ----------
    series : Series
        Time [s] and values; None marks a missing reading.
    across, up : Scale
        Axes of time [s] and of the values.
    stroke : str
        Colour.
    width : float
        Width of the line. [CSS px]
    dash : str, optional
        Dash pattern.

    Returns
    -------
    str
        An SVG path, empty when there is no reading.
    """
    time = np.array(series.time_s, dtype=np.float64)
    values = np.array([np.nan if v is None else v for v in series.values], dtype=np.float64)
    columns = max(int(across.end - across.start), 1)
    pieces = []
    for piece in _unbroken(values):
        t, v = thinned(time[piece], values[piece], (across.high - across.low) / columns)
        pieces.append(_path(_places(t, across), _places(v, up)))
    if not pieces:
        return ""
    return element(
        "path",
        d="".join(pieces),
        fill="none",
        stroke=stroke,
        stroke_width=width,
        stroke_linejoin="round",
        stroke_dasharray=dash,
    )


def thinned(time: Floats, values: Floats, column: float) -> tuple[Floats, Floats]:
    """Keep the first, lowest, highest and last sample of each column of the drawing.

    Parameters
    ----------
    time : ndarray
        Rising times. [s]
    values : ndarray
        Readings, none missing.
    column : float
        Time that one column covers. [s]

    Returns
    -------
    tuple of ndarray
        Times and values of the samples kept, in their order; no peak is lost.
    """
    index = np.floor((time - time[0]) / column).astype(np.int64) if time.size else time
    starts = np.flatnonzero(np.r_[True, np.diff(index) != 0])
    kept = np.zeros(time.size, dtype=bool)
    for first, after in pairwise((*starts.tolist(), time.size)):
        part = values[first:after]
        kept[[first, first + int(part.argmin()), first + int(part.argmax()), after - 1]] = True
    return time[kept], values[kept]


def _unbroken(values: Floats) -> list[slice]:
    """Give the stretches without a missing reading."""
    present = np.r_[False, np.isfinite(values), False]
    edges = np.flatnonzero(present[1:] != present[:-1])
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _places(values: Floats, scale: Scale) -> Floats:
    return scale.start + (values - scale.low) * (
        (scale.end - scale.start) / (scale.high - scale.low)
    )


def _path(x: Floats, y: Floats) -> str:
    """Give path commands; points in the middle of a level stretch are left out."""
    points = [(number(a), number(b)) for a, b in zip(x.tolist(), y.tolist(), strict=True)]
    last = len(points) - 1
    shown = [
        point
        for i, point in enumerate(points)
        if i in {0, last} or not points[i - 1][1] == point[1] == points[i + 1][1]
    ]
    return "M" + "L".join(f"{a} {b}" for a, b in shown)
