"""The rinse: how feed water dilutes what the bowl holds, and what the drain sensor shows."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.validity import demand, floats, outside

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


def rinse_time(
    initial: ArrayLike,
    feed: ArrayLike,
    target: ArrayLike,
    flow: ArrayLike,
    volume: ArrayLike,
) -> NDArray[np.float64]:
    """Time in which feed water brings a well-mixed bowl down to a conductivity.

    Parameters
    ----------
    initial : array_like
        Conductivity of what the bowl holds at first. [S/m]
    feed : array_like
        Conductivity of the feed water. [S/m]
    target : array_like
        Conductivity at the drain that is aimed at. [S/m]
    flow : array_like
        Flow of the feed water. [m³/s]
    volume : array_like
        Volume that the bowl holds, up to the sensor. [m³]

    Returns
    -------
    ndarray
        Time; zero where it is there at first, infinite where the feed is no purer than the
        target. [s]

    Raises
    ------
    OutOfRangeError
        If flow or volume is not positive, or a conductivity is negative.

    Notes
    -----
    One well-mixed reservoir; pockets give a longer tail.

    References
    ----------
    .. [1] Mass balance of a stirred tank; any textbook of chemical engineering.

    Examples
    --------
    >>> float(rinse_time(1e-2, 5.5e-6, 1e-5, 1e-4, 1e-3).round(2))
    77.06
    """
    k0, kin, k, Q, V = floats(initial, feed, target, flow, volume)
    demand(
        (k0 >= 0) & (kin >= 0) & (k >= 0) & (Q > 0) & (V > 0),
        where="rinse_time",
        mend="Give a flow and a volume above zero, and conductivities of zero or more.",
    )
    falls = (k0 > k) & (k > kin)
    ratio = np.where(falls, (k0 - kin) / np.where(falls, k - kin, 1), 1)
    return np.where(k0 <= k, 0.0, np.where(falls, V / Q * np.log(ratio), np.inf))


def pocket_conductivity(
    initial: ArrayLike,
    feed: ArrayLike,
    flow: ArrayLike,
    volume: ArrayLike,
    pocket_flow: ArrayLike,
    pocket_volume: ArrayLike,
    time: ArrayLike,
) -> NDArray[np.float64]:
    """Conductivity of a bowl that feed water dilutes while a pocket gives back what it holds.

    Parameters
    ----------
    initial : array_like
        Conductivity of bowl and pocket at first. [S/m]
    feed : array_like
        Conductivity of the feed water. [S/m]
    flow : array_like
        Flow Q of the feed water. [m³/s]
    volume : array_like
        Volume V of the bowl. [m³]
    pocket_flow : array_like
        Flow q that bowl and pocket exchange. [m³/s]
    pocket_volume : array_like
        Volume of the pocket. [m³]
    time : array_like
        Time since the water came on. [s]

    Returns
    -------
    ndarray
        Conductivities of bowl and pocket along a first axis of two. [S/m]

    Raises
    ------
    OutOfRangeError
        If a volume, flow or exchange is not positive, or another input is negative.

    Notes
    -----
    Two well-mixed reservoirs; the tail at the drain is the pocket's.

    References
    ----------
    .. [1] Mass balance of two stirred tanks, by the eigenvalues of its matrix.

    Examples
    --------
    >>> pocket_conductivity(100.0, 0.0, 1e-4, 1e-3, 2e-6, 5e-5, 120.0).round(4)
    array([0.0489, 1.5325])
    """
    k0, kin, Q, V, q, Vp, t = floats(initial, feed, flow, volume, pocket_flow, pocket_volume, time)
    demand(
        (k0 >= 0) & (kin >= 0) & (Q > 0) & (V > 0) & (q > 0) & (Vp > 0) & (t >= 0),
        where="pocket_conductivity",
        mend="Give flows and volumes above zero, the rest zero or more.",
    )
    own, back, into = (Q + q) / V, q / V, q / Vp
    spread = np.sqrt((own - into) ** 2 + 4 * back * into)
    slow, fast = (own + into - spread) / 2, (own + into + spread) / 2
    decay, gone = np.exp(-slow * t), np.exp(-fast * t)
    over = k0 - kin
    bowl = over * ((fast - own + back) * decay + (own - back - slow) * gone) / spread
    pocket = over * (fast * decay - slow * gone) / spread
    return np.stack([kin + bowl, kin + pocket])
