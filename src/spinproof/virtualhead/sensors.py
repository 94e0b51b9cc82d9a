"""The stand's sensors: noise, lag and resolution between the physics and the registers."""

import math
from dataclasses import dataclass
from random import Random

from spinproof.model.head import HeadSpec
from spinproof.model.registers import (
    MISSING,
    MISSING_SIGNED,
    RECORD_REGISTERS,
    Field,
)
from spinproof.physics.rinse import OHM_M_PER_MOHM_CM
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.virtualhead.controller import Controller, Plant
from spinproof.virtualhead.tach import PulseCounter

ROTOR_UNBALANCE_G_MM = 110.0
"""Residual unbalance of the rotor without wafers. [g mm]"""


class Vibration:
    """Velocity severity of the bearing housing on its soft mounts.

    Parameters
    ----------
    spec : HeadSpec
        The head, with its rotor's mass.
    unbalance_g_mm : float
        Unbalance of rotor and load together. [g mm]
    mounts : float
        Stiffness of the mounts in proportion to its nominal. [1]
    floor_mm_s : float, optional
        What is there beside the unbalance. [mm/s]
    """

    MOUNT_RPM = 190.0
    """Resonance on the mounts, below every speed that a recipe holds. [rpm]"""
    DAMPING = 0.15
    """Damping ratio. [1]"""
    MASS_RATIO = 2.6
    """Vibrating mass in proportion to the rotor's. [1]"""
    FLOOR_MM_S = 0.04
    """What the sensor shows at rest. [mm/s]"""
    AVERAGING_S = 0.5
    """Time constant of the sensor. [s]"""

    def __init__(
        self,
        spec: HeadSpec,
        unbalance_g_mm: float,
        *,
        mounts: float = 1.0,
        floor_mm_s: float | None = None,
    ) -> None:
        self._per_g_mm = 1e-3 / (self.MASS_RATIO * spec.rotor_mass_kg)
        self._peak = self._per_g_mm * unbalance_g_mm
        self._natural = self.MOUNT_RPM * RAD_PER_S_PER_RPM * mounts**0.5
        self._floor = self.FLOOR_MM_S if floor_mm_s is None else floor_mm_s
        self.shown_mm_s = self._total = self.FLOOR_MM_S

    def add_unbalance(self, g_mm: float) -> None:
        """Add unbalance in line with what is there."""
        self._peak += self._per_g_mm * g_mm

    def advance(self, h: float, speed: float) -> None:
        """Move on by ``h`` seconds to this speed; the severity changes evenly on the way."""
        n, z = self._natural, self.DAMPING
        dynamic = ((n * n - speed * speed) ** 2 + (2 * z * n * speed) ** 2) ** 0.5
        severity = self._peak * speed**3 / (1.4142135623730951 * dynamic)
        broad = self._floor if speed > 0.0 else self.FLOOR_MM_S
        total = (severity * severity + broad * broad) ** 0.5
        slope = (total - self._total) / h * self.AVERAGING_S
        left = self.shown_mm_s - self._total + slope
        self.shown_mm_s = total - slope + left * math.exp(-h / self.AVERAGING_S)
        self._total = total


@dataclass(slots=True)
class Independent:
    """What the stand measures apart from the head: its optical tach and its vibration sensor."""

    optical: PulseCounter
    vibration: Vibration


class Sensors:
    """Turns the state of a head into sample records.

    Parameters
    ----------
    plant : Plant
        The head's hardware.
    controller : Controller
        The head's controller.
    tach : PulseCounter
        The head's tach as the stand counts it.
    independent : Independent
        Optical tach and vibration, of this head or, with swapped cables, of its neighbour.
    rng : Random
        Source of the noise.
    """

    AMPERE_PER_N_M = 1.1
    """Motor current per torque. [A/(N m)]"""
    DISPLAY_S = 0.1
    """Time constant of the head's speed display. [s]"""
    SLOW_EVERY = 5
    """Resistivity and temperature are read at every so many samples. [1]"""

    def __init__(
        self,
        plant: Plant,
        controller: Controller,
        tach: PulseCounter,
        independent: Independent,
        rng: Random,
    ) -> None:
        self._plant = plant
        self._controller = controller
        self._tach = tach
        self._independent = independent
        self._rng = rng
        self._display_rpm = 0.0
        self._taken = 0
        self._slow = (0, 0, 0)
        self.is_stuck = False
        """Whether the nitrogen temperature has fallen silent."""
        self.is_frozen = False
        """Whether it repeats its last reading."""
        self.spike_k = 0.0
        """By how much its next reading jumps. [K]"""
        self.vibration_factor = 1.0
        """What the vibration channel shows, in proportion to the truth. [1]"""

    def sample(self, now: float, h: float) -> list[int]:
        """Read everything; ``h`` is the time since the last sample in seconds."""
        plant, seen, gauss = self._plant, self._independent, self._rng.gauss
        water, vibration = plant.water, seen.vibration.shown_mm_s * self.vibration_factor
        shown = plant.drive.measured / RAD_PER_S_PER_RPM
        self._display_rpm += (shown - self._display_rpm) * min(h / self.DISPLAY_S, 1.0)
        if self._taken % self.SLOW_EVERY == 0:
            self._slow = self._read_slow_ones()
        self._taken += 1
        current = self.AMPERE_PER_N_M * plant.drive.torque
        drain, feed, temperature = self._slow
        record = [
            self._tach.count & 0xFFFF,
            *_words(self._tach.edge_us),
            seen.optical.count & 0xFFFF,
            *_words(seen.optical.edge_us),
            _unsigned(self._display_rpm),
            self._controller.step,
            int(self._controller.status(now)),
            _signed(10 * (plant.seal.pressure_kpa_g + gauss(0.0, 0.15))),
            _unsigned(100 * (vibration * (1 + gauss(0.0, 0.02)) + gauss(0.0, 0.005))),
            _signed(100 * (current + gauss(0.0, 0.02))),
            _unsigned(100 * water.flow_lpm * (1 + gauss(0.0, 0.004))),
            _unsigned(100 * (water.pressure_bar_g + gauss(0.0, 0.006))),
            drain,
            feed,
            _unsigned(10 * plant.nitrogen.flow_slm * (1 + gauss(0.0, 0.003))),
            temperature,
        ]
        return record + [0] * (RECORD_REGISTERS - Field.SPARE)

    def _read_slow_ones(self) -> tuple[int, int, int]:
        water, gauss = self._plant.water, self._rng.gauss
        drain, feed = (
            _unsigned(100 / (OHM_M_PER_MOHM_CM * value) * (1 + gauss(0.0, 0.002)))
            for value in (water.drain, water.feed)
        )
        celsius = self._plant.nitrogen.outlet_c + gauss(0.0, 0.08) + self.spike_k
        temperature = self._slow[2] if self.is_frozen else _signed(10 * celsius)
        self.spike_k = 0.0
        return drain, feed, MISSING_SIGNED & 0xFFFF if self.is_stuck else temperature


def _words(value: int) -> tuple[int, int]:
    """Split the low 32 bits into two registers, high word first."""
    return value >> 16 & 0xFFFF, value & 0xFFFF


def _unsigned(value: float) -> int:
    """Round into an unsigned register; the largest value means that there is no reading."""
    return min(max(round(value), 0), MISSING - 1)


def _signed(value: float) -> int:
    """Round into a signed register, in two's complement; the smallest value means no reading."""
    return min(max(round(value), MISSING_SIGNED + 1), 0x7FFF) & 0xFFFF
