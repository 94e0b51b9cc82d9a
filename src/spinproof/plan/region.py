"""The feasible part of a head's envelope, as points of eight factors that an operator can type."""

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from spinproof.model.errors import PlanError
from spinproof.model.head import HeadSpec, Span
from spinproof.model.plan import Ban
from spinproof.model.recipe import Recipe, StepKind, TimerBasis
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
CANDIDATES_LOG2 = 16
"""Points drawn in the envelope's box, as a power of two, which is how Sobol points balance."""


class Region:
    """What a head's envelope leaves, once its constraints are applied.

    Parameters
    ----------
    head : HeadSpec
        The head, with its envelope.
    bans : sequence of Ban
        Parts of the envelope to keep out of.
    """

    def __init__(self, head: HeadSpec, bans: Sequence[Ban] = ()) -> None:
        self.head, self.bans = head, tuple(bans)
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
        return np.asarray(np.all([*self.constraints(points).values()], axis=0))

    def constraints(self, points: Array) -> dict[str, NDArray[np.bool_]]:
        """Tell which points satisfy each of the constraints.

        Parameters
        ----------
        points : ndarray
            As from `from_unit`.

        Returns
        -------
        dict
            For each constraint in words, a truth value for each point.
        """
        envelope = self.head.envelope
        speeds, durations, ramps = _steps(points)
        total = durations.sum(axis=1)
        held = durations - ramp_times(speeds, ramps)
        held[:, 1] = HOLD_S  # the purge keeps the rinse's speed: nothing to reach
        kept = {
            f"fast dry at least {envelope.step_up_rpm:g} rpm above the rinse (step_up_rpm)": points[
                :, FAST
            ]
            >= points[:, RINSE] + envelope.step_up_rpm,
            f"final dry at least {envelope.step_down_rpm:g} rpm below the fast dry "
            "(step_down_rpm)": points[:, FINAL] <= points[:, FAST] - envelope.step_down_rpm,
            f"recipe of {envelope.process_time_limit_s:g} s at most (process_time_limit_s)": total
            <= envelope.process_time_limit_s,
            f"mean squared speed of {envelope.duty_limit_rpm2:.4g} rpm2 at most "
            "(duty_limit_rpm2)": self.work(points) <= envelope.duty_limit_rpm2 * total,
            f"each step reaches its speed and holds it for {HOLD_S:g} s": (held >= HOLD_S).all(
                axis=1
            ),
            f"torque of {self.head.motor_torque_limit_n_m:g} N m at most "
            "(motor_torque_limit_n_m)": self._motor_torque(points)
            <= self.head.motor_torque_limit_n_m,
        }
        return kept | {
            f"outside of what is forbidden: {b.name}": ~_banned(points, b) for b in self.bans
        }

    @staticmethod
    def is_banned(point: Array, ban: Ban) -> bool:
        """Tell whether a point lies in a forbidden part.

        Parameters
        ----------
        point : ndarray
            The eight factors, in their own units.
        ban : Ban
            The forbidden part.

        Returns
        -------
        bool
            Whether all bounds hold it.
        """
        return bool(_banned(point[np.newaxis], ban)[0])

    def collisions(self, points: Array) -> str:
        """Say which constraints leave none of the points, alone or together.

        Parameters
        ----------
        points : ndarray
            As from `from_unit`, spread over the envelope's box.

        Returns
        -------
        str
            The fewest constraints that leave nothing, with what each leaves alone.
        """
        kept = self.constraints(points)
        for size in range(1, len(kept) + 1):
            for group in itertools.combinations(kept, size):
                if not np.logical_and.reduce([kept[name] for name in group]).any():
                    alone = (
                        f"{name}, which alone leaves {kept[name].mean():.1%}" for name in group
                    )
                    return "these collide: " + "; ".join(alone)
        return "no constraint collides with another"

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

    def sobol(self, seed: int, log2: int = CANDIDATES_LOG2) -> tuple[Array, float]:
        """Draw a scrambled Sobol sequence in the envelope's box and keep what is feasible.

        Parameters
        ----------
        seed : int
            Seed of the scrambling. [1]
        log2 : int
            Points to draw, as a power of two. [1]

        Returns
        -------
        points : ndarray
            Feasible points in the order of the sequence.
        share : float
            Share of the box that is feasible. [1]

        Raises
        ------
        PlanError
            If no point is feasible; it says which constraints collide.

        References
        ----------
        .. [1] S. Joe and F. Y. Kuo, "Constructing Sobol sequences with better two-dimensional
           projections," SIAM J. Sci. Comput. 30, 2635-2654 (2008).
        .. [2] A. B. Owen, "Scrambling Sobol' and Niederreiter-Xing points," J. Complexity 14,
           466-489 (1998).
        """
        sequence = qmc.Sobol(len(FACTORS), scramble=True, rng=np.random.default_rng(seed))
        points = self.from_unit(sequence.random_base2(log2))
        holds = self.holds(points)
        if not holds.any():
            raise PlanError(
                "the constraints leave 0 feasible points of the envelope: "
                + self.collisions(points),
                where=f"envelope of head {self.head.designation}",
                mend="Widen the spans, or relax one of these constraints.",
            )
        return points[holds], float(holds.mean())

    def point_of(self, recipe: Recipe) -> Array | None:
        """Give a recipe as a point of the envelope's box.

        Parameters
        ----------
        recipe : Recipe
            Any recipe.

        Returns
        -------
        ndarray or None
            The eight factors; None when the recipe has other steps, or lies outside of the box.
        """
        kinds = [step.kind for step in recipe.steps]
        if kinds != [StepKind.RINSE, StepKind.PURGE, StepKind.DRY, StepKind.DRY]:
            return None
        rinse, purge, fast, final = recipe.steps
        alike = len({step.ramp_rpm_per_s for step in recipe.steps}) == 1
        if purge.speed_rpm != rinse.speed_rpm or not alike:
            return None
        point = np.array(
            [
                rinse.speed_rpm,
                rinse.duration_s,
                purge.duration_s,
                fast.speed_rpm,
                fast.duration_s,
                final.speed_rpm,
                final.duration_s,
                rinse.ramp_rpm_per_s,
            ]
        )
        return point if bool(((point >= self.low) & (point <= self.high)).all()) else None


def _banned(points: Array, ban: Ban) -> NDArray[np.bool_]:
    inside = np.ones(len(points), dtype=np.bool_)
    for bound in ban.bounds:
        values = points[:, list(FACTORS).index(bound.factor)]
        inside &= (values >= bound.low) & (values <= bound.high)
    return inside


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
