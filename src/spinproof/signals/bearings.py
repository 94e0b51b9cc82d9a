"""What a rolling bearing's geometry says of its vibration, and its fatigue life."""

from dataclasses import dataclass
from math import cos

from spinproof.stats.validity import require


@dataclass(frozen=True)
class DefectOrders:
    """Frequencies of defects as multiples of the shaft's, outer ring at rest.

    Attributes
    ----------
    outer : float
        Passing of rolling elements over a place of the outer race. [1]
    inner : float
        Passing over a place of the inner race. [1]
    cage : float
        Turning of the cage. [1]
    element : float
        Hits of a place of a rolling element: twice in each of its turns. [1]
    """

    outer: float
    inner: float
    cage: float
    element: float


def defect_orders(
    elements: int, element_diameter: float, pitch_diameter: float, contact_angle: float = 0.0
) -> DefectOrders:
    r"""Multiples of the shaft's frequency at which defects of a bearing show.

    .. math:: \rho = (d/D) \cos\beta,\quad f_o = \tfrac{n}{2}(1 - \rho),\quad
        f_i = \tfrac{n}{2}(1 + \rho),\quad f_c = \tfrac12 (1 - \rho),\quad
        f_b = \tfrac{D}{d}(1 - \rho^2)

    Parameters
    ----------
    elements : int
        Number n of rolling elements in a row. [1]
    element_diameter : float
        Diameter d of an element. [m]
    pitch_diameter : float
        Diameter D of the circle of their centres. [m]
    contact_angle : float
        Angle beta between the load line and the radial plane. [rad]

    Returns
    -------
    DefectOrders
        The multiples.

    Raises
    ------
    OutOfRangeError
        If there are fewer than three elements, or they do not fit into their circle.

    Notes
    -----
    Elements that roll without slip; real ones slip by one or two per cent.

    References
    ----------
    .. [1] ISO 15243 names the damage; the kinematics are elementary.

    Examples
    --------
    >>> orders = defect_orders(9, 0.3126, 1.537)
    >>> round(orders.outer, 4), round(orders.inner, 4)
    (3.5848, 5.4152)
    """
    require(
        elements >= 3 and 0 < element_diameter < pitch_diameter and abs(contact_angle) < 1.5,
        f"{elements} elements of {element_diameter:g} on a circle of {pitch_diameter:g}",
        where="defect_orders",
        mend="Give at least three elements that fit into their circle, and the angle in radians.",
    )
    share = element_diameter / pitch_diameter * cos(contact_angle)
    return DefectOrders(
        outer=elements / 2 * (1 - share),
        inner=elements / 2 * (1 + share),
        cage=(1 - share) / 2,
        element=pitch_diameter / element_diameter * (1 - share**2),
    )


def fatigue_life(load_rating: float, equivalent_load: float, speed: float) -> float:
    r"""Give the basic rating life of a ball bearing: nine of ten reach it if only fatigue kills.

    .. math:: L_{10h} = \frac{10^6}{\omega / 2\pi} (C / P)^3

    Parameters
    ----------
    load_rating : float
        Basic dynamic load rating C. [N]
    equivalent_load : float
        Equivalent dynamic load P. [N]
    speed : float
        Angular speed. [rad/s]

    Returns
    -------
    float
        Life. [s]

    Raises
    ------
    OutOfRangeError
        If a value is not above 0.

    Notes
    -----
    Bearings of a rinser die of water, not of fatigue: the number is an upper bound, no forecast.

    References
    ----------
    .. [1] ISO 281, rolling bearings: dynamic load ratings and rating life.
    """
    require(
        load_rating > 0 and equivalent_load > 0 and speed > 0,
        "a load, a rating or a speed is not above 0",
        where="fatigue_life",
        mend="Give all three above 0.",
    )
    return 1e6 / (speed / 6.283185307179586) * (load_rating / equivalent_load) ** 3
