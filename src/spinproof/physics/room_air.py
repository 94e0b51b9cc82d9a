"""Oxygen in a room into which nitrogen leaks. It may warn; it never clears a room.

Mixing is assumed: beside the exhaust or in a pit the share is lower. An oxygen monitor decides.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.validity import demand, floats

AIR_OXYGEN = 0.2095
"""Oxygen in dry air, share by volume. [1]"""
DEFICIENT_OXYGEN = 0.195
"""Share by volume below which air is oxygen-deficient, 29 CFR 1910.146. [1]"""


def lasting_oxygen(fresh_air: ArrayLike, nitrogen: ArrayLike) -> NDArray[np.float64]:
    """Share of oxygen at which a mixed room settles when its fresh air is blown in.

    Parameters
    ----------
    fresh_air : array_like
        Flow Qv of fresh air that is supplied. [m³/s]
    nitrogen : array_like
        Flow Qn of nitrogen that leaks. [m³/s]

    Returns
    -------
    ndarray
        Share by volume 0.2095 Qv/(Qv + Qn), in the broadcast shape. [1]

    Raises
    ------
    OutOfRangeError
        If a flow is negative, or both are zero.

    Notes
    -----
    Fully mixed. A room whose extract is fixed takes the leak out of its fresh air: subtract it
    first.

    References
    ----------
    .. [1] Volume balance; threshold of 29 CFR 1910.146 beside it.

    Examples
    --------
    >>> float(lasting_oxygen(300 / 3600, 200 / 6e4).round(6))
    0.201442
    """
    Qv, Qn = floats(fresh_air, nitrogen)
    demand(
        (Qv >= 0) & (Qn >= 0) & (Qv + Qn > 0),
        where="lasting_oxygen",
        mend="Give flows of zero or more, and one above zero.",
    )
    return np.asarray(AIR_OXYGEN * Qv / (Qv + Qn))


def oxygen_share(
    time: ArrayLike,
    volume: ArrayLike,
    fresh_air: ArrayLike,
    nitrogen: ArrayLike,
    initial: ArrayLike = AIR_OXYGEN,
) -> NDArray[np.float64]:
    """Share of oxygen in a mixed room some time after nitrogen began to leak.

    Parameters
    ----------
    time : array_like
        Time since the leak began. [s]
    volume : array_like
        Volume V of the room. [m³]
    fresh_air : array_like
        Flow of fresh air that is supplied. [m³/s]
    nitrogen : array_like
        Flow of nitrogen that leaks. [m³/s]
    initial : array_like
        Share of oxygen at first. [1]

    Returns
    -------
    ndarray
        Share by volume, in the broadcast shape. [1]

    Raises
    ------
    OutOfRangeError
        If the volume is not positive, the share not in 0 to 1, a time or flow negative, or
        both flows zero.

    Notes
    -----
    Fully mixed, displaced gas leaves mixed. x = x∞ + (x0 - x∞) exp(-(Qv + Qn) t/V).

    References
    ----------
    .. [1] Volume balance of a stirred room.

    Examples
    --------
    >>> float(oxygen_share(600.0, 50.0, 300 / 3600, 200 / 6e4).round(5))
    0.20429
    """
    t, V, Qv, Qn, x0 = floats(time, volume, fresh_air, nitrogen, initial)
    demand(
        (t >= 0) & (V > 0) & (x0 >= 0) & (x0 <= 1),
        where="oxygen_share",
        mend="Give a volume above zero, a time of zero or more and a share of 0 to 1.",
    )
    lasting = lasting_oxygen(Qv, Qn)
    return np.asarray(lasting + (x0 - lasting) * np.exp(-(Qv + Qn) * t / V))


def time_to_share(
    level: ArrayLike,
    volume: ArrayLike,
    fresh_air: ArrayLike,
    nitrogen: ArrayLike,
    initial: ArrayLike = AIR_OXYGEN,
) -> NDArray[np.float64]:
    """Time after which the oxygen of a mixed room has fallen to an alarm level.

    Parameters
    ----------
    level : array_like
        Share of oxygen of the alarm. [1]
    volume : array_like
        Volume of the room. [m³]
    fresh_air : array_like
        Flow of fresh air that is supplied. [m³/s]
    nitrogen : array_like
        Flow of nitrogen that leaks. [m³/s]
    initial : array_like
        Share of oxygen at first. [1]

    Returns
    -------
    ndarray
        Time, zero where it is that low at first, infinite where it never falls so far. [s]

    Raises
    ------
    OutOfRangeError
        If the volume is not positive, a share not in 0 to 1, a flow negative, or both flows
        zero.

    Notes
    -----
    Fully mixed: near the leak the level is reached at once.

    References
    ----------
    .. [1] Volume balance of a stirred room.

    Examples
    --------
    >>> float(time_to_share(0.195, 50.0, 0.0, 200 / 6e4).round(1))
    1075.9
    """
    x, V, Qv, Qn, x0 = floats(level, volume, fresh_air, nitrogen, initial)
    demand(
        (V > 0) & (x > 0) & (x <= 1) & (x0 >= 0) & (x0 <= 1),
        where="time_to_share",
        mend="Give a volume above zero, a level above zero, and shares up to 1.",
    )
    lasting = lasting_oxygen(Qv, Qn)
    falls = (x0 > x) & (lasting < x)
    ratio = np.where(falls, (x0 - lasting) / np.where(falls, x - lasting, 1), 1)
    return np.where(x0 <= x, 0.0, np.where(falls, V / (Qv + Qn) * np.log(ratio), np.inf))


def fresh_air_needed(
    nitrogen: ArrayLike, level: ArrayLike = DEFICIENT_OXYGEN
) -> NDArray[np.float64]:
    """Supplied fresh air that keeps a mixed room at a share of oxygen.

    Parameters
    ----------
    nitrogen : array_like
        Flow of nitrogen that leaks, the worst case. [m³/s]
    level : array_like
        Share of oxygen to keep. [1]

    Returns
    -------
    ndarray
        Flow of fresh air, in the broadcast shape. [m³/s]

    Raises
    ------
    OutOfRangeError
        If the flow is negative, or the level is not above 0 and below that of air.

    Notes
    -----
    Fully mixed, no margin: local codes ask for more. Qv = Qn x/(0.2095 - x).

    References
    ----------
    .. [1] Volume balance; threshold of 29 CFR 1910.146.

    Examples
    --------
    >>> float((3600 * fresh_air_needed(200 / 6e4)).round(1))
    161.4
    """
    Qn, x = floats(nitrogen, level)
    demand(
        (Qn >= 0) & (x > 0) & (x < AIR_OXYGEN),
        where="fresh_air_needed",
        mend="Give a flow of zero or more and a level between 0 and 0.2095.",
    )
    return np.asarray(Qn * x / (AIR_OXYGEN - x))
