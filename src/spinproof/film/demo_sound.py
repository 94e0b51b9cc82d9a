"""The sound beside the virtual head: rotor lines, pump, fan, sync tones, and somebody who talks."""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from spinproof.film.sync_mark import MARK_S, TONE_HZ

Floats = NDArray[np.float64]

RATE_HZ = 16_000
HARMONICS = 12
MICROPHONE_CORNER_HZ = 80.0
"""Below it a phone's microphone hears less and less. From memory, no source."""


def rotor_sound(angle: Floats, speed: Floats, amplitudes: Floats) -> Floats:
    """Give the lines of a rotor as a phone hears them.

    Parameters
    ----------
    angle : ndarray
        Angle of the rotor at each sample. [rad]
    speed : ndarray
        Its angular speed. [rad/s]
    amplitudes : ndarray
        Of each harmonic, from the first. [1]

    Returns
    -------
    ndarray
        Sound pressure as a share of full scale.
    """
    sound = np.zeros(angle.size)
    turning = np.flatnonzero(speed > 0)
    turn, power = np.exp(1j * angle[turning]), np.ones(turning.size, dtype=complex)
    for order, amplitude in enumerate(amplitudes, start=1):
        power *= turn
        squared = (order * speed[turning] / (2 * np.pi)) ** 2
        heard = squared / (squared + MICROPHONE_CORNER_HZ**2)
        sound[turning] += amplitude * heard * (power * np.exp(1.7j * order * order)).imag
    return sound * np.minimum(1.0, speed / 60.0)


def surroundings(time: Floats, rng: np.random.Generator) -> Floats:
    """Give pump, fan and rushing air.

    Parameters
    ----------
    time : ndarray
        Moments of the samples. [s]
    rng : Generator
        Draws lines and noise.

    Returns
    -------
    ndarray
        With a root mean square of 1.
    """
    pump = rng.uniform(46, 50)
    sound = sum(
        rng.uniform(0.3, 1) / k * np.sin(2 * np.pi * k * pump * time + rng.uniform(0, 6))
        for k in range(1, 7)
    )
    white = rng.normal(0, 1, time.size)
    low = lfilter([1.0], [1.0, -0.99], white)
    sound = 0.6 * np.asarray(sound) + 0.5 * white + 0.5 * low / (low.std() or 1)
    return np.asarray(sound / sound.std())


def voice(time: Floats, rng: np.random.Generator) -> Floats:
    """Give something like speech: syllables of a gliding pitch, with pauses.

    Parameters
    ----------
    time : ndarray
        Moments of the samples. [s]
    rng : Generator
        Draws pitch and pauses.

    Returns
    -------
    ndarray
        With a largest value near 1.
    """
    knots = np.arange(time[0], time[-1] + 1, 0.25)
    talks = np.repeat(rng.random(knots.size // 12 + 1) < 0.6, 12)[: knots.size]
    pitch = np.interp(time, knots, rng.normal(130, 18, knots.size))
    loud = np.interp(time, knots, talks * rng.uniform(0.1, 1, knots.size))
    phase = 2 * np.pi * np.cumsum(pitch) * (time[1] - time[0])
    return np.asarray(loud * sum(np.sin(k * phase) / k for k in range(1, 9)) / 2)


def sync_tones(time: Floats, marks: tuple[float, ...]) -> Floats:
    """Give the tones of the sync marks.

    Parameters
    ----------
    time : ndarray
        Moments of the samples, by the clock of the marks. [s]
    marks : tuple of float
        Moments at which a mark begins. [s]

    Returns
    -------
    ndarray
        With an amplitude of 1.
    """
    sounds = np.zeros(time.size)
    for mark in marks:
        on = (time >= mark) & (time < mark + MARK_S)
        sounds[on] = np.sin(2 * np.pi * TONE_HZ * (time[on] - mark))
    return sounds
