"""Dryness by weighing: what a balance can and cannot see."""

from math import pi, sqrt

from scipy.special import ndtri

from spinproof.stats.validity import require

RISK = 0.05
"""Risk of either wrong answer at the limits of detection. [1]"""


def weighing_uncertainty(repeatability: float, division: float, drift: float = 0.0) -> float:
    r"""Uncertainty of the difference of two weighings of the same piece.

    .. math:: u = \sqrt2 \sqrt{s_r^2 + \frac{d^2}{12} + u_d^2}

    Parameters
    ----------
    repeatability : float
        Standard deviation s_r of readings of one load, zero or more. [kg]
    division : float
        Smallest step d of the display, zero or more. [kg]
    drift : float
        Standard uncertainty u_d from drift and buoyancy, for each weighing. [kg]

    Returns
    -------
    float
        Standard uncertainty of the difference. [kg]

    Raises
    ------
    OutOfRangeError
        If a number is negative.

    Notes
    -----
    What is common to both weighings, such as the calibration, cancels. A change of the air's
    density between them does not: weigh a control piece as well and subtract.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1 and F.2.2.1.

    Examples
    --------
    >>> round(weighing_uncertainty(0.1e-6, 0.1e-6) * 1e6, 6)
    0.147196
    """
    require(
        repeatability >= 0 and division >= 0 and drift >= 0,
        "a balance has no negative uncertainty",
        where="weighing_uncertainty",
        mend="Give repeatability, division and drift of zero or more.",
    )
    return sqrt(2 * (repeatability**2 + division**2 / 12 + drift**2))


def detection_limits(uncertainty: float) -> tuple[float, float]:
    r"""Critical level and detection limit of a difference that should be zero.

    .. math:: m_C = z_{0.95}\,u, \qquad m_D = 2 z_{0.95}\,u

    Parameters
    ----------
    uncertainty : float
        Standard uncertainty of the difference, zero or more. [any]

    Returns
    -------
    tuple of float
        Difference above which something is there, and the smallest that is hardly ever missed,
        both at 5 % risk. [as the uncertainty]

    Raises
    ------
    OutOfRangeError
        If the uncertainty is negative.

    References
    ----------
    .. [1] ISO 11843-1:1997, Capability of detection (from memory).

    Examples
    --------
    >>> critical, detectable = detection_limits(0.147196)
    >>> round(critical, 5), round(detectable, 5)
    (0.24212, 0.48423)
    """
    require(
        uncertainty >= 0,
        f"{uncertainty:g} is no standard uncertainty",
        where="detection_limits",
        mend="Give a standard uncertainty of zero or more.",
    )
    critical = -float(ndtri(RISK)) * uncertainty
    return critical, 2 * critical


def drop_diameter(mass: float, density: float) -> float:
    r"""Diameter of the spherical drop that has a mass.

    .. math:: d = \left(\frac{6 m}{\pi \rho}\right)^{1/3}

    Parameters
    ----------
    mass : float
        Mass m of the drop, zero or more. [kg]
    density : float
        Density ρ of the liquid, above zero. [kg/m³]

    Returns
    -------
    float
        Diameter. [m]

    Raises
    ------
    OutOfRangeError
        If the mass is negative or the density not above zero.

    References
    ----------
    .. [1] Volume of a sphere.

    Examples
    --------
    >>> round(drop_diameter(0.4843e-6, 998.2) * 1e3, 3)
    0.975
    """
    _require_water("drop_diameter", mass, density)
    return float((6 * mass / (pi * density)) ** (1 / 3))


def film_of_mass(mass: float, density: float, diameter: float, faces: int) -> float:
    r"""Mean thickness of a film that has a mass, on the faces of round pieces.

    .. math:: h = \frac{4 m}{\pi d^2 n \rho}

    Parameters
    ----------
    mass : float
        Mass m of the liquid, zero or more. [kg]
    density : float
        Density ρ of the liquid, above zero. [kg/m³]
    diameter : float
        Diameter d of a piece, above zero. [m]
    faces : int
        Number n of faces in all, one or more. [1]

    Returns
    -------
    float
        Mean thickness. [m]

    Raises
    ------
    OutOfRangeError
        If a number is out of range.

    References
    ----------
    .. [1] Volume of a layer.

    Examples
    --------
    >>> round(film_of_mass(1e-5, 1000.0, 0.2, 26) * 1e9, 2)
    12.24
    """
    _require_water("film_of_mass", mass, density)
    require(
        diameter > 0 and faces >= 1,
        f"{faces} faces of {diameter:g} m carry no film",
        where="film_of_mass",
        mend="Give a diameter above zero, and one face or more.",
    )
    return 4 * mass / (pi * diameter**2 * faces * density)


def _require_water(where: str, mass: float, density: float) -> None:
    require(
        mass >= 0 and density > 0,
        f"{mass:g} kg at {density:g} kg/m³ is no water",
        where=where,
        mend="Give a mass of zero or more, and a density above zero.",
    )
