"""Balancing by influence coefficients: readings and trial masses to corrections."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.validity import demand

Complex = NDArray[np.complex128]
Floats = NDArray[np.float64]

WARNING_CONDITION: Final = 10.0
"""Condition number from which corrections in different planes begin to fight. [1]"""
HIGHEST_CONDITION: Final = 20.0
"""Condition number from which a plane should be given up. [1]"""
LEAST_CHANGE: Final = 0.25
"""Change of a reading, relative to it, that a trial mass should make. Common practice. [1]"""
NO_CHANGE: Final = 1e-6
"""Relative change below which a trial mass changed nothing. [1]"""


@dataclass(frozen=True)
class Correction:
    """Unbalances to add to a rotor, and what the readings would then be."""

    added: Complex
    """For each plane: mass times radius at its angle, relative to the rotor as found. [kg m]"""
    left: Complex
    """Readings that remain by calculation, in their own unit."""
    condition: Floats
    """Condition number of the influence coefficients. [1]"""

    @property
    def found_unbalance(self) -> Complex:
        """Unbalance in kg m that the correction cancels."""
        return np.asarray(-self.added)


@dataclass(frozen=True)
class TrialRuns:
    """The runs that show how a rotor answers to masses, as `influence` takes them."""

    found: Complex
    """Readings as found, for each sensor and speed."""
    trials: Complex
    """Readings with each trial, a row for each plane."""
    unbalances: Complex
    """Trial masses times radius at their angles. [kg m]"""
    kept: NDArray[np.bool_]
    """Whether each trial mass stayed on."""


def influence(
    found: ArrayLike, trials: ArrayLike, unbalances: ArrayLike, kept: ArrayLike
) -> Complex:
    r"""Influence coefficients from a run as found and one run with a trial mass in each plane.

    .. math:: \alpha_{ij} = \frac{V_i^{(j)} - V_i^{(base\ of\ j)}}{U_j}

    Parameters
    ----------
    found : array_like of complex
        Readings as found, for each sensor and speed; leading axes broadcast. [any, M]
    trials : array_like of complex
        Readings with each trial, one row for each plane. [same unit, P x M]
    unbalances : array_like of complex
        Trial mass times radius at its angle, for each plane. [kg m]
    kept : array_like of bool
        Whether the trial mass stayed on for the runs after it. [1]

    Returns
    -------
    ndarray of complex
        Coefficients, a column for each plane. [unit of the readings per kg m, M x P]

    Raises
    ------
    OutOfRangeError
        If there is no trial run, a trial has no mass, changed nothing, or there are fewer
        readings than planes.

    Notes
    -----
    The base of a trial is the rotor as it was before it: as found, and with every trial mass that
    stayed on. Angles of readings and masses count the same way from the same mark. Linear rotor
    at one speed to each row; a speed that differs between runs by more than 1 % spoils it.

    References
    ----------
    .. [1] E. L. Thearle, "Dynamic balancing of rotating machinery in the field," Trans. ASME 56,
       745-753 (1934).
    .. [2] T. P. Goodman, "A least-squares method for computing balance corrections," J. Eng. Ind.
       86, 273-277 (1964).

    Examples
    --------
    >>> alpha = influence([3 + 0j], [[1 + 0j]], [2.0], [False])
    >>> alpha.tolist()
    [[(-1+0j)]]
    """
    start, runs = np.asarray(found, complex), np.asarray(trials, complex)
    masses, stays = np.asarray(unbalances, complex), np.asarray(kept, bool)
    _check_trials(start, runs, masses, stays)
    columns, base = [], start
    for plane in range(masses.size):
        run = runs[..., plane, :]
        change = run - base
        demand(
            np.asarray(np.linalg.norm(change, axis=-1) > NO_CHANGE * np.linalg.norm(run, axis=-1)),
            where="influence",
            mend=f"The trial mass in plane {plane + 1} changed nothing: check that it was on, or "
            "use a larger one, and measure again.",
        )
        columns.append(change / masses[plane])
        base = run if stays[plane] else base
    return np.stack(columns, axis=-1)


def _check_trials(start: Complex, runs: Complex, masses: Complex, stays: NDArray[np.bool_]) -> None:
    shaped = (
        start.ndim >= 1
        and runs.ndim >= 2
        and masses.ndim == stays.ndim == 1
        and masses.size == stays.size == runs.shape[-2]
        and runs.shape[-1] == start.shape[-1]
    )
    demand(
        np.array(shaped and masses.size > 0),
        where="influence",
        mend="Give a run with a trial mass for each plane, with as many readings as the run as "
        "found, and say for each whether the mass stayed on.",
    )
    demand(
        np.isfinite(masses) & (np.abs(masses) > 0),
        where="influence",
        mend="Give the trial mass of every trial run; readings without one show no influence.",
    )
    demand(
        np.isfinite(start) & np.isfinite(runs).all(axis=-2),
        where="influence",
        mend="Give finite readings.",
    )
    demand(
        np.array(start.shape[-1] >= masses.size),
        where="influence",
        mend="Give at least as many readings, over sensors and speeds, as planes.",
    )


def correct(
    found: ArrayLike, coefficients: ArrayLike, weights: ArrayLike | None = None
) -> Correction:
    r"""Corrections that leave the least sum of squared readings.

    .. math:: W = -(\alpha^H Q\,\alpha)^{-1} \alpha^H Q\,V_0

    Parameters
    ----------
    found : array_like of complex
        Readings as found. [any, M]
    coefficients : array_like of complex
        Influence coefficients, a column for each plane. [unit of the readings per kg m, M x P]
    weights : array_like, optional
        Weight Q of each reading; equal if not given. [1, M]

    Returns
    -------
    Correction
        The corrections relative to the rotor as found, so trial masses come off first.

    Raises
    ------
    OutOfRangeError
        If a coefficient or reading is not finite, a weight is negative, there are fewer readings
        than planes, or the planes cannot be told apart.

    Notes
    -----
    Several speeds are more rows. From a condition number of 10 small errors of reading grow into
    large corrections that fight one another; from 20 give up a plane (see `weakest_plane`).

    References
    ----------
    .. [1] T. P. Goodman, "A least-squares method for computing balance corrections," J. Eng. Ind.
       86, 273-277 (1964).

    Examples
    --------
    >>> correct([1, -1, 0], [[3, -2], [5, -2], [5, -3]]).added.real.round(4).tolist()
    [0.8095, 1.4762]
    """
    V, alpha = np.asarray(found, complex), np.asarray(coefficients, complex)
    demand(
        np.array(alpha.ndim >= 2 and alpha.shape[-2] == V.shape[-1] >= alpha.shape[-1] > 0),
        where="correct",
        mend="Give a row of coefficients for each reading, and at least as many as planes.",
    )
    demand(np.isfinite(alpha).all(axis=-1) & np.isfinite(V), where="correct", mend="Give numbers.")
    Q = np.ones(V.shape[-1]) if weights is None else np.asarray(weights, float)
    demand(Q >= 0, where="correct", mend="Give weights of zero or more.")
    root = np.sqrt(Q)
    condition = np.asarray(np.linalg.cond(alpha))
    demand(
        condition < 1e12,
        where="correct",
        mend="The planes act alike on every sensor: give up one, or add a sensor or a speed.",
    )
    inverse = np.linalg.pinv(root[:, np.newaxis] * alpha)
    added = -np.einsum("...pm,...m->...p", inverse, root * V)
    return Correction(added, V + np.einsum("...mp,...p->...m", alpha, added), condition)


def level(found: ArrayLike, coefficients: ArrayLike, rounds: int = 3000) -> Correction:
    """Corrections that leave the lowest highest reading.

    Parameters
    ----------
    found : array_like of complex
        Readings as found. [any, M]
    coefficients : array_like of complex
        Influence coefficients. [unit of the readings per kg m, M x P]
    rounds : int
        Rounds of weighting; each reading's weight grows with what is left of it. [1]

    Returns
    -------
    Correction
        The corrections.

    Raises
    ------
    OutOfRangeError
        As `correct`.

    Notes
    -----
    Lawson's weighting comes closer with every round and stays a
    little above the lowest peak.

    References
    ----------
    .. [1] T. P. Goodman, J. Eng. Ind. 86, 273-277 (1964), proposes the weighting.
    """
    best = correct(found, coefficients)
    V = np.asarray(found, complex)
    weights, answer = np.full(V.shape[-1], 1.0 / V.shape[-1]), best
    for _ in range(rounds):
        remains = np.abs(answer.left)
        if remains.max() <= 1e-12 * np.abs(V).max():
            return answer
        weights = np.maximum(weights * remains, 1e-30)
        weights /= weights.sum()
        answer = correct(found, coefficients, weights)
        if np.abs(answer.left).max() < np.abs(best.left).max():
            best = answer
    return best


def weakest_plane(coefficients: ArrayLike) -> int:
    """Plane without which the others can be told apart best.

    Parameters
    ----------
    coefficients : array_like of complex
        Influence coefficients of at least two planes. [any, M x P]

    Returns
    -------
    int
        Number of the plane, counted from 0.

    Raises
    ------
    OutOfRangeError
        If there are fewer than two planes.

    References
    ----------
    .. [1] M. S. Darlow, "Balancing of high-speed machinery," Trans. ASME (1982), on planes that
       are nearly dependent (from an open test suite that cites it).
    """
    alpha = np.asarray(coefficients, complex)
    demand(
        np.array(alpha.ndim == 2 and alpha.shape[-1] >= 2),
        where="weakest_plane",
        mend="Give the coefficients of at least two planes.",
    )
    conditions = [np.linalg.cond(np.delete(alpha, p, axis=1)) for p in range(alpha.shape[1])]
    return int(np.argmin(conditions))


def trial_change(base: ArrayLike, trial: ArrayLike) -> float:
    """Largest change that a trial mass made to a reading, relative to that reading.

    Parameters
    ----------
    base : array_like of complex
        Readings before it. [any]
    trial : array_like of complex
        Readings with it. [same unit]

    Returns
    -------
    float
        Change; below 0.25 the corrections rest on little. [1]

    Raises
    ------
    OutOfRangeError
        If every reading before the trial is zero, or the two do not match.

    Notes
    -----
    A quarter of the amplitude, or thirty degrees, is common practice.
    """
    before, after = np.asarray(base, complex), np.asarray(trial, complex)
    demand(
        np.array(before.shape == after.shape and bool(np.any(np.abs(before) > 0))),
        where="trial_change",
        mend="Give as many readings with the trial as without, not all of them zero.",
    )
    some = np.abs(before) > 0
    return float(np.max(np.abs(after - before)[some] / np.abs(before)[some]))
