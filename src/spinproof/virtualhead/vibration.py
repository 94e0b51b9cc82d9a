"""Accelerations of the bearing housing and the shaft's pulse, at any rate, from a speed trace."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import cos, exp, pi

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.special import ndtri

from spinproof.model.head import HeadSpec
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.signals.bearings import defect_orders
from spinproof.stats.validity import require
from spinproof.virtualhead.faults import CREEP_S, Disturbances
from spinproof.virtualhead.sensors import Vibration

BLOCK_S = 1.0
"""Time that one block covers. [s]"""
PULSE_TURN = 0.05
"""Part of a turn in which the shaft's mark is under its sensor. [1]"""
NOISE_BAND_HZ = 5000.0
"""Band in which the noise of a specification is counted. [Hz]"""
ELEMENTS, ELEMENT_MM, PITCH_MM = 9, 7.94, 39.04
"""The virtual head's front bearing: rolling elements, their diameter, their circle. [1, mm, mm]"""
HIT_M_S2_PER_MM = 40.0
"""Blow of a damaged outer race per width of the damage, at 1000 rpm. [m/s²/mm]"""
RUB_M_S2_PER_N_M = 8.0
"""Broad-band noise of a rubbing seal per torque of the rub. [m/s²/(N m)]"""
UP, SIDE, ALONG = 1.0, 0.8, 0.3
"""What the vertical, horizontal and axial directions take of a shaking. [1]"""
GAUSS = np.asarray(ndtri((np.arange(4096) + 0.5) / 4096))
"""Normal deviates of equal probability; a draw picks one. [1]"""
LOW_BITS = np.uint64(4095)
FULL_TURN = 2 * pi

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class VibrationSpec:
    """What shakes a bearing housing, and what its accelerometers make of it.

    Attributes
    ----------
    mass_kg : float
        Mass that vibrates on the mounts. [kg]
    natural_rad_s : float
        Natural frequency on the mounts. [rad/s]
    damping : float
        Damping ratio of the mounts. [1]
    unbalance_g_mm : float
        Unbalance at the start. [g mm]
    unbalance_angle : float
        Its angle, from the shaft's mark in the direction of rotation. [rad]
    added_g_mm : float
        Unbalance that comes later, a third of a turn ahead of the first. [g mm]
    added_from_s, added_in_s : float
        When it begins to come, and within how long it is all there. [s]
    twice_m : float
        Displacement at twice the shaft's frequency. [m]
    belt_m, belt_order : float
        Displacement by the belt, and its turns per turn of the shaft. [m, 1]
    hit_m_s2 : float
        Blow of a damaged bearing at 1000 rpm; it grows with the speed. [m/s²]
    hit_order : float
        Blows in a turn of the shaft. [1]
    ring_hz, ring_damping : float
        Resonance of the housing that each blow rings, and its damping ratio. [Hz, 1]
    noise_m_s2 : float
        Noise of the instrument, rms in a band of 5 kHz. [m/s²]
    rub_m_s2 : float
        Noise that comes while the rotor turns, rms in the same band. [m/s²]
    m_s2_per_count : float
        Scale of the converter. [m/s²]
    clip_m_s2 : float
        Where an accelerometer clips. [m/s²]
    """

    mass_kg: float
    natural_rad_s: float
    damping: float
    unbalance_g_mm: float
    unbalance_angle: float = 0.0
    added_g_mm: float = 0.0
    added_from_s: float = 0.0
    added_in_s: float = 0.0
    twice_m: float = 1e-7
    belt_m: float = 2e-7
    belt_order: float = 0.42
    hit_m_s2: float = 0.0
    hit_order: float = 3.6
    ring_hz: float = 4200.0
    ring_damping: float = 0.04
    noise_m_s2: float = 0.05
    rub_m_s2: float = 0.0
    m_s2_per_count: float = 0.005
    clip_m_s2: float = 160.0


def vibration_spec(
    head: HeadSpec, unbalance_g_mm: float, wrong: Disturbances, added_from_s: float = 0.0
) -> VibrationSpec:
    """Describe the vibration of a head with its faults.

    Parameters
    ----------
    head : HeadSpec
        The head.
    unbalance_g_mm : float
        Unbalance of rotor and load together, without faults. [g mm]
    wrong : Disturbances
        What is wrong in the run.
    added_from_s : float
        When a loose weight moves, or a load begins to creep. [s]

    Returns
    -------
    VibrationSpec
        The same mounts, mass and unbalance as the head's slow vibration channel has.
    """
    orders = defect_orders(ELEMENTS, ELEMENT_MM, PITCH_MM)
    return VibrationSpec(
        mass_kg=Vibration.MASS_RATIO * head.rotor_mass_kg,
        natural_rad_s=Vibration.MOUNT_RPM * RAD_PER_S_PER_RPM * wrong.mount_factor**0.5,
        damping=Vibration.DAMPING,
        unbalance_g_mm=unbalance_g_mm + wrong.unbalance_g_mm,
        added_g_mm=wrong.loose_g_mm + wrong.shift_g_mm,
        added_from_s=added_from_s,
        added_in_s=CREEP_S if wrong.shift_g_mm else 0.0,
        hit_m_s2=HIT_M_S2_PER_MM * wrong.defect_mm,
        hit_order=orders.outer,
        rub_m_s2=RUB_M_S2_PER_N_M * wrong.rub_n_m,
        clip_m_s2=160.0 if wrong.clip_m_s2 is None else wrong.clip_m_s2,
    )


def accelerations(
    time_s: Floats, speed_rad_s: Floats, spec: VibrationSpec, rate_hz: float, seed: int
) -> Iterator[NDArray[np.int16]]:
    """Give the counts of three accelerometers and of the shaft's sensor, block by block.

    Parameters
    ----------
    time_s : ndarray
        Moments of the speed trace, rising. [s]
    speed_rad_s : ndarray
        Speed at these moments; between them it changes evenly. [rad/s]
    spec : VibrationSpec
        What shakes the housing.
    rate_hz : float
        Samples in a second. [Hz]
    seed : int
        Seed of the noise.

    Returns
    -------
    iterator of ndarray of int16
        Blocks of a second: columns vertical, horizontal, axial [``m_s2_per_count``], and the
        shaft's pulse [0 or 1]. The mark is under its sensor at the first moment.

    Raises
    ------
    OutOfRangeError
        If the trace is no rising one of at least two moments, a speed is below 0, or the rate
        or the scale is not above 0.

    Notes
    -----
    The phase follows the speed exactly; between two moments a rotating phasor takes the place of
    the sine, and amplitudes are interpolated. The once-per-turn part is the steady answer of a
    mass on its mounts, whose transients a run through the resonance would add. The horizontal
    direction lags the vertical by a quarter turn.
    """
    time, speed = np.asarray(time_s, dtype=np.float64), np.asarray(speed_rad_s, dtype=np.float64)
    rises = time.ndim == 1 and time.size > 1 and bool(np.all(np.diff(time) > 0))
    require(
        rises
        and time.shape == speed.shape
        and bool(np.all(speed >= 0))
        and rate_hz > 0
        and spec.m_s2_per_count > 0,
        "the speed trace, the rate or the scale",
        where="accelerations",
        mend="Give rising moments, as many speeds from 0 up, and a rate and a scale above 0.",
    )
    return _blocks(time, speed, spec, rate_hz, seed)


def _blocks(
    time: Floats, speed: Floats, spec: VibrationSpec, rate_hz: float, seed: int
) -> Iterator[NDArray[np.int16]]:
    turned = np.diff(time) * (speed[1:] + speed[:-1]) / 2
    trace = np.column_stack((time - time[0], speed, np.concatenate(([0.0], np.cumsum(turned)))))
    shaking = _shaking(time - time[0], speed, spec)
    numbers, state = _numbers(spec, rate_hz), np.array([0.0, 0.0, 0.0, 0.5])
    words = np.random.SeedSequence(seed).generate_state(1, np.uint64) | np.uint64(1)
    total, size = int((time[-1] - time[0]) * rate_hz) + 1, max(round(BLOCK_S * rate_hz), 1)
    for first in range(0, total, size):
        block = np.empty((min(size, total - first), 4), dtype=np.int16)
        _fill(block, first, trace, shaking, numbers, state, words)
        yield block


def _shaking(time: Floats, speed: Floats, spec: VibrationSpec) -> NDArray[np.complex128]:
    """Give the phasors of unbalance, of twice the shaft's frequency and of the belt, in m/s²."""
    begun = time - spec.added_from_s
    there = np.clip(begun / max(spec.added_in_s, 1e-9), 0.0, 1.0)
    unbalance = spec.unbalance_g_mm + spec.added_g_mm * there * np.exp(2j * pi / 3)
    n, z = spec.natural_rad_s, spec.damping
    moved = 1e-6 * unbalance * np.exp(1j * spec.unbalance_angle) / spec.mass_kg
    once = -moved * speed**4 / (n * n - speed**2 + 2j * z * n * speed)
    twice = spec.twice_m * (2 * speed) ** 2
    belt = spec.belt_m * (spec.belt_order * speed) ** 2
    return np.stack((once, twice + 0j, belt + 0j), axis=1)


def _numbers(spec: VibrationSpec, rate_hz: float) -> Floats:
    """Give what the compiled loop needs beside the trace, in counts and samples."""
    turn = 2 * pi * spec.ring_hz / rate_hz
    fades = exp(-spec.ring_damping * turn)
    heard = spec.ring_hz < 0.45 * rate_hz  # above it the converter's filter takes the ring away
    blow = spec.hit_m_s2 * cos(turn / 2) if heard else 0.0
    broad = (rate_hz / 2 / NOISE_BAND_HZ) ** 0.5
    ring = (2 * fades * cos(turn), fades * fades, blow / (1000 * RAD_PER_S_PER_RPM))
    noise = (broad * spec.noise_m_s2, broad * np.hypot(spec.noise_m_s2, spec.rub_m_s2))
    orders = (rate_hz, spec.belt_order, spec.hit_order)
    limit = min(spec.clip_m_s2 / spec.m_s2_per_count, 32767.0)
    return np.array([*orders, *ring, *noise, 1 / spec.m_s2_per_count, limit])


@njit(cache=True)
def _fill(block, first, trace, shaking, numbers, state, words):  # type: ignore[no-untyped-def]  # compiled: numba finds the types
    """Fill one block, stretch by stretch between two moments of the trace."""
    rate = numbers[0]
    last = trace.shape[0] - 2
    j = min(np.searchsorted(trace[:, 0], first / rate, side="right") - 1, last)
    k = 0
    while k < block.shape[0]:
        now = (first + k) / rate
        while j < last and trace[j + 1, 0] <= now:
            j += 1
        (begin, speed, angle), (end, faster, _) = trace[j], trace[j + 1]
        since, share = now - begin, (now - begin) / (end - begin)
        slope = (faster - speed) / (end - begin)
        upto = block.shape[0]
        if j < last:
            upto = min(upto, max(k + 1, int(np.ceil(end * rate - 1e-9)) - first))
        rotation = np.array(
            (
                angle + since * (speed + slope * since / 2),
                (speed + slope * since) / rate + slope / rate**2 / 2,
                slope / rate**2,
            )
        )
        change = shaking[j + 1] - shaking[j]
        amplitudes = np.stack((shaking[j] + share * change, change / (rate * (end - begin))))
        _stretch(block[k:upto], rotation, amplitudes, numbers, state, words)
        k = upto


@njit(cache=True)
def _stretch(rows, rotation, amplitudes, numbers, state, words):  # type: ignore[no-untyped-def]  # compiled: numba finds the types
    """Fill the rows of a stretch of even acceleration.

    ``rotation`` is the angle, its step and the step's growth; ``state`` keeps the ring and the
    next blow, ``words`` the noise.
    """
    rate, belt_order, hit_order, pole, fade, blow, still, broad, _, _ = numbers
    at, step, growth = rotation
    shaft, turn, bend = np.exp(1j * at), np.exp(1j * step), np.exp(1j * growth)
    belt, belt_turn = np.exp(1j * belt_order * at), np.exp(1j * belt_order * step)
    belt_bend = np.exp(1j * belt_order * growth)
    (once, twice, belted), (once_more, twice_more, belt_more) = amplitudes
    ring, ring_before, struck_before, next_hit = state
    word, turned = words[0], at % FULL_TURN
    noise = broad if step > 0.0 else still
    for i in range(rows.shape[0]):
        word ^= word << np.uint64(13)
        word ^= word >> np.uint64(7)
        word ^= word << np.uint64(17)
        struck = 0.0
        if blow > 0.0 and hit_order * at >= next_hit * FULL_TURN:
            next_hit += 1.0 + 0.01 * GAUSS[(word >> np.uint64(4)) & LOW_BITS]
            struck = blow * step * rate
        ring, ring_before = pole * ring - fade * ring_before + struck - struck_before, ring
        struck_before = struck  # a blow and its opposite: the housing keeps its place
        swing = once * shaft + twice * shaft * shaft + belted * belt
        up, side = swing.real + ring, swing.imag + ring
        _put(rows, i, 0, UP * up + noise * GAUSS[(word >> np.uint64(16)) & LOW_BITS], numbers)
        _put(rows, i, 1, SIDE * side + noise * GAUSS[(word >> np.uint64(30)) & LOW_BITS], numbers)
        _put(rows, i, 2, ALONG * up + noise * GAUSS[(word >> np.uint64(46)) & LOW_BITS], numbers)
        rows[i, 3] = 1 if turned < PULSE_TURN * FULL_TURN else 0
        shaft, turn = shaft * turn, turn * bend
        belt, belt_turn = belt * belt_turn, belt_turn * belt_bend
        at, turned, step = at + step, turned + step, step + growth
        turned -= FULL_TURN if turned >= FULL_TURN else 0.0
        once, twice, belted = once + once_more, twice + twice_more, belted + belt_more
    state[0], state[1], state[2], state[3] = ring, ring_before, struck_before, next_hit
    words[0] = word


@njit(cache=True)
def _put(rows, i, axis, value, numbers):  # type: ignore[no-untyped-def]  # compiled: numba finds the types
    """Put an acceleration into its place, clipped, as counts."""
    counts = min(max(value * numbers[8], -numbers[9]), numbers[9])
    rows[i, axis] = np.int16(np.rint(counts))
