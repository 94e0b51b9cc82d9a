"""Axes: scales from values to the drawing, and ticks at round numbers."""

import math
from dataclasses import dataclass

ROUND_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0, 20.0)
ROUND_SECONDS = (1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0)


@dataclass(frozen=True)
class Scale:
    """A linear map of values onto the drawing."""

    low: float
    high: float
    start: float
    """Where ``low`` lies in the drawing. [CSS px]"""
    end: float
    """Where ``high`` lies in the drawing. [CSS px]"""

    def __call__(self, value: float) -> float:
        """Give the place of a value in the drawing, in CSS px."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


def round_ticks(low: float, high: float, at_most: int = 4) -> tuple[float, ...]:
    """Give ticks at round numbers that enclose an interval.

    Parameters
    ----------
    low, high : float
        The interval, in any unit.
    at_most : int
        Most intervals between the ticks.

    Returns
    -------
    tuple of float
        Rising multiples of 1, 2, 2.5 or 5 times a power of ten, the first at or below ``low``,
        the last at or above ``high``.

    >>> round_ticks(0.0, 1750.0)
    (0.0, 500.0, 1000.0, 1500.0, 2000.0)
    """
    if not high > low:
        middle, margin = (low + high) / 2, max(abs(low), 1.0) / 10
        low, high = middle - margin, middle + margin
    power = 10.0 ** math.floor(math.log10((high - low) / at_most))
    return next(
        ticks
        for factor in ROUND_STEPS
        if len(ticks := _enclosing(low, high, power * factor)) <= max(at_most, 2) + 1
    )


def _enclosing(low: float, high: float, step: float) -> tuple[float, ...]:
    """Give the multiples of a step from at or below ``low`` to at or above ``high``."""
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return tuple(round(step * i, 12) for i in range(first, last + 1))


def second_ticks(end: float, at_most: int = 10) -> tuple[float, ...]:
    """Give ticks of a time axis from zero up to its end [s], at whole seconds or minutes."""
    step = next((s for s in ROUND_SECONDS if end / s <= at_most), ROUND_SECONDS[-1])
    return tuple(step * i for i in range(int(end / step + 1e-9) + 1))


def tick_text(value: float) -> str:
    """Give a tick's number as short as it goes, with a real minus sign.

    >>> tick_text(2000.0), tick_text(-2.5), tick_text(0.25)
    ('2000', '−2.5', '0.25')
    """
    return f"{value:.10g}".replace("-", "−")
