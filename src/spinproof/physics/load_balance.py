"""Unbalance that a load puts on a rotor, on the axis or in cassettes around it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.head import HeadSpec, RotorAxis
from spinproof.model.load import Load
from spinproof.physics.balance_quality import LOADED_GRADE_MM_S
from spinproof.physics.rotor import permissible_unbalance
from spinproof.physics.validity import demand, floats

SILICON_DENSITY: Final = 2329.0
"""Density of silicon at room temperature. [kg/m³]"""

Complex = NDArray[np.complex128]
Floats = NDArray[np.float64]


def load_unbalance(
    masses: ArrayLike, positions: ArrayLike, heights: ArrayLike
) -> tuple[complex, complex]:
    r"""Sum up static unbalance and couple of bodies on a rotor.

    .. math:: U = \sum m_i c_i, \quad C = \sum m_i c_i z_i

    Parameters
    ----------
    masses : array_like
        Mass of each body. [kg]
    positions : array_like of complex
        Its mass centre, seen along the axis, from the axis. [m]
    heights : array_like
        Where it sits along the axis, from the plane midway between the correction planes. [m]

    Returns
    -------
    tuple of complex
        Static unbalance [kg m] and couple. [kg m²]

    Raises
    ------
    OutOfRangeError
        If a mass is negative, or a value is not finite.

    References
    ----------
    .. [1] ISO 21940-2:2017, resultant and resultant moment unbalance.

    Examples
    --------
    >>> U, C = load_unbalance([0.05] * 9, [5e-4] * 9, np.arange(-12, -3) * 6.35e-3)
    >>> round(1e6 * U.real, 3), round(1e9 * C.real, 1)
    (225.0, -11430.0)
    """
    (m, z), c = floats(masses, heights), np.asarray(positions, complex)
    demand(
        (m >= 0) & np.isfinite(m) & np.isfinite(z) & np.isfinite(c),
        where="load_unbalance",
        mend="Give masses of zero or more, and a place for each.",
    )
    return complex(np.sum(m * c)), complex(np.sum(m * c * z))


def plane_unbalances(static: complex, couple: complex, distance: float) -> tuple[complex, complex]:
    r"""Unbalances in two planes that amount to a static unbalance and a couple.

    .. math:: U_{1,2} = \tfrac12 U \pm C/d

    Parameters
    ----------
    static : complex
        Static unbalance U. [kg m]
    couple : complex
        Couple C about the plane midway between the two. [kg m²]
    distance : float
        Distance d of the planes. [m]

    Returns
    -------
    tuple of complex
        Unbalance of the plane at positive heights, and of the other. [kg m]

    Raises
    ------
    OutOfRangeError
        If the distance is not positive.

    References
    ----------
    .. [1] ISO 21940-2:2017, equivalent unbalances of two planes.
    """
    demand(np.array(distance > 0), where="plane_unbalances", mend="Give a distance above zero.")
    return static / 2 + couple / distance, static / 2 - couple / distance


def wafer_mass(diameter: ArrayLike, thickness: ArrayLike) -> Floats:
    r"""Mass of a round wafer of silicon.

    .. math:: m = \rho\,t\,\tfrac{\pi}{4} D^2

    Parameters
    ----------
    diameter : array_like
        Diameter D. [m]
    thickness : array_like
        Thickness t. [m]

    Returns
    -------
    ndarray
        Mass; flats and films are not in it. [kg]

    Raises
    ------
    OutOfRangeError
        If an input is not positive.

    References
    ----------
    .. [1] Density of silicon 2329 kg/m³; SEMI M1 gives the nominal sizes (from secondary sources).

    Examples
    --------
    >>> float((1e3 * wafer_mass(0.15, 675e-6)).round(4))
    27.7809
    """
    D, t = floats(diameter, thickness)
    demand((D > 0) & (t > 0), where="wafer_mass", mend="Give sizes above zero.")
    return np.asarray(SILICON_DENSITY * t * np.pi / 4 * D**2)


def flat_unbalance(chord: ArrayLike, thickness: ArrayLike) -> Floats:
    r"""Unbalance of one wafer about its own centre, for the segment that a flat leaves out.

    .. math:: U = \rho\,t\,c^3/12

    Parameters
    ----------
    chord : array_like
        Length c of the flat. [m]
    thickness : array_like
        Thickness t of the wafer. [m]

    Returns
    -------
    ndarray
        Unbalance; it adds up over a load whose flats point the same way. [kg m]

    Raises
    ------
    OutOfRangeError
        If an input is negative.

    References
    ----------
    .. [1] First moment of a circular segment about the centre, exactly c³/12.

    Examples
    --------
    >>> float((1e6 * flat_unbalance(57.5e-3, 675e-6)).round(4))
    24.9055
    """
    c, t = floats(chord, thickness)
    demand((c >= 0) & (t >= 0), where="flat_unbalance", mend="Give sizes of zero or more.")
    return np.asarray(SILICON_DENSITY * t * c**3 / 12)


def spread_mass_unbalance(count: int, radius: float, deviation: float) -> float:
    r"""Give the standard deviation of the unbalance of equally many wafers around the axis.

    .. math:: \sigma(U) = \sqrt{n}\,R\,\sigma_m

    Parameters
    ----------
    count : int
        Wafers n in all cassettes together. [1]
    radius : float
        Distance R of the cassettes from the axis. [m]
    deviation : float
        Standard deviation σm of a wafer's mass. [kg]

    Returns
    -------
    float
        Standard deviation of the static unbalance along a line of cassettes. [kg m]

    Raises
    ------
    OutOfRangeError
        If an input is negative.

    Notes
    -----
    Equal counts alone do not balance such a rotor: weigh the loads, or expect this.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1, uncorrelated inputs.
    """
    demand(
        np.array([count >= 0, radius >= 0, deviation >= 0]),
        where="spread_mass_unbalance",
        mend="Give inputs of zero or more.",
    )
    return float(np.sqrt(count) * radius * deviation)


def seats_of(head: HeadSpec, eccentricity_mm: float = 0.0) -> tuple[Complex, Floats]:
    """Give where the wafers of a head sit.

    Parameters
    ----------
    head : HeadSpec
        The head; slots are numbered through its cassettes, which stand evenly around the axis.
    eccentricity_mm : float
        How far the wafers sit off the centre of their places: outwards around the axis, all to
        the same side on it. [mm]

    Returns
    -------
    tuple of ndarray
        Each slot seen along the axis [m], and its height from the middle; NaN without a slot
        pitch. [m]

    Notes
    -----
    Never raises.
    """
    each = head.slots_per_cassette
    number = np.arange(each * head.cassettes)
    turn = np.exp(2j * np.pi * (number // each) / head.cassettes)
    outwards = turn if head.cassette_centre_mm > 0 else np.ones_like(turn)
    pitch = np.nan if head.slot_pitch_mm is None else 1e-3 * head.slot_pitch_mm
    seats = 1e-3 * (head.cassette_centre_mm * turn + eccentricity_mm * outwards)
    return np.asarray(seats), np.asarray(pitch * (number % each - (each - 1) / 2))


@dataclass(frozen=True)
class LoadBalance:
    """What a load does to the balance of a rotor at a speed."""

    static: complex
    """Static unbalance. [kg m]"""
    couple: complex | None
    """Couple about the middle of the slots; None where their pitch is unknown. [kg m²]"""
    planes: tuple[complex, complex] | None
    """Unbalance of each correction plane; None where pitch or planes are unknown. [kg m]"""
    permitted: float
    """Permissible residual unbalance of the rotor with its cassettes. [kg m]"""
    speed: float
    """Highest angular speed. [rad/s]"""

    @property
    def share(self) -> float:
        """How much of what is permissible the load takes; above 1 it must not start."""
        return self.worst / self.permitted

    @property
    def worst(self) -> float:
        """Unbalance in kg m to compare: static, or twice the worse plane if static is permitted."""
        static = abs(self.static)
        if self.planes is None or static > self.permitted:
            return static
        return 2 * max(map(abs, self.planes))

    @property
    def force(self) -> float:
        """Centrifugal force of the static unbalance in N."""
        return abs(self.static) * self.speed**2


def balance_of(load: Load, head: HeadSpec, speed: float) -> LoadBalance:
    """Predict what a load does to the balance of a head.

    Parameters
    ----------
    load : Load
        Loaded slots, masses, and how far the wafers sit off their places.
    head : HeadSpec
        The head.
    speed : float
        Highest angular speed of the run. [rad/s]

    Returns
    -------
    LoadBalance
        Unbalance beside what grade G 6.3 permits the rotor with its cassettes.

    Raises
    ------
    OutOfRangeError
        If the speed is not positive, or a slot lies outside the head.

    Notes
    -----
    On the axis all wafers sit off it to the same side, as wafers do that lean on one comb; off
    the axis they are pressed outwards. The wafers themselves do not widen what is permissible.
    The prediction knows nothing of the rotor's own residual, and of no play beyond what is given.

    References
    ----------
    .. [1] ISO 21940-11:2016, grade G 6.3.
    """
    permitted = float(permissible_unbalance(LOADED_GRADE_MM_S, head.rotor_mass_kg, speed))
    static, couple = unbalance_of(load, head)
    planes = None
    if couple is not None and head.plane_distance_mm is not None:
        planes = plane_unbalances(static, couple, 1e-3 * head.plane_distance_mm)
    return LoadBalance(static, couple, planes, permitted, speed)


def unbalance_of(load: Load, head: HeadSpec) -> tuple[complex, complex | None]:
    """Give static unbalance and couple of a load, at any speed.

    Parameters
    ----------
    load : Load
        Loaded slots, masses, and how far the wafers sit off their places.
    head : HeadSpec
        The head.

    Returns
    -------
    tuple
        Static unbalance [kg m], and couple about the middle of the slots. [kg m²]

    Raises
    ------
    OutOfRangeError
        If a slot lies outside the head.

    Notes
    -----
    See `balance_of`; the couple is None where the head gives no slot pitch.
    """
    places, heights = seats_of(head, load.seat_eccentricity_mm)
    taken = np.array(load.filled_slots, int) - 1
    demand(
        taken < places.size,
        where="unbalance_of",
        mend=f"Load slots 1 to {places.size}; the head has no others.",
    )
    masses = 1e-3 * np.array(load.masses_g, float)
    static, couple = load_unbalance(masses, places[taken], np.nan_to_num(heights)[taken])
    return static, None if head.slot_pitch_mm is None else couple


def dummies_needed(load: Load, head: HeadSpec) -> tuple[int, ...]:
    """Slots that need a dummy of a wafer's mass so that the cassettes face equal numbers.

    Parameters
    ----------
    load : Load
        What is loaded.
    head : HeadSpec
        The head; on the axis no number of wafers asks for a dummy.

    Returns
    -------
    tuple of int
        Slots, numbered through the cassettes; where one across holds a wafer, that comes first.

    Notes
    -----
    Never raises. Opposite cassettes are made equal, or every third and so on where there is no
    opposite one.
    """
    each, filled = head.slots_per_cassette, set(load.filled_slots)
    needed: list[int] = []
    for group in facing_cassettes(head):
        held = [{s - each * c for s in filled if 0 < s - each * c <= each} for c in group]
        most = max(map(len, held))
        everywhere = set[int]().union(*held)
        for cassette, own in zip(group, held, strict=True):
            free = [s for s in range(1, each + 1) if s not in own]
            free.sort(key=lambda slot: (slot not in everywhere, slot))
            needed += [each * cassette + slot for slot in sorted(free[: most - len(own)])]
    return tuple(needed)


def facing_cassettes(head: HeadSpec) -> tuple[tuple[int, ...], ...]:
    """Give the cassettes, counted from 0, that balance one another when they are loaded alike.

    Parameters
    ----------
    head : HeadSpec
        The head.

    Returns
    -------
    tuple of tuple of int
        Groups: opposite pairs, or triples and so on where the number of cassettes is odd; none for
        a single cassette.

    Notes
    -----
    Never raises.
    """
    count = head.cassettes
    if head.axis is not RotorAxis.OFF_AXIS or count == 1:
        return ()
    size = next(prime for prime in (2, 3, 5, 7) if count % prime == 0)
    step = count // size
    return tuple(tuple(range(first, count, step)) for first in range(step))
