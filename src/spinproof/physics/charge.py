"""Static charge: how it decays at an ioniser and through a material."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.validity import demand, floats

VACUUM_PERMITTIVITY = 8.8541878128e-12
"""Electric constant. [F/m]"""


def decayed_potential(
    initial: ArrayLike, time: ArrayLike, time_constant: ArrayLike, offset: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Potential of a charged plate while an ioniser discharges it.

    Parameters
    ----------
    initial : array_like
        Potential V0 at first. [V]
    time : array_like
        Time since then. [s]
    time_constant : array_like
        Time constant τ. [s]
    offset : array_like
        Potential that an unbalanced ioniser leaves. [V]

    Returns
    -------
    ndarray
        Potential Voff + (V0 - Voff) exp(-t/τ), in the broadcast shape. [V]

    Raises
    ------
    OutOfRangeError
        If a time is negative, the time constant is not positive, or a potential is not
        finite.

    Notes
    -----
    One time constant. Limits are the user's: no number of a standard is built in.

    References
    ----------
    .. [1] Discharge of a capacitor; test of ANSI/ESD STM3.1 (plate of 20 pF, 1000 V to 100 V).

    Examples
    --------
    >>> float(decayed_potential(1000.0, 2.302585, 1.0).round(3))
    100.0
    """
    V0, t, tau, off = floats(initial, time, time_constant, offset)
    demand(
        (t >= 0) & (tau > 0) & np.isfinite(V0 + off),
        where="decayed_potential",
        mend="Give a time of zero or more, a time constant above zero and finite potentials.",
    )
    return np.asarray(off + (V0 - off) * np.exp(-t / tau))


def decay_time(
    initial: ArrayLike, target: ArrayLike, time_constant: ArrayLike, offset: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Time in which an ioniser brings a plate down to a potential.

    Parameters
    ----------
    initial : array_like
        Potential at first. [V]
    target : array_like
        Potential aimed at, between the initial one and the offset. [V]
    time_constant : array_like
        Time constant τ. [s]
    offset : array_like
        Potential that an unbalanced ioniser leaves. [V]

    Returns
    -------
    ndarray
        Time τ ln((V0 - Voff)/(V - Voff)); infinite where the offset keeps it from arriving.
        [s]

    Raises
    ------
    OutOfRangeError
        If the time constant is not positive, or a potential is not finite or lies beyond
        the initial one.

    Notes
    -----
    One time constant.

    References
    ----------
    .. [1] As ``decayed_potential``.

    Examples
    --------
    >>> float(decay_time(1000.0, 100.0, 1.0).round(6))
    2.302585
    """
    V0, V, tau, off = floats(initial, target, time_constant, offset)
    above, left = V0 - off, V - off
    demand(
        (tau > 0)
        & (above != 0)
        & (left / np.where(above != 0, above, 1) <= 1)
        & np.isfinite(V0 + V + off),
        where="decay_time",
        mend="Give a time constant above zero, and a target between start and offset.",
    )
    share = left / above
    return np.where(share > 0, -tau * np.log(np.where(share > 0, share, 1)), np.inf)


def relaxation_time(resistivity: ArrayLike, permittivity: ArrayLike) -> NDArray[np.float64]:
    """Time in which charge leaks away through a material.

    Parameters
    ----------
    resistivity : array_like
        Resistivity of the material. [Ω m]
    permittivity : array_like
        Relative permittivity. [1]

    Returns
    -------
    ndarray
        Time constant ε0 εr ρ, in the broadcast shape. [s]

    Raises
    ------
    OutOfRangeError
        If a resistivity is not positive or a permittivity is below 1.

    Notes
    -----
    Bulk only: surfaces of plastics differ by decades with humidity and dirt.

    References
    ----------
    .. [1] Maxwell relaxation; electric constant of CODATA 2018.

    Examples
    --------
    >>> float((1e4 * relaxation_time(1.8182e5, 78.41)).round(3))
    1.262
    """
    rho, eps = floats(resistivity, permittivity)
    demand(
        (rho > 0) & (eps >= 1),
        where="relaxation_time",
        mend="Give a resistivity above zero and a permittivity of 1 or more.",
    )
    return np.asarray(VACUUM_PERMITTIVITY * eps * rho)
