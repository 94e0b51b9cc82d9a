"""The curves of a run for charts: what was measured, thinned so that no peak is lost."""

import math

import numpy as np
from numpy.typing import NDArray

from spinproof.judge.readings import Readings
from spinproof.model.channel import Role
from spinproof.model.handover import Series
from spinproof.model.trace import Trace

CHARTED = (
    Role.DI_FLOW,
    Role.DI_PRESSURE,
    Role.DRAIN_RESISTIVITY,
    Role.FEED_RESISTIVITY,
    Role.N2_FLOW,
    Role.N2_TEMPERATURE,
    Role.SEAL_PRESSURE,
    Role.VIBRATION,
    Role.MOTOR_CURRENT,
)
"""Process values worth a curve; counts, bits and steps are not."""


def curves_of(
    trace: Trace,
    points: int,
    *,
    start_s: float = 0.0,
    end_s: float = math.inf,
    roles: tuple[Role, ...] = CHARTED,
    head_tach: bool = False,
) -> tuple[Series, ...]:
    """Give the curves of a trace between two moments, with at most about ``points`` points each.

    The speed comes first, by the best instrument that the trace has; then, when asked, by the
    head's own tach.
    """
    readings = Readings(trace)
    window = (start_s, end_s)
    curves = []
    if (speed := readings.reference) is not None:
        curves.append(
            _series(f"speed, {speed.name}", "rpm", speed.time_s, speed.rpm, points, window)
        )
    own = readings.own
    if head_tach and own is not None and own.name != (speed.name if speed else None):
        curves.append(_series(f"speed, {own.name}", "rpm", own.time_s, own.rpm, points, window))
    for role in roles:
        if (signal := trace.role(role)) is not None:
            channel = signal.channel
            curves.append(
                _series(channel.name, channel.unit, signal.time_s, signal.values, points, window)
            )
    return tuple(curves)


def _series(
    name: str,
    unit: str,
    time_s: NDArray[np.float64],
    values: NDArray[np.float64],
    points: int,
    window: tuple[float, float],
) -> Series:
    inside = (time_s >= window[0]) & (time_s <= window[1])
    time_s, values = _thin(time_s[inside], values[inside], points)
    shown = tuple(None if math.isnan(v) else round(v, 4) for v in values.tolist())
    return Series(name, unit, tuple(round(t, 3) for t in time_s.tolist()), shown)


def _thin(
    time_s: NDArray[np.float64], values: NDArray[np.float64], points: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Keep the lowest and the highest reading of each of ``points`` / 2 stretches."""
    if time_s.size <= points:
        return time_s, values
    parts = np.array_split(np.arange(time_s.size), max(points // 2, 1))
    low, high = (
        np.where(np.isnan(values), np.inf, values),
        np.where(np.isnan(values), -np.inf, values),
    )
    kept = sorted(
        {
            int(part[0]) + int(at)
            for part in parts
            for at in (low[part].argmin(), high[part].argmax())
        }
    )
    return time_s[kept], values[kept]
