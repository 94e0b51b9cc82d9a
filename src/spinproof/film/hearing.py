"""The speed of a rotor by its sound: its line and harmonics followed through a spectrogram."""

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, median_filter

from spinproof.film.watching import LOW_RATE_HZ

Floats = NDArray[np.float64]

WINDOW_S = 1.0
HOP_S = 0.2
SIZE = 4096
"""Points of the padded transform: bins of 0.24 Hz."""
BIN_HZ = LOW_RATE_HZ / SIZE
TOP_HZ = 450.0
LOWEST_HZ, HIGHEST_HZ, GRID_HZ = 3.0, 50.0, 0.1
"""Speeds that are looked for, 180 to 3000 rpm. [Hz]"""
HARMONICS = 12
STEEPEST = 4
"""Steps of the grid between two hops: 2 Hz/s, or 120 rpm/s."""
STEP_COST = 0.02
BACKGROUND_PERCENT = 20.0
"""What a bin has for so much of the time is no rotor, which starts and stops."""
STEADY_EXCESS = 0.7
LINE_BINS = 8
"""Half the width of a line, from the window. [bin]"""
CHUNK = 3000
HEARD_SCORE = 0.85
"""Mean excess of harmonics over the places between them from which a rotor counts as heard ..."""
HEARD_OVER = 9
"""... by the median over so many windows."""


@dataclass(frozen=True, eq=False)
class Heard:
    """Speed by the sound, window by window, in the film's time."""

    film_s: Floats
    """Middle of each window. [s]"""
    frequency: Floats
    """Revolutions a second; NaN where no rotor is heard. [Hz]"""
    uncertainty: Floats
    """Its standard uncertainty, from the scatter around a straight course. [Hz]"""
    score: Floats
    """Mean excess of the harmonics over the places between them. [log power]"""


def hear_rotor(low: NDArray[np.float32], start_s: float) -> Heard:
    """Follow the rotor through the sound of a film.

    Parameters
    ----------
    low : ndarray
        Sound at `LOW_RATE_HZ`.
    start_s : float
        Film time of its first sample. [s]

    Returns
    -------
    Heard
        Nothing in it when the sound is shorter than a few windows.

    Notes
    -----
    The sum over harmonics less the sum between them prefers the rotation line to its multiples
    and its fractions; a most likely path (Viterbi) through these sums, of bounded slope, is the
    ridge. Each harmonic's own peak then refines it.

    References
    ----------
    .. [1] G. D. Forney, "The Viterbi algorithm," Proc. IEEE 61, 268-278 (1973).
    """
    size, hop = round(WINDOW_S * LOW_RATE_HZ), round(HOP_S * LOW_RATE_HZ)
    count = (low.size - size) // hop + 1
    if count < 10:
        empty = np.zeros(0)
        return Heard(empty, empty, empty, empty)
    moments = start_s + (np.arange(count) * hop + size / 2) / LOW_RATE_HZ
    parts = [
        _follow(low[first * hop : (min(first + CHUNK, count) - 1) * hop + size], size, hop)
        for first in range(0, count, CHUNK)
    ]
    frequency = np.concatenate([part[0] for part in parts])
    score = np.concatenate([part[1] for part in parts])
    frequency[median_filter(score, HEARD_OVER) < HEARD_SCORE] = np.nan
    return Heard(moments, frequency, _scatter(frequency), score)


def _follow(low: NDArray[np.float32], size: int, hop: int) -> tuple[Floats, Floats]:
    windows = np.lib.stride_tricks.sliding_window_view(low, size)[::hop]
    spectrum = np.fft.rfft(windows * np.hanning(size), SIZE)[:, : int(TOP_HZ / BIN_HZ)]
    power = np.log(np.abs(spectrum) ** 2 + 1e-14)
    floor = median_filter(power, size=(1, 81))
    excess = power - floor
    steady = np.percentile(excess, BACKGROUND_PERCENT, axis=0) > STEADY_EXCESS
    excess[:, maximum_filter1d(steady, 2 * LINE_BINS + 1)] = 0.0  # pumps and hum say nothing
    grid = np.arange(LOWEST_HZ, HIGHEST_HZ, GRID_HZ)
    sums = _harmonic_sums(excess.clip(-1, 3), grid, BIN_HZ)
    path = _best_path(sums, STEEPEST, STEP_COST)
    score = sums[np.arange(path.size), path]
    return _refine(excess, grid[path]), score


@numba.njit(cache=True, nogil=True)
def _harmonic_sums(excess, grid, bin_hz):  # type: ignore[no-untyped-def] # compiled
    rows, bins = excess.shape
    sums = np.zeros((rows, grid.size))
    for i in range(rows):
        for j in range(grid.size):
            on, off, count = 0.0, 0.0, 0
            for order in range(1, HARMONICS + 1):
                at = int(order * grid[j] / bin_hz + 0.5)
                between = int((order - 0.5) * grid[j] / bin_hz + 0.5)
                if at >= bins:
                    break
                on += excess[i, at]
                off += excess[i, between]
                count += 1
            sums[i, j] = (on - off) / count if count >= 3 else 0.0
    return sums


@numba.njit(cache=True, nogil=True)
def _best_path(sums, steepest, cost):  # type: ignore[no-untyped-def] # compiled
    rows, states = sums.shape
    best, came = sums[0].copy(), np.zeros((rows, states), np.int16)
    for i in range(1, rows):
        before = best.copy()
        for j in range(states):
            top, source = -1e300, j
            for k in range(max(0, j - steepest), min(states, j + steepest + 1)):
                value = before[k] - cost * abs(k - j)
                if value > top:
                    top, source = value, k
            best[j] = top + sums[i, j]
            came[i, j] = source
    path = np.zeros(rows, np.int64)
    path[-1] = np.argmax(best)
    for i in range(rows - 1, 0, -1):
        path[i - 1] = came[i, path[i]]
    return path


def _refine(excess: Floats, rough: Floats) -> Floats:
    """Fit the frequency to the peaks of its harmonics, each by its excess."""
    rows = np.arange(rough.size)
    reach = np.arange(-5, 6)
    weighted, weights = np.zeros(rough.size), np.zeros(rough.size)
    for order in range(1, HARMONICS + 1):
        middle = np.rint(order * rough / BIN_HZ).astype(int)
        inside = (middle > 6) & (middle < excess.shape[1] - 7)
        middle = middle.clip(6, excess.shape[1] - 7)
        around = excess[rows[:, None], middle[:, None] + reach]
        top = around[:, 1:-1].argmax(axis=1) + 1
        left, peak, right = (around[rows, top + k] for k in (-1, 0, 1))
        bend = left - 2 * peak + right
        aside = np.where(bend < -1e-9, 0.5 * (left - right) / np.minimum(bend, -1e-9), 0)
        line = (middle + reach[top] + aside.clip(-1, 1)) * BIN_HZ
        at_edge = (top == 1) | (top == reach.size - 2)
        trust = np.where(inside & ~at_edge & (peak > 1), (peak - 1).clip(0, 4), 0.0)
        weighted += trust * order * line
        weights += trust * order**2
    return np.where(weights > 0, weighted / np.maximum(weights, 1e-9), rough)


def _scatter(frequency: Floats) -> Floats:
    """Give the standard deviation from second differences of windows that do not overlap."""
    apart = round(WINDOW_S / HOP_S)
    uncertainty = np.full(frequency.size, np.nan)
    if frequency.size <= 2 * apart:
        return uncertainty
    bend = frequency[: -2 * apart] - 2 * frequency[apart:-apart] + frequency[2 * apart :]
    size = np.abs(np.pad(bend, apart, constant_values=np.nan))
    reach = 25
    padded = np.pad(size, reach, constant_values=np.nan)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    has = np.isfinite(around).sum(axis=1) >= 8
    uncertainty[has] = 1.4826 / np.sqrt(6) * np.nanmedian(around[has], axis=1)
    return uncertainty
