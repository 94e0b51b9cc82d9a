"""How far corrections and residuals of a balancing job may be off, by Monte Carlo."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.balancing import TrialRuns, correct, influence
from spinproof.physics.validity import demand

Complex = NDArray[np.complex128]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spread:
    """Standard uncertainty of vectors, by plane."""

    vector: Floats
    """Root mean square distance from the calculated vector. [kg m]"""
    amount: Floats
    """Of the length of the vector. [kg m]"""
    angle: Floats
    """Of its angle. [rad]"""


def correction_spread(
    runs: TrialRuns,
    *,
    relative: float,
    phase: float,
    draws: int = 20_000,
    seed: int = 0,
) -> Spread:
    """Draw how far the corrections may be off that follow from uncertain readings.

    Parameters
    ----------
    runs : TrialRuns
        The run as found, and those with trial masses.
    relative : float
        Standard uncertainty of each amplitude, relative to it. [1]
    phase : float
        Standard uncertainty of each phase. [rad]
    draws : int
        Draws. [1]
    seed : int
        Seed of the draws. [1]

    Returns
    -------
    Spread
        For each plane.

    Raises
    ------
    OutOfRangeError
        If an uncertainty is negative or there are fewer than 100 draws; and what `influence`
        and `correct` raise.

    Notes
    -----
    By Monte Carlo: readings are drawn normally and independently of one another, and every draw
    is balanced anew. Errors that all readings share, and a rotor that is not linear, are not in
    it.

    References
    ----------
    .. [1] JCGM 101:2008, propagation of distributions using a Monte Carlo method.
    """
    rng = _generator(relative, phase, draws, seed)
    alpha = influence(runs.found, runs.trials, runs.unbalances, runs.kept)
    found = _drawn(runs.found, relative, phase, draws, rng)
    trials = _drawn(runs.trials, relative, phase, draws, rng)
    shaken = influence(found, trials, runs.unbalances, runs.kept)
    return _spread(correct(found, shaken).added, correct(runs.found, alpha).added)


def residual_spread(
    check: ArrayLike,
    runs: TrialRuns,
    *,
    relative: float,
    phase: float,
    floor: float = 0.0,
    draws: int = 20_000,
    seed: int = 0,
) -> tuple[Complex, Spread]:
    """Residual unbalance that a check run shows, with its standard uncertainty.

    Parameters
    ----------
    check : array_like of complex
        Readings with the corrections fitted. [any, M]
    runs : TrialRuns
        The runs that gave the coefficients.
    relative : float
        Standard uncertainty of each amplitude, relative to it. [1]
    phase : float
        Standard uncertainty of each phase. [rad]
    floor : float
        Standard uncertainty of each reading that does not shrink with it: noise, repeatability;
        for each component of the vector. [unit of the readings]
    draws : int
        Draws. [1]
    seed : int
        Seed of the draws. [1]

    Returns
    -------
    tuple of ndarray and Spread
        The residual of each plane [kg m], and its spread.

    Raises
    ------
    OutOfRangeError
        If an uncertainty is negative or there are fewer than 100 draws; and what `influence`
        and `correct` raise.

    Notes
    -----
    By Monte Carlo, as in `correction_spread`. Small readings hang on the floor: give it.

    References
    ----------
    .. [1] JCGM 101:2008, propagation of distributions using a Monte Carlo method.
    .. [2] ISO 21940-14:2012 treats the errors of balancing (scope, from secondary sources).
    """
    rng = _generator(relative, phase, draws, seed, floor)
    alpha = influence(runs.found, runs.trials, runs.unbalances, runs.kept)
    centre = correct(check, alpha).found_unbalance
    found, trials, last = (
        _drawn(each, relative, phase, draws, rng, floor)
        for each in (runs.found, runs.trials, check)
    )
    shaken = influence(found, trials, runs.unbalances, runs.kept)
    return centre, _spread(correct(last, shaken).found_unbalance, centre)


def single_plane_spread(found: complex, trial: complex, relative: float, phase: float) -> float:
    r"""Relative standard uncertainty of a one-plane correction, by linear propagation.

    .. math:: \frac{\sigma(U)}{|U|} =
              \left|\frac{V_1}{V_1-V_0}\right| \sqrt{2\,(u_A^2+u_\varphi^2)}

    Parameters
    ----------
    found : complex
        Reading as found, V0. [any]
    trial : complex
        Reading with the trial mass, V1. [same unit]
    relative : float
        Standard uncertainty u_A of an amplitude, relative to it. [1]
    phase : float
        Standard uncertainty u_φ of a phase. [rad]

    Returns
    -------
    float
        Length of the standard deviation of the vector, relative to its length. [1]

    Raises
    ------
    OutOfRangeError
        If the trial changed nothing or an uncertainty is negative.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1, law of propagation for uncorrelated inputs.
    """
    demand(
        np.array(trial != found and relative >= 0 and phase >= 0),
        where="single_plane_spread",
        mend="Give a trial that changed the reading, and uncertainties of zero or more.",
    )
    return float(abs(trial / (trial - found)) * np.sqrt(2 * (relative**2 + phase**2)))


def _generator(
    relative: float, phase: float, draws: int, seed: int, floor: float = 0.0
) -> np.random.Generator:
    demand(
        np.array(relative >= 0 and phase >= 0 and floor >= 0 and draws >= 100),
        where="spread of a balancing job",
        mend="Give uncertainties of zero or more, and at least 100 draws.",
    )
    return np.random.default_rng(seed)


def _drawn(
    readings: ArrayLike,
    relative: float,
    phase: float,
    draws: int,
    rng: np.random.Generator,
    floor: float = 0.0,
) -> Complex:
    centre = np.asarray(readings, complex)
    amount, turn, real, imaginary = rng.standard_normal((4, draws, *centre.shape))
    shaken = centre * (1 + relative * amount) * np.exp(1j * phase * turn)
    return np.asarray(shaken + floor * (real + 1j * imaginary))


def _spread(drawn: Complex, centre: Complex) -> Spread:
    safe = np.where(np.abs(centre) > 0, centre, 1.0)
    return Spread(
        np.asarray(np.sqrt(np.mean(np.abs(drawn - centre) ** 2, axis=0))),
        np.asarray(np.std(np.abs(drawn), axis=0)),
        np.asarray(np.sqrt(np.mean(np.angle(drawn / safe) ** 2, axis=0))),
    )
