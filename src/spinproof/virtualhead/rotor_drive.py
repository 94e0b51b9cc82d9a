"""The rotor, the drive that turns it, and the positioner that brings it home."""

import math

from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.physics.wafer import wafer_inertia

TURN = 2 * math.pi


def loaded_inertia(spec: HeadSpec, load: Load) -> float:
    """Give the inertia of rotor, cassette and wafers about the rotor axis, in kg m²."""
    mass, diameter = 1e-3 * load.wafer_mass_g, 1e-3 * spec.wafer_diameter_mm
    offset = spec.wafer_edge_radius_m - diameter / 2
    wafer = float(wafer_inertia(mass, diameter)) + mass * offset * offset
    return spec.inertia_kg_m2 + len(load.filled_slots) * wafer


class Rotor:
    """Angle and speed of everything that turns, under motor torque and drag.

    Parameters
    ----------
    inertia : float
        Moment of inertia. [kg m²]
    coulomb_torque : float
        Drag that does not depend on speed. [N m]
    viscous_drag : float
        Drag per angular speed. [N m s]
    quadratic_drag : float
        Drag per squared angular speed. [N m s²]
    """

    __slots__ = ("angle", "coulomb", "inertia", "quadratic", "speed", "viscous")

    def __init__(
        self, inertia: float, coulomb_torque: float, viscous_drag: float, quadratic_drag: float
    ) -> None:
        self.inertia = inertia
        self.coulomb = coulomb_torque
        self.viscous = viscous_drag
        self.quadratic = quadratic_drag
        self.angle = 0.0
        """[rad]"""
        self.speed = 0.0
        """[rad/s]"""

    def advance(self, h: float, torque: float) -> None:
        """Move on by ``h`` seconds under a constant motor torque, by a fourth-order step."""
        w, b, k, J = self.speed, self.viscous, self.quadratic, self.inertia
        driven = torque - self.coulomb
        if w <= 0.0 and driven <= 0.0:
            return
        a1 = (driven - (b + k * w) * w) / J
        x = w + 0.5 * h * a1
        a2 = (driven - (b + k * x) * x) / J
        x = w + 0.5 * h * a2
        a3 = (driven - (b + k * x) * x) / J
        x = w + h * a3
        a4 = (driven - (b + k * x) * x) / J
        end = w + h * (a1 + 2.0 * (a2 + a3) + a4) / 6.0
        if end <= 0.0:
            self.angle += w * w / (2.0 * max(-a1, 1e-9))
            self.speed = 0.0
            return
        self.angle += h * (w + h * (a1 + a2 + a3) / 6.0)
        self.speed = end


class Drive:
    """Speed controller: its reference ramps to the commanded speed, and the motor follows.

    Parameters
    ----------
    spec : HeadSpec
        The head, with its torque limit and the inertia that the drive was tuned for.
    speed_scale : float
        True speed in proportion to the speed that the drive believes. [1]
    overshoot_percent : float
        By how much the reference overshoots an acceleration. [%]
    gain : float
        Gain of the controller in proportion to its nominal. [1]
    limit : float, optional
        Torque of a weak amplifier, instead of the head's. [N m]
    """

    FEED_FORWARD = 0.9
    """Share of the acceleration torque that the drive gives without waiting for an error."""
    BANDWIDTH = 5.5
    """Proportional gain over inertia. [rad/s]"""
    INTEGRAL = 4.0
    """Integral gain over inertia. [rad²/s²]"""
    RETURN_S = 1.5
    """Time constant with which an overshot reference comes back. [s]"""

    def __init__(
        self,
        spec: HeadSpec,
        speed_scale: float,
        overshoot_percent: float,
        *,
        gain: float = 1.0,
        limit: float | None = None,
    ) -> None:
        self._inertia = spec.inertia_kg_m2
        self._gain = gain
        self._limit = spec.motor_torque_limit_n_m if limit is None else limit
        self._scale = speed_scale
        self._excess = 1 + overshoot_percent / 100
        self._integral = 0.0
        self._target = self._goal = self._ramp = 0.0
        self.reference = 0.0
        """Speed that the drive aims at now. [rad/s]"""
        self.measured = 0.0
        """Speed that the drive believes. [rad/s]"""
        self.torque = 0.0
        """Torque of the motor. [N m]"""
        self.enabled = False

    def command(self, speed_rpm: float, ramp_rpm_per_s: float) -> None:
        """Set the speed to approach, and the rate of the approach."""
        self._target = speed_rpm * RAD_PER_S_PER_RPM
        self._ramp = ramp_rpm_per_s * RAD_PER_S_PER_RPM
        rises = self._target > self.reference
        self._goal = self._target * self._excess if rises else self._target
        self.enabled = True

    def release(self) -> None:
        """Take the torque away: the rotor coasts."""
        self.enabled = False
        self._integral = self.torque = self.reference = 0.0

    @property
    def is_at_speed(self) -> bool:
        """Whether the ramp is over and the believed speed is the commanded one."""
        band = max(0.005 * self._target, 2 * RAD_PER_S_PER_RPM)
        return abs(self.reference - self._target) < band > abs(self.measured - self._target)

    def advance(self, h: float, true_speed: float) -> None:
        """Read the speed, move the reference on by ``h`` seconds, and set the torque."""
        self.measured = true_speed / self._scale
        if not self.enabled:
            return
        slope = self._move_reference(h)
        error = self.reference - self.measured
        J = self._inertia
        gain = self._gain * self.BANDWIDTH
        wanted = J * (self.FEED_FORWARD * slope + gain * error) + self._integral
        self.torque = min(max(wanted, -self._limit), self._limit)
        if self.torque == wanted:
            self._integral += self._gain * J * self.INTEGRAL * error * h

    def _move_reference(self, h: float) -> float:
        """Move the reference towards its goal and give its slope in rad/s²."""
        before, goal = self.reference, self._goal
        if before == goal != self._target:  # an overshot reference comes back
            goal = self._target + (goal - self._target) * math.exp(-h / self.RETURN_S)
            self._goal = self.reference = goal if abs(goal - self._target) > 1e-3 else self._target
        elif before < goal:
            self.reference = min(before + self._ramp * h, goal)
        else:
            self.reference = max(before - self._ramp * h, goal)
        return (self.reference - before) / h


class Positioner:
    """Comes out below the enable speed, turns the rotor to 12 o'clock, and holds it there.

    Parameters
    ----------
    index_enable_rpm : float
        Speed below which it may come out. [rpm]
    sensor : bool
        Whether the sensor of the home position answers.
    """

    STROKE_S = 0.3
    """Time to come out. [s]"""
    GRIP = 12.0
    """Rate at which it speeds the rotor up or down. [rad/s²]"""
    CATCH = 1.0
    """Highest speed at which its detent catches the rotor. [rad/s]"""

    def __init__(self, index_enable_rpm: float, *, sensor: bool = True) -> None:
        self._sensor = sensor
        self._drag_speed = 0.9 * index_enable_rpm * RAD_PER_S_PER_RPM
        self._stroke = 0.0
        self.commanded = False
        self._is_caught = False

    @property
    def is_home(self) -> bool:
        """Whether its sensor says that the rotor is held at 12 o'clock."""
        return self._is_caught and self._sensor

    @property
    def is_out(self) -> bool:
        """Whether it has come out and grips the rotor."""
        return self._stroke >= self.STROKE_S

    def advance(self, h: float, rotor: Rotor) -> None:
        """Move on by ``h`` seconds; the grip overrides coasting."""
        if not self.is_out:
            self._stroke += h
            return
        if self._is_caught:
            return
        speed, left = rotor.speed, self.angle_left(rotor)
        if left <= speed * h and speed <= self.CATCH:
            rotor.angle += left
            rotor.speed = 0.0
            self._is_caught = True
            return
        allowed = min(self._drag_speed, math.sqrt(2 * self.GRIP * left))
        step = self.GRIP * h
        rotor.speed += min(max(allowed - speed, -1.5 * step), step)
        rotor.angle += (speed + rotor.speed) / 2 * h

    def time_left(self, rotor: Rotor) -> float:
        """Estimate the time until the rotor is home, in seconds, once it has come out."""
        brake = self._drag_speed / self.GRIP
        return max(self.angle_left(rotor) / self._drag_speed + brake / 2, 0.0)

    @staticmethod
    def angle_left(rotor: Rotor) -> float:
        """Give the angle to the next 12 o'clock, in rad."""
        return -rotor.angle % TURN
