"""Compiled loops over the counts of windows; no memory is allocated inside them."""

from math import cos, pi, sin
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

Counts = NDArray[Any]
Singles = NDArray[np.float32]
Doubles = NDArray[np.float64]

_LANES = 8
_FAST = {"reassoc", "contract", "nsz"}


@njit(cache=True, nogil=True, fastmath=_FAST)
def weigh(
    counts: Counts, scale: float, limits: NDArray[np.int64], hann: Singles, out: Singles
) -> tuple[float, float, float, float, float, float, int, int]:
    """Turn a window's counts into weighted values; sum their powers about the first on the way.

    Parameters
    ----------
    counts : ndarray of int, shape (n,)
        Converter counts of the window. [1]
    scale : float
        Value of one count. [m/s2]
    limits : ndarray of int, shape (3,)
        Lowest and highest count of the range, and the mark of a missing one. [1]
    hann : ndarray of float32, shape (n,)
        Weights of the window. [1]
    out : ndarray of float32, shape (n,)
        Takes the weighted values. [m/s2]

    Returns
    -------
    tuple
        Sums of the first to fourth power and the extremes, about the first count; how many counts
        lie at an end of the range, and how many are missing. [1]

    Notes
    -----
    Never raises: `windows` checks what it hands over.
    """
    about = float(counts[0])
    smallest = largest = counts[0]
    for i in range(hann.size):
        smallest = min(smallest, counts[i])
        largest = max(largest, counts[i])
    clipped = lost = 0
    if smallest <= limits[0] or largest >= limits[1] or smallest <= limits[2] <= largest:
        for i in range(hann.size):
            clipped += (counts[i] <= limits[0]) | (counts[i] >= limits[1])
            lost += counts[i] == limits[2]
    first = second = third = fourth = 0.0
    for i in range(hann.size):
        value = float(counts[i]) - about
        square = value * value
        first += value
        second += square
        third += square * value
        fourth += square * square
    single, start = np.float32(scale), np.float32(about)
    for i in range(hann.size):
        out[i] = (np.float32(counts[i]) - start) * single * hann[i]
    return first, second, third, fourth, smallest - about, largest - about, clipped, lost


@njit(cache=True, nogil=True, fastmath=_FAST)
def turn(
    edges: Doubles, per_rev: int, begin: int, index: int, real: Singles, imaginary: Singles
) -> None:
    """Fill a window with the phasor exp(-i angle), its angle linear between the pulses' edges.

    The phasor starts anew at each edge and is turned by multiplication in between.

    Parameters
    ----------
    edges : ndarray of float
        Places of the edges. [samples]
    per_rev : int
        Pulses of a turn. [1]
    begin : int
        Place of the window's first sample. [samples]
    index : int
        The last edge at or before it.
    real, imaginary : ndarray of float32, shape (n,)
        Take the phasor. [1]

    Notes
    -----
    Never raises: `windows` checks what it hands over.
    """
    done, length = 0, real.size
    step_real, step_imaginary = np.empty(_LANES), np.empty(_LANES)
    while done < length:
        rate = 2 * pi / per_rev / (edges[index + 1] - edges[index])
        stop = min(length, int(np.ceil(edges[index + 1])) - begin)
        angle = 2 * pi / per_rev * (index % per_rev) + rate * (begin + done - edges[index])
        for k in range(_LANES):
            step_real[k] = cos(angle + k * rate)
            step_imaginary[k] = -sin(angle + k * rate)
        turn_real, turn_imaginary = cos(_LANES * rate), -sin(_LANES * rate)
        while done + _LANES <= stop:
            for k in range(_LANES):
                old, other = step_real[k], step_imaginary[k]
                real[done + k] = old
                imaginary[done + k] = other
                step_real[k] = old * turn_real - other * turn_imaginary
                step_imaginary[k] = old * turn_imaginary + other * turn_real
            done += _LANES
        for k in range(stop - done):
            real[done + k] = step_real[k]
            imaginary[done + k] = step_imaginary[k]
        done = max(done, stop)
        index += 1


@njit(cache=True, nogil=True, fastmath=_FAST)
def correlate(counts: Counts, real: Singles, imaginary: Singles) -> complex:
    """Give (2/N) of the sum of a window's counts, less their mean, times the phasor.

    Parameters
    ----------
    counts : ndarray of int, shape (n,)
        Converter counts. [1]
    real, imaginary : ndarray of float32, shape (n,)
        The phasor. [1]

    Returns
    -------
    complex
        Once-per-turn vector, in counts. [1]

    Notes
    -----
    Never raises: `windows` checks what it hands over.
    """
    about = np.int64(counts[0])
    total = along = across = weight_along = weight_across = 0.0
    for i in range(real.size):
        value = float(np.int64(counts[i]) - about)
        total += value
        along += value * real[i]
        across += value * imaginary[i]
        weight_along += real[i]
        weight_across += imaginary[i]
    mean = total / real.size
    share = 2.0 / real.size
    return complex(share * (along - mean * weight_along), share * (across - mean * weight_across))


@njit(cache=True, nogil=True, fastmath=_FAST)
def weighted_power(lines: NDArray[np.complex64], weights: Singles, first: int) -> float:
    """Give the sum of squared magnitudes of some lines, each with its weight.

    Parameters
    ----------
    lines : ndarray of complex64
        Lines of a spectrum.
    weights : ndarray of float32
        Weight of each line from the first on.
    first : int
        The first line that counts.

    Returns
    -------
    float
        The sum, in the squared unit of the lines times that of the weights.

    Notes
    -----
    Never raises: `windows` checks what it hands over.
    """
    total = np.float32(0.0)
    for k in range(weights.size):
        line = lines[first + k]
        total += weights[k] * (line.real * line.real + line.imag * line.imag)
    return float(total)


@njit(cache=True, nogil=True, fastmath=_FAST)
def magnitudes(analytic: NDArray[np.complex64], hann: Singles, out: Singles) -> None:
    """Give magnitudes less the part of them that is only the window's shape.

    Parameters
    ----------
    analytic : ndarray of complex64, shape (n,)
        The analytic signal of a band. [m/s2]
    hann : ndarray of float32, shape (n,)
        Weights of the window. [1]
    out : ndarray of float32, shape (n,)
        Takes the magnitudes. [m/s2]

    Notes
    -----
    Never raises: `windows` checks what it hands over.
    """
    total = weight = np.float32(0.0)
    for i in range(out.size):
        value = analytic[i]
        out[i] = np.sqrt(value.real * value.real + value.imag * value.imag)
        total += out[i]
        weight += hann[i]
    mean = total / weight
    for i in range(out.size):
        out[i] -= mean * hann[i]


@njit(cache=True, nogil=True)
def peaks_near(lines: NDArray[np.complex64], places: Doubles, out: Doubles) -> None:
    """Give the largest magnitude within one line of each place; NaN beyond the last line.

    Parameters
    ----------
    lines : ndarray of complex64
        Lines of a spectrum.
    places : ndarray of float, shape (k,)
        Where to look. [lines]
    out : ndarray of float, shape (k,)
        Takes the magnitudes, in the unit of the lines.

    Notes
    -----
    Never raises: `windows` checks what it hands over.
    """
    for k in range(places.size):
        middle = int(np.rint(places[k]))
        if not 1 <= middle < lines.size - 1:
            out[k] = np.nan
            continue
        largest = 0.0
        for i in range(middle - 1, middle + 2):
            largest = max(largest, lines[i].real ** 2 + lines[i].imag ** 2)
        out[k] = np.sqrt(largest)


@njit(cache=True, nogil=True)
def rising_edges(
    level: Counts, low: float, high: float, start: tuple[bool, int], out: Doubles
) -> tuple[int, bool]:
    """Find where a level rises through the middle of its range.

    It has to fall below the low mark in between.

    Parameters
    ----------
    level : ndarray of int
        Converter counts. [1]
    low, high : float
        Marks below and above which the level is low and high. [1]
    start : tuple of bool and int
        Whether it is high, and the count before the first.
    out : ndarray of float
        Takes the places of the edges. [samples]

    Returns
    -------
    tuple of int and bool
        How many edges, and whether the level is high at the end.

    Notes
    -----
    Never raises: `windows` checks what it hands over.
    """
    found, middle = 0, (low + high) / 2
    is_high, before = start[0], float(start[1])
    crossed = -1.0
    for i in range(level.size):
        value = float(level[i])
        if is_high:
            is_high = value > low
        else:
            if before < middle <= value:
                crossed = i - 1 + (middle - before) / (value - before)
            if value >= high:
                out[found] = crossed
                found += 1
                is_high = True
        before = value
    return found, is_high
