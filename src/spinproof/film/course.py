"""The speed that a run's trace logged, in the forms in which a film is compared with it."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from spinproof.film.hearing import WINDOW_S

Floats = NDArray[np.float64]

STEP_S = 0.02


@dataclass(frozen=True, eq=False)
class LoggedRun:
    """What a sealed trace says about a run, in the run's time."""

    time_s: Floats
    speed_rad_s: Floats
    """Never decreasing in time, without gaps; 0 before and after. [rad/s]"""
    sync_s: tuple[float, ...] = ()
    """Moments at which a sync mark was switched on. [s]"""
    sync_uncertainty_s: float = 0.003
    """Standard uncertainty of these. [s]"""
    speed_uncertainty: float = 3e-4
    """Relative standard uncertainty of the logged speed. [1]"""
    name: str = ""

    @property
    def end_s(self) -> float:
        """Moment of the last sample."""
        return float(self.time_s[-1])

    @cached_property
    def _grid(self) -> Floats:
        return np.asarray(np.arange(self.time_s[0] - 2, self.end_s + 2, STEP_S))

    @cached_property
    def _fine(self) -> Floats:
        return np.interp(self._grid, self.time_s, self.speed_rad_s, left=0.0, right=0.0)

    @cached_property
    def _angle(self) -> Floats:
        return np.concatenate([[0.0], np.cumsum(0.5 * STEP_S * (self._fine[1:] + self._fine[:-1]))])

    @cached_property
    def _as_heard(self) -> tuple[Floats, Floats]:
        """Frequency averaged like a window of the spectrogram, and its slope."""
        weights = np.hanning(round(WINDOW_S / STEP_S) + 1)
        heard = np.convolve(self._fine / (2 * np.pi), weights / weights.sum(), "same")
        return heard, np.gradient(heard, STEP_S)

    def frequency(self, run_s: Floats) -> tuple[Floats, Floats]:
        """Give revolutions a second as a window of sound hears them, and their slope."""
        heard, slope = self._as_heard
        return (
            np.interp(run_s, self._grid, heard, left=0.0, right=0.0),
            np.interp(run_s, self._grid, slope, left=0.0, right=0.0),
        )

    def turned(self, run_s: Floats) -> tuple[Floats, Floats]:
        """Give angle and angular speed of the rotor."""
        return (
            np.interp(run_s, self._grid, self._angle),
            np.interp(run_s, self._grid, self._fine, left=0.0, right=0.0),
        )
