"""The feasible part of a head's envelope, as points of eight factors that an operator can type."""

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from spinproof.model.head import HeadSpec, Span
from spinproof.model.recipe import Recipe, TimerBasis
from spinproof.physics.rotor import RAD_PER_S_PER_RPM, drag_torque

FACTORS = {
    "rinse_rpm": 5.0,
    "rinse_s": 1.0,
    "purge_s": 1.0,
    "fast_dry_rpm": 5.0,
    "fast_dry_s": 1.0,
    "final_dry_rpm": 5.0,
    "final_dry_s": 1.0,
    "ramp_rpm_per_s": 1.0,
}
"""The continuous factors of a recipe, as the envelope names them, each with its step of typing."""
RINSE, RINSE_S, PURGE_S, FAST, FAST_S, FINAL, FINAL_S, RAMP = range(8)

Array = NDArray[np.float64]

HOLD_S = 5.0
"""How long each step must hold its speed after the ramp, to be measured. Common practice. [s]"""
CANDIDATES_LOG2 = 14
"""Points drawn in the envelope's box, as a power of two, which is how Sobol points balance."""


class Region:
    """What a head's envelope leaves, once its constraints are applied.

    Parameters
    ----------
    head : HeadSpec
        The head, with its envelope.
    """

    def __init__(self, head: HeadSpec) -> None:
        self.head = head
        envelope = head.envelope
        self.spans: tuple[Span, ...] = tuple(getattr(envelope, name) for name in FACTORS)
        self.low = np.array([span.low for span in self.spans])
        self.high = np.array([span.high for span in self.spans])

    def from_unit(self, unit: Array) -> Array:
        """Give points of the unit cube in the factors' own units, as an operator can type them.

        Parameters
        ----------
        unit : ndarray
            Coordinates in 0 to 1, a row for a point and a column for a factor. [1]

        Returns
        -------
        ndarray
            Speeds [rpm], times [s] and ramp [rpm/s] in the order of ``FACTORS``, inside the spans.
        """
        points: Array = self.low + unit * (self.high - self.low)
        for column, step in enumerate(FACTORS.values()):
            first, last = np.ceil(self.low[column] / step), np.floor(self.high[column] / step)
            if first <= last:  # a span too narrow for the step keeps its exact numbers
                points[:, column] = step * np.clip(np.rint(points[:, column] / step), first, last)
        return points

    def to_unit(self, points: Array) -> Array:
        """Give points in coordinates of the unit cube; a fixed factor lies in the middle.

        Parameters
        ----------
        points : ndarray
            As from `from_unit`.

        Returns
        -------
        ndarray
            Coordinates in 0 to 1. [1]
        """
        width = self.high - self.low
        free = width > 0
        return np.where(free, (points - self.low) / np.where(free, width, 1.0), 0.5)

    def holds(self, points: Array) -> NDArray[np.bool_]:
        """Tell which points satisfy all constraints.

        Parameters
        ----------
        points : ndarray
            As from `from_unit`.

        Returns
        -------
        ndarray
            A truth value for each point.
        """
        envelope = self.head.envelope
        speeds, durations, ramps = _steps(points)
        total = durations.sum(axis=1)
        held = durations - ramp_times(speeds, ramps)
        held[:, 1] = HOLD_S  # the purge keeps the rinse's speed: nothing to reach
        return np.asarray(
            (points[:, FAST] >= points[:, RINSE] + envelope.step_up_rpm)
            & (points[:, FINAL] <= points[:, FAST] - envelope.step_down_rpm)
            & (total <= envelope.process_time_limit_s)
            & (self.work(points) <= envelope.duty_limit_rpm2 * total)
            & (held >= HOLD_S).all(axis=1)
            & (self._motor_torque(points) <= self.head.motor_torque_limit_n_m)
        )

    def work(self, points: Array) -> Array:
        """Time integral of the squared speed.

        Parameters
        ----------
        points : ndarray
            As from `from_unit`.

        Returns
        -------
        ndarray
            Integral for each point. [rpm² s]
        """
        return squared_speed_integral(*_steps(points))

    def _motor_torque(self, points: Array) -> Array:
        """Torque at the end of the ramp to the fast dry, in N m."""
        head = self.head
        drag = drag_torque(
            points[:, FAST] * RAD_PER_S_PER_RPM,
            head.coulomb_torque_n_m,
            head.viscous_drag_n_m_s,
            head.quadratic_drag_n_m_s2,
        )
        return drag + head.inertia_kg_m2 * points[:, RAMP] * RAD_PER_S_PER_RPM

    def sobol(self, seed: int) -> tuple[Array, float]:
        """Draw a scrambled Sobol sequence in the envelope's box and keep what is feasible.

        Parameters
        ----------
        seed : int
            Seed of the scrambling.

        Returns
        -------
        points : ndarray
            Feasible points in the order of the sequence.
        share : float
            Share of the box that is feasible. [1]

        References
        ----------
        .. [1] S. Joe and F. Y. Kuo, "Constructing Sobol sequences with better two-dimensional
           projections," SIAM J. Sci. Comput. 30, 2635-2654 (2008).
        .. [2] A. B. Owen, "Scrambling Sobol' and Niederreiter-Xing points," J. Complexity 14,
           466-489 (1998).
        """
        sequence = qmc.Sobol(len(FACTORS), scramble=True, rng=np.random.default_rng(seed))
        points = self.from_unit(sequence.random_base2(CANDIDATES_LOG2))
        holds = self.holds(points)
        return points[holds], float(holds.mean())


def mean_squared_speed(recipe: Recipe) -> float:
    """Mean of the squared speed over a recipe, each step by its own timer basis.

    Parameters
    ----------
    recipe : Recipe
        Any recipe.

    Returns
    -------
    float
        The mean: duty of drive and bearings. [rpm²]
    """
    speeds = np.array([[step.speed_rpm for step in recipe.steps]])
    ramps = np.array([[step.ramp_rpm_per_s for step in recipe.steps]])
    durations = np.array([[step.duration_s for step in recipe.steps]])
    on_top = [[step.timer_basis is TimerBasis.FROM_AT_SPEED for step in recipe.steps]]
    durations += np.where(on_top, ramp_times(speeds, ramps), 0.0)
    return float(squared_speed_integral(speeds, durations, ramps)[0] / durations.sum())


def _steps(points: Array) -> tuple[Array, Array, Array]:
    """Give speed, duration and ramp of the four steps of each point."""
    speeds = points[:, [RINSE, RINSE, FAST, FINAL]]
    return speeds, points[:, [RINSE_S, PURGE_S, FAST_S, FINAL_S]], points[:, [RAMP] * 4]


def ramp_times(speeds: Array, ramps: Array) -> Array:
    """Time that each step needs to reach its speed, from rest before the first.

    Parameters
    ----------
    speeds : ndarray
        Speed of each step, a row for a recipe. [rpm]
    ramps : ndarray
        Ramp of each step, in the same shape. [rpm/s]

    Returns
    -------
    ndarray
        Time, in the same shape. [s]
    """
    return np.asarray(np.abs(np.diff(speeds, axis=1, prepend=0.0)) / ramps)


def squared_speed_integral(speeds: Array, durations: Array, ramps: Array) -> Array:
    r"""Time integral of the squared speed over recipes whose step times include the ramps.

    .. math:: \sum_k \left[t_k\,(a_k^2 + a_k b_k + b_k^2)/3 + (T_k - t_k)\,b_k^2\right]

    Parameters
    ----------
    speeds : ndarray
        Speed b of each step, a row for a recipe; a is the speed of the step before. [rpm]
    durations : ndarray
        Duration T of each step, in the same shape. [s]
    ramps : ndarray
        Ramp of each step, in the same shape; t is the time of the ramp. [rpm/s]

    Returns
    -------
    ndarray
        Integral for each recipe: what drive and bearings do. [rpm² s]
    """
    before = np.concatenate([np.zeros((len(speeds), 1)), speeds[:, :-1]], axis=1)
    ramp = ramp_times(speeds, ramps)
    squares = (before**2 + before * speeds + speeds**2) / 3
    return np.asarray((ramp * squares + (durations - ramp) * speeds**2).sum(axis=1))
