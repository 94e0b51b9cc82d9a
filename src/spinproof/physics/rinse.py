"""The rinse: how feed water dilutes what the bowl holds, and what the drain sensor shows."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.validity import floats, outside

OHM_M_PER_MOHM_CM = 1e4
"""Resistivity of one megohm centimetre. [Ω m]"""


def diluted_conductivity(
    initial: ArrayLike, feed: ArrayLike, flow: ArrayLike, volume: ArrayLike, time: ArrayLike
) -> NDArray[np.float64]:
    r"""Conductivity of the drain while feed water dilutes a well-mixed bowl.

    .. math:: \kappa = \kappa_{in} + (\kappa_0 - \kappa_{in})\,e^{-Q t / V}

    Parameters
    ----------
    initial : array_like
        Conductivity κ0 of what the bowl holds at first. [S/m]
    feed : array_like
        Conductivity κin of the feed water. [S/m]
    flow : array_like
        Flow Q of the feed water. [m³/s]
    volume : array_like
        Volume V that the bowl holds, up to the drain sensor. [m³]
    time : array_like
        Time t since the water came on. [s]

    Returns
    -------
    ndarray
        Conductivity at the drain, in the broadcast shape of the inputs. [S/m]

    Raises
    ------
    OutOfRangeError
        If the volume is not positive, or another input is negative.

    Notes
    -----
    One well-mixed reservoir, ions so dilute that conductivities add. Pockets that exchange slowly
    give a longer tail.

    References
    ----------
    .. [1] Mass balance of a stirred tank; any textbook of chemical engineering.

    Examples
    --------
    >>> float(diluted_conductivity(5e-5, 5.682e-6, 2.5e-4, 1.5e-3, 36.0).round(8))
    5.79e-06
    """
    k0, kin, Q, V, t = floats(initial, feed, flow, volume, time)
    holds = (k0 >= 0) & (kin >= 0) & (Q >= 0) & (V > 0) & (t >= 0)
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="diluted_conductivity",
            mend="Give a volume above zero, and conductivities, a flow and a time of zero or more.",
            mask=~holds,
        )
    return np.asarray(kin + (k0 - kin) * np.exp(-Q * t / V))


def conductivity_of(resistivity_mohm_cm: ArrayLike) -> NDArray[np.float64]:
    r"""Conductivity of water whose resistivity is known.

    .. math:: \kappa = 1 / \rho

    Parameters
    ----------
    resistivity_mohm_cm : array_like
        Resistivity ρ. [MΩ cm]

    Returns
    -------
    ndarray
        Conductivity; 1 S/m is 10⁴ µS/cm. [S/m]

    Raises
    ------
    OutOfRangeError
        If a resistivity is not positive.

    References
    ----------
    .. [1] Definition; units of the SI.

    Examples
    --------
    >>> float(conductivity_of(18.18).round(9))
    5.501e-06
    """
    (rho,) = floats(resistivity_mohm_cm)
    holds = rho > 0
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="conductivity_of",
            mend="Give a resistivity above zero.",
            mask=~holds,
        )
    return np.asarray(1 / (OHM_M_PER_MOHM_CM * rho))


def resistivity_of(conductivity: ArrayLike) -> NDArray[np.float64]:
    r"""Resistivity of water whose conductivity is known.

    .. math:: \rho = 1 / \kappa

    Parameters
    ----------
    conductivity : array_like
        Conductivity κ; 1 µS/cm is 10⁻⁴ S/m. [S/m]

    Returns
    -------
    ndarray
        Resistivity. [MΩ cm]

    Raises
    ------
    OutOfRangeError
        If a conductivity is not positive.

    References
    ----------
    .. [1] Definition; units of the SI.

    Examples
    --------
    >>> float(resistivity_of(0.5e-4).round(6))
    2.0
    """
    (kappa,) = floats(conductivity)
    holds = kappa > 0
    if not holds.all():
        raise OutOfRangeError(
            outside(holds),
            where="resistivity_of",
            mend="Give a conductivity above zero.",
            mask=~holds,
        )
    return np.asarray(1 / (OHM_M_PER_MOHM_CM * kappa))
