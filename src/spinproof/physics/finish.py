"""Electropolishing: what current removes, what weighing shows, and what a wall can spare.

Current and time give a bracket alone, 58 % wide on 316 steel, for the valence of the ions is not
known; weighing is the truth.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.nitrogen import GAS_CONSTANT
from spinproof.physics.validity import demand, floats

FARADAY = 96485.33212
"""Faraday constant. [C/mol]"""
STEEL_316_EQUIVALENTS = (16.1115e-3, 25.5032e-3)
"""Equivalent mass of 316 steel: Fe³ Cr⁶ Ni² Mo⁶ to Fe² Cr³ Ni² Mo³, as ASTM G102. [kg/mol]"""
STEEL_304_EQUIVALENTS = (15.72e-3, 25.1195e-3)
"""Equivalent mass of 304 steel: Fe³ Cr⁶ Ni² to Fe² Cr³ Ni², as ASTM G102. [kg/mol]"""
STEEL_316_DENSITY = 7980.0
"""Density of 316 steel. [kg/m³]"""


def equivalent_mass(
    shares: ArrayLike, valences: ArrayLike, molar_masses: ArrayLike
) -> NDArray[np.float64]:
    """Mass of an alloy that one mole of electrons dissolves.

    Parameters
    ----------
    shares : array_like
        Share by mass of each element, along the last axis. [1]
    valences : array_like
        Valence with which it dissolves. [1]
    molar_masses : array_like
        Its molar mass. [kg/mol]

    Returns
    -------
    ndarray
        Equivalent mass 1/Σ(n f/W), without the last axis. [kg/mol]

    Raises
    ------
    OutOfRangeError
        If a share is negative, the shares of an alloy exceed 1 or are all zero, or another
        input is not positive.

    Notes
    -----
    The valences are an assumption; the answer moves by 58 % with them.

    References
    ----------
    .. [1] ASTM G102, calculation of corrosion rates from electrochemical measurements.

    Examples
    --------
    >>> steel = [0.7175, 0.19, 0.0925], [2, 3, 2], [55.847e-3, 51.9961e-3, 58.69e-3]
    >>> float((1e3 * equivalent_mass(*steel)).round(2))
    25.12
    """
    f, n, W = floats(shares, valences, molar_masses)
    demand(
        (f >= 0)
        & (n > 0)
        & (W > 0)
        & (f.sum(axis=-1, keepdims=True) > 0)
        & (f.sum(axis=-1, keepdims=True) <= 1.001),
        where="equivalent_mass",
        mend="Give shares that add up to 1 at most, valences and molar masses above zero.",
    )
    return np.asarray(1 / np.sum(n * f / W, axis=-1))


def dissolved_mass(charge: ArrayLike, equivalent: ArrayLike) -> NDArray[np.float64]:
    """Mass that a charge dissolves if all of it dissolves metal.

    Parameters
    ----------
    charge : array_like
        Electric charge, current times time. [C]
    equivalent : array_like
        Equivalent mass of the alloy. [kg/mol]

    Returns
    -------
    ndarray
        Mass, in the broadcast shape. [kg]

    Raises
    ------
    OutOfRangeError
        If a charge is negative or an equivalent is not positive.

    Notes
    -----
    An upper bound for its valence: part of the current makes oxygen.

    References
    ----------
    .. [1] M. Faraday's laws of electrolysis; Faraday constant of CODATA 2018.

    Examples
    --------
    >>> float((1e3 * dissolved_mass(20 * 480, 16.11e-3)).round(3))
    1.603
    """
    Q, E = floats(charge, equivalent)
    demand(
        (Q >= 0) & (E > 0),
        where="dissolved_mass",
        mend="Give a charge of zero or more and an equivalent above zero.",
    )
    return np.asarray(Q * E / FARADAY)


def effective_equivalent(mass_loss: ArrayLike, charge: ArrayLike) -> NDArray[np.float64]:
    """Equivalent mass that a weighed coupon shows for its bath.

    Parameters
    ----------
    mass_loss : array_like
        Mass that the coupon lost. [kg]
    charge : array_like
        Electric charge through it. [C]

    Returns
    -------
    ndarray
        Equivalent mass, in the broadcast shape. [kg/mol]

    Raises
    ------
    OutOfRangeError
        If a loss is negative or a charge is not positive.

    Notes
    -----
    Holds for the bath, alloy and current density of the coupon.

    References
    ----------
    .. [1] M. Faraday's laws of electrolysis.

    Examples
    --------
    >>> float((1e3 * effective_equivalent(1.603e-3, 20 * 480)).round(2))
    16.11
    """
    m, Q = floats(mass_loss, charge)
    demand(
        (m >= 0) & (Q > 0),
        where="effective_equivalent",
        mend="Give a loss of zero or more and a charge above zero.",
    )
    return np.asarray(m * FARADAY / Q)


def removed_thickness(
    mass_loss: ArrayLike, area: ArrayLike, density: ArrayLike
) -> NDArray[np.float64]:
    """Thickness removed, by weighing.

    Parameters
    ----------
    mass_loss : array_like
        Mass that the part lost. [kg]
    area : array_like
        Area that was polished. [m²]
    density : array_like
        Density of the metal. [kg/m³]

    Returns
    -------
    ndarray
        Mean thickness; a diameter shrinks by twice, a 60° pitch diameter by four times as
        much. [m]

    Raises
    ------
    OutOfRangeError
        If a loss is negative, or another input is not positive.

    Notes
    -----
    A mean: edges lose twice as much or more, recesses less. The area rules the error.

    References
    ----------
    .. [1] Geometry.

    Examples
    --------
    >>> float((1e6 * removed_thickness(1.603e-3, 0.01, 7980.0)).round(2))
    20.09
    """
    m, A, rho = floats(mass_loss, area, density)
    demand(
        (m >= 0) & (A > 0) & (rho > 0),
        where="removed_thickness",
        mend="Give a loss of zero or more, an area and a density above zero.",
    )
    return np.asarray(m / (rho * A))


def removal_bracket(
    charge: ArrayLike,
    area: ArrayLike,
    density: ArrayLike = STEEL_316_DENSITY,
    equivalents: ArrayLike = STEEL_316_EQUIVALENTS,
) -> NDArray[np.float64]:
    """Least and greatest thickness that a charge may have removed.

    Parameters
    ----------
    charge : array_like
        Electric charge. [C]
    area : array_like
        Area that is polished. [m²]
    density : array_like
        Density of the metal. [kg/m³]
    equivalents : array_like
        Least and greatest equivalent mass, of 316 steel if none is given. [kg/mol]

    Returns
    -------
    ndarray
        Least and greatest thickness along a first axis of two. [m]

    Raises
    ------
    OutOfRangeError
        If a charge is negative, another input is not positive, or the equivalents are no
        pair in rising order.

    Notes
    -----
    All current taken to dissolve metal; oxygen made beside it lowers even the least. Plan with
    the bracket, then weigh.

    References
    ----------
    .. [1] M. Faraday's laws of electrolysis; ASTM G102.

    Examples
    --------
    >>> (1e6 * removal_bracket(751.63 * 480, 0.375813)).round(1)
    array([20.1, 31.8])
    """
    low, high = np.broadcast_to(np.asarray(equivalents, dtype=np.float64), (2,))
    demand(
        np.asarray(low <= high),
        where="removal_bracket",
        mend="Give the least equivalent mass first.",
    )
    masses = np.stack([dissolved_mass(charge, low), dissolved_mass(charge, high)])
    return removed_thickness(masses, area, density)


def roughness_after(
    removal: ArrayLike, initial: ArrayLike, limit: ArrayLike, depth: ArrayLike
) -> NDArray[np.float64]:
    """Roughness Ra after a removal.

    Parameters
    ----------
    removal : array_like
        Thickness removed. [m]
    initial : array_like
        Roughness at first. [m]
    limit : array_like
        Roughness that the bath reaches at last. [m]
    depth : array_like
        Removal that brings it a factor e nearer. [m]

    Returns
    -------
    ndarray
        Roughness, in the broadcast shape. [m]

    Raises
    ------
    OutOfRangeError
        If a removal is negative, another input is not positive, or the limit is above the
        roughness at first.

    Notes
    -----
    Limit and depth are fitted to the user's bath and first finish; there is no published
    value. Scratches deeper than the removal, waviness and pits stay.

    References
    ----------
    .. [1] Working model, common practice, no source; Ra as in ISO 21920.

    Examples
    --------
    >>> float((1e6 * roughness_after(20e-6, 0.60e-6, 0.10e-6, 30e-6)).round(4))
    0.3567
    """
    h, first, last, depth_ = floats(removal, initial, limit, depth)
    demand(
        (h >= 0) & (last > 0) & (first >= last) & (depth_ > 0),
        where="roughness_after",
        mend="Give a removal of zero or more, and 0 < limit <= roughness at first.",
    )
    return np.asarray(last + (first - last) * np.exp(-h / depth_))


def wall_left(
    wall: ArrayLike, least_wall: ArrayLike, removed: ArrayLike, faces: ArrayLike = 1
) -> NDArray[np.float64]:
    """Give the removal that a part can still spare, after all that it has lost.

    Parameters
    ----------
    wall : array_like
        Wall thickness of the new part. [m]
    least_wall : array_like
        Least wall that drawing or code allows. [m]
    removed : array_like
        Removals so far, along the last axis; weighed, or the upper end of a bracket. [m]
    faces : array_like
        Faces of the wall that are polished, 1 or 2. [1]

    Returns
    -------
    ndarray
        Removal to spare for each face; negative when it is overdrawn. [m]

    Raises
    ------
    OutOfRangeError
        If a wall is not positive, the least one is negative or above it, a removal is
        negative, or faces are not 1 or 2.

    Notes
    -----
    Refuse a polish whose upper bracket exceeds it. Edges lose more than this mean.

    References
    ----------
    .. [1] Sum of removals.

    Examples
    --------
    >>> float((1e6 * wall_left(2e-3, 1.9e-3, [20e-6, 31.8e-6])).round(1))
    48.2
    """
    gone = np.asarray(removed, dtype=np.float64)
    sum_gone = gone.sum(axis=-1) if gone.ndim else gone
    first, least, lost, n = floats(wall, least_wall, sum_gone, faces)
    demand(
        np.asarray((gone >= 0).all())
        & (first > 0)
        & (least >= 0)
        & (least <= first)
        & ((n == 1) | (n == 2)),
        where="wall_left",
        mend="Give 0 <= least wall <= wall, removals of zero or more, and 1 or 2 faces.",
    )
    return np.asarray((first - least) / n - lost)


def hydrogen_flow(current: ArrayLike, temperature: ArrayLike = 298.15) -> NDArray[np.float64]:
    """Volume flow of hydrogen that an electropolishing bath gives off.

    Parameters
    ----------
    current : array_like
        Current. [A]
    temperature : array_like
        Temperature of the gas. [K]

    Returns
    -------
    ndarray
        Volume flow I R T/(2 F p) at 101 325 Pa, in the broadcast shape. [m³/s]

    Raises
    ------
    OutOfRangeError
        If a current is negative or a temperature is not positive.

    Notes
    -----
    All current at the cathode taken to make hydrogen. It burns from 4 % in air: local codes
    and a licensed practice decide the ventilation.

    References
    ----------
    .. [1] M. Faraday's laws of electrolysis, ideal gas law.

    Examples
    --------
    >>> float((6e4 * hydrogen_flow(751.63)).round(2))
    5.72
    """
    amperes, T = floats(current, temperature)
    demand(
        (amperes >= 0) & (T > 0),
        where="hydrogen_flow",
        mend="Give a current of zero or more and a temperature above 0 K.",
    )
    return np.asarray(amperes / (2 * FARADAY) * GAS_CONSTANT * T / 101325.0)
