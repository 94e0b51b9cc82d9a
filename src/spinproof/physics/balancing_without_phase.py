"""Balancing by amplitudes alone: four runs, and a trial mass moved around the rotor."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spinproof.physics.validity import demand


@dataclass(frozen=True)
class FourRuns:
    """What four runs without phase tell."""

    added: complex
    """Correction, mass times radius at its angle; the trial mass comes off. [kg m]"""
    consistency: float
    """1 for a linear rotor; beyond 0.9 to 1.1 the runs contradict one another. [1]"""

    @property
    def holds_together(self) -> bool:
        """Whether the four runs agree with a linear rotor."""
        return abs(self.consistency - 1) <= 0.1


def four_runs(found: float, trials: ArrayLike, unbalance: float) -> FourRuns:
    r"""Correction from amplitudes as found and with a trial mass at 0, 120 and 240 degrees.

    .. math:: T^2 = \tfrac13\textstyle\sum V_i^2 - V_0^2, \quad
              \cos\varphi = \frac{V_1^2-V_0^2-T^2}{2V_0T}, \quad
              \sin\varphi = \frac{V_2^2-V_3^2}{2\sqrt3\,V_0T}

    Parameters
    ----------
    found : float
        Amplitude as found. [any]
    trials : array_like
        Amplitudes with the trial mass at 0, 120 and 240 degrees. [same unit]
    unbalance : float
        Trial mass times radius. [kg m]

    Returns
    -------
    FourRuns
        Correction and consistency.

    Raises
    ------
    OutOfRangeError
        If an amplitude or the trial mass is not positive, there are not three trials, or the
        trials show no effect of the mass.

    References
    ----------
    .. [1] Construction of three circles, common practice in field balancing; the law of cosines.

    Examples
    --------
    >>> answer = four_runs(6.0, [8.27, 9.10, 2.17], 10.0)
    >>> round(abs(answer.added), 4), round(answer.consistency, 5)
    (15.0138, 1.00069)
    """
    V, mend = np.asarray(trials, float), "Give four amplitudes and a trial mass above zero."
    demand(np.array(V.shape == (3,)), where="four_runs", mend="Give three runs with the trial.")
    demand(
        np.array([found > 0, unbalance > 0, *(V >= 0)]) & np.isfinite([found, unbalance, *V]),
        where="four_runs",
        mend=mend,
    )
    squared = float(np.mean(V**2) - found**2)
    demand(
        np.array(squared > 1e-9 * found**2),
        where="four_runs",
        mend="The trial mass shows no effect: use a larger one, and measure again.",
    )
    effect = np.sqrt(squared)
    cosine = (V[0] ** 2 - found**2 - squared) / (2 * found * effect)
    sine = (V[1] ** 2 - V[2] ** 2) / (2 * np.sqrt(3) * found * effect)
    direction = complex(cosine, sine)
    added = -unbalance * found / effect * direction / abs(direction)
    return FourRuns(complex(added), float(abs(direction)))


def moved_trial(amplitudes: ArrayLike, unbalance: float) -> complex:
    r"""Residual unbalance from the amplitudes with a trial mass moved around the rotor.

    .. math:: V^2 = a + b\cos\theta + c\sin\theta, \quad h = \sqrt{b^2+c^2}, \quad
              U_r = U_t\,\frac{h}{a+\sqrt{a^2-h^2}}

    Parameters
    ----------
    amplitudes : array_like
        Amplitude at each of at least six positions, evenly spaced from 0 degrees on. [any]
    unbalance : float
        Trial mass times radius, larger than the residual. [kg m]

    Returns
    -------
    complex
        The residual at its angle. [kg m]

    Raises
    ------
    OutOfRangeError
        If there are fewer than six positions, an amplitude or the trial mass is not positive, or
        the amplitudes do not fit a trial mass larger than the residual.

    Notes
    -----
    Needs neither phase nor sensitivity. Where the trial is not well above the residual, five to
    ten times, the two cannot be told apart: then the smaller of the two is given as residual.

    References
    ----------
    .. [1] ISO 21940-11:2016 and API 617, determination of residual unbalance (from memory).
    """
    V = np.asarray(amplitudes, float)
    demand(
        np.array(V.ndim == 1 and V.size >= 6),
        where="moved_trial",
        mend="Give the amplitudes at six or more evenly spaced positions.",
    )
    demand(
        np.append((V >= 0) & np.isfinite(V), 0 < unbalance < np.inf),
        where="moved_trial",
        mend="Give amplitudes of zero or more, and the trial mass.",
    )
    turns = np.exp(2j * np.pi * np.arange(V.size) / V.size)
    mean = float(np.mean(V**2))
    wave = complex(2 * np.mean(V**2 * turns))
    demand(
        np.array(mean > 0 and abs(wave) <= mean),
        where="moved_trial",
        mend="The amplitudes fit no single trial mass: check them, or use a larger mass.",
    )
    return complex(unbalance * wave / (mean + np.sqrt(mean**2 - abs(wave) ** 2)))
