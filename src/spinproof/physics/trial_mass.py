"""The trial mass to begin with, and a correction split onto the places that a rotor has."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.physics.rotor import permissible_unbalance
from spinproof.physics.validity import demand
from spinproof.physics.wafer import STANDARD_GRAVITY

Floats = NDArray[np.float64]

SHARE_OF_WEIGHT: Final = 0.1
"""Centrifugal force of a trial mass as a share of the rotor's weight. Common practice. [1]"""
MOST_GRADES: Final = 10.0
"""Multiple of the permissible unbalance that a trial mass must not exceed. Common practice. [1]"""


def trial_unbalance(mass_kg: float, speed: float, service_speed: float, grade_mm_s: float) -> float:
    """Unbalance of a trial mass that shows itself and harms nothing.

    Parameters
    ----------
    mass_kg : float
        Mass of the rotor. [kg]
    speed : float
        Angular speed of the balancing run. [rad/s]
    service_speed : float
        Highest angular speed in service. [rad/s]
    grade_mm_s : float
        Balance quality grade of the rotor. [mm/s]

    Returns
    -------
    float
        Trial mass times radius. [kg m]

    Raises
    ------
    OutOfRangeError
        If an input is not positive or the balancing speed exceeds that in service.

    Notes
    -----
    Its centrifugal force is a tenth of the rotor's weight at the balancing speed, and it stays
    below ten times the permissible unbalance at the service speed. With it on, run no faster than
    the balancing run, and count masses in and out. Common practice, no source.

    Examples
    --------
    >>> rpm = np.pi / 30
    >>> round(1e6 * trial_unbalance(16.2, 900 * rpm, 2000 * rpm, 6.3), 2)
    1788.52
    """
    inputs = np.array([mass_kg, speed, service_speed, grade_mm_s])
    demand(
        (inputs > 0) & np.isfinite(inputs) & (speed <= service_speed),
        where="trial_unbalance",
        mend="Give inputs above zero, and a balancing speed up to that in service.",
    )
    shows = SHARE_OF_WEIGHT * mass_kg * STANDARD_GRAVITY / speed**2
    bears = MOST_GRADES * float(permissible_unbalance(grade_mm_s, mass_kg, service_speed))
    return min(shows, bears)


def split_to_neighbours(correction: complex, angles: ArrayLike) -> Floats:
    r"""Split a correction onto the two places beside it.

    .. math:: w_1 = W\frac{\sin(\theta_2-\theta)}{\sin(\theta_2-\theta_1)}, \quad
              w_2 = W\frac{\sin(\theta-\theta_1)}{\sin(\theta_2-\theta_1)}

    Parameters
    ----------
    correction : complex
        Mass, or mass times radius, at its angle. [any]
    angles : array_like
        Angles of the places, in any order. [rad]

    Returns
    -------
    ndarray
        Amount at each place, zero where nothing goes. [unit of the correction]

    Raises
    ------
    OutOfRangeError
        If there are fewer than two different places, or the two beside the correction are half a
        turn or more apart.

    References
    ----------
    .. [1] Parallelogram of forces; any textbook of mechanics.

    Examples
    --------
    >>> from cmath import rect
    >>> holes = np.deg2rad([0, 45, 90, 135])
    >>> split_to_neighbours(rect(5, np.deg2rad(63)), holes).round(4).tolist()
    [0.0, 3.2102, 2.1851, 0.0]
    """
    places = np.asarray(angles, float)
    ahead = np.mod(places - np.angle(correction), 2 * np.pi)
    ahead = np.where(2 * np.pi - ahead < 1e-12, 0.0, ahead)
    amounts = np.zeros(places.shape)
    demand(
        np.append(np.isfinite(ahead), [places.size > 0, np.isfinite(correction)]),
        where="split_to_neighbours",
        mend="Give the angle of each place, and a finite correction.",
    )
    after, before = int(np.argmin(ahead)), int(np.argmax(ahead))
    if ahead[after] == 0.0 or correction == 0:
        amounts[after] = abs(correction)
        return amounts
    gap = ahead[after] + 2 * np.pi - ahead[before]
    demand(
        np.array(0 < gap < np.pi - 1e-9),
        where="split_to_neighbours",
        mend="Give places less than half a turn apart on both sides of the correction.",
    )
    amounts[before] = abs(correction) * np.sin(ahead[after]) / np.sin(gap)
    amounts[after] = abs(correction) * np.sin(2 * np.pi - ahead[before]) / np.sin(gap)
    return amounts


@dataclass(frozen=True)
class Fitted:
    """Masses of a stock, put into places."""

    places: tuple[tuple[int, int], ...]
    """Place and item of the stock, both counted from 0."""
    left: complex
    """What the correction lacks. [kg m]"""


def split_to_stock(
    correction: complex, angles: Sequence[float], stock: Sequence[float], most: int = 2
) -> Fitted:
    """Choose masses of a stock, and places for them, that come closest to a correction.

    Parameters
    ----------
    correction : complex
        Mass times radius at its angle. [kg m]
    angles : sequence of float
        Angles of the places. [rad]
    stock : sequence of float
        Mass times radius of each item at hand. [kg m]
    most : int
        How many places may be used, up to 3. [1]

    Returns
    -------
    Fitted
        The best choice of all; it may be nothing.

    Raises
    ------
    OutOfRangeError
        If there is no place or no stock, an item is not positive, ``most`` lies outside 1 to 3,
        or the choices are too many to look at.

    Notes
    -----
    Looks at every choice, so it is exact. Compare what is left with the permissible unbalance of
    the plane, and leave the smaller number of masses where both will do.
    """
    holes, items = np.asarray(angles, float), np.asarray(stock, float)
    choices = float(holes.size * items.size) ** most
    demand(
        np.array([holes.size > 0, items.size > 0, 1 <= most <= 3, choices <= 2e7]),
        where="split_to_stock",
        mend="Give places and a stock, and use 1 to 3 places; a shorter stock if there are too "
        "many choices.",
    )
    demand((items > 0) & np.isfinite(items), where="split_to_stock", mend="Give items above zero.")
    vectors = (items[:, np.newaxis] * np.exp(1j * holes)).ravel()
    best = Fitted((), complex(correction))
    for count in range(1, min(most, holes.size, items.size) + 1):
        best = _closest(correction, vectors, holes.size, count, best)
    return best


def _closest(
    correction: complex, vectors: NDArray[np.complex128], holes: int, count: int, best: Fitted
) -> Fitted:
    """Try every choice of so many masses; the last one is taken from an array at once."""
    for chosen in combinations(range(vectors.size), count - 1):
        places, items = {n % holes for n in chosen}, {n // holes for n in chosen}
        if len(places) < count - 1 or len(items) < count - 1:
            continue
        left = correction - vectors[list(chosen)].sum() - vectors
        free = np.arange(vectors.size)
        taken = np.isin(free % holes, list(places)) | np.isin(free // holes, list(items))
        distance = np.where(taken, np.inf, np.abs(left))
        last = int(np.argmin(distance))
        if distance[last] < abs(best.left) - 1e-15 * abs(correction):
            picked = tuple(sorted((n % holes, n // holes) for n in (*chosen, last)))
            best = Fitted(picked, complex(left[last]))
    return best
