"""Pulse pick-ups: the head's own inductive tach and the stand's optical one, with their clock."""

import math
from random import Random

from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.virtualhead.faults import NOMINAL_GAP_MM

FADE_PER_MM = 1.1
"""Decay of an inductive pulse with the gap. [1/mm]"""
READABLE_RPM = 25.0
"""Lowest readable speed of the head's tach at its nominal gap. [rpm]"""

FIRST_TARGET = 0.4
"""Where the targets stand when the rotor is home, in their spacing: none under the pick-up. [1]"""


def lowest_readable_speed(gap_mm: float) -> float:
    """Give the speed below which an inductive tach's pulses are too small to count, in rad/s.

    A pulse's amplitude is proportional to speed × exp(-1.1 gap/mm): 25.0 rpm at 0.80 mm,
    83.8 rpm at 1.90 mm.
    """
    faded = math.exp(FADE_PER_MM * (gap_mm - NOMINAL_GAP_MM))
    return READABLE_RPM * faded * RAD_PER_S_PER_RPM


class Clock:
    """The device's clock: it goes on from run to run, and may be made to jump.

    Parameters
    ----------
    microseconds : int
        What it shows at the start of the run. [µs]
    """

    def __init__(self, microseconds: int) -> None:
        self._base = microseconds

    def at(self, time: float) -> int:
        """Give what the clock shows ``time`` seconds after the start of the run, in µs."""
        return self._base + round(1e6 * time)

    def jump(self, seconds: float) -> None:
        """Step the clock."""
        self._base = max(self._base + round(1e6 * seconds), 0)


class PulseCounter:
    """Counts targets that pass a pick-up, and keeps the moment of the last.

    Parameters
    ----------
    pulses_per_turn : float
        Targets that pass in a turn. [1]
    jitter_s : float
        Standard deviation of an edge's moment. [s]
    lowest_speed : float
        Speed below which pulses are too small to count. [rad/s]
    dropout : float
        Probability with which a pulse is lost. [1]
    doubled : float
        Probability with which a pulse counts twice. [1]
    count : int
        Pulses counted before this run. [1]
    edge_us : int
        Device time of the last pulse before this run. [µs]
    """

    def __init__(
        self,
        pulses_per_turn: float,
        jitter_s: float,
        *,
        lowest_speed: float = 0.0,
        dropout: float = 0.0,
        doubled: float = 0.0,
        count: int = 0,
        edge_us: int = 0,
    ) -> None:
        self._per_rad = pulses_per_turn / (2 * math.pi)
        self._jitter = jitter_s
        self.lowest_speed = lowest_speed
        self._dropout = dropout
        self._doubled = doubled
        self._passed = 0
        self.count = count
        self.edge_us = edge_us
        self.last = -math.inf
        """Moment of the last pulse, in seconds since the start of the run."""
        self.interval = self.interval_before = math.inf
        """The last two times between pulses. [s]"""

    def with_pulses(self, pulses_per_turn: float) -> "PulseCounter":
        """Give a counter like this one that sees another number of targets in a turn."""
        return PulseCounter(
            pulses_per_turn,
            self._jitter,
            lowest_speed=self.lowest_speed,
            dropout=self._dropout,
            doubled=self._doubled,
            count=self.count,
            edge_us=self.edge_us,
        )

    def watch(
        self,
        angle: float,
        speed_before: float,
        speed: float,
        now: float,
        h: float,
        clock: Clock,
        rng: Random,
    ) -> None:
        """Take in a step of ``h`` seconds that ended ``now`` at this angle and speed."""
        place = angle * self._per_rad + FIRST_TARGET
        reached = int(place)
        fresh = reached - self._passed
        if fresh <= 0:
            return
        self._passed = reached
        if speed < self.lowest_speed:
            return
        if self._dropout:
            kept = [k for k in range(fresh) if rng.random() >= self._dropout]
            if not kept:
                return
            reached -= fresh - 1 - kept[-1]
            fresh = len(kept)
        back = (place - reached) / self._per_rad
        early = _time_back(back, speed, (speed - speed_before) / h)
        moment = now - early + rng.gauss(0.0, self._jitter)
        self._register(moment, now, fresh, clock)
        if self._doubled and rng.random() < self._doubled:
            self._register(moment + 0.1 * min(self.interval, 0.01), now, 1, clock)

    def _register(self, moment: float, now: float, fresh: int, clock: Clock) -> None:
        moment = min(moment, now)
        self.interval_before = self.interval
        self.interval = (moment - self.last) / fresh
        self.last = moment
        self.count += fresh
        self.edge_us = clock.at(moment)


def _time_back(angle: float, speed: float, acceleration: float) -> float:
    """Give how long ago the rotor stood ``angle`` back, at constant acceleration."""
    root = speed * speed - 2 * acceleration * angle
    return 2 * angle / (speed + math.sqrt(max(root, 0.0))) if angle > 0 else 0.0
