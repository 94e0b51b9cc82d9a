"""Cleanliness of the room's air on the day of a test: a fact about the room, not the machine."""

from math import floor, log10

from spinproof.stats.validity import require

EXPONENT = 2.08
LEAST_COUNT = 20
"""Particles that a sample must be able to hold at the class limit. [1]"""
LEAST_VOLUME = 2e-3
"""Smallest sample. [m³]"""


def particle_limit(iso_class: float, size_um: float) -> float:
    r"""Largest concentration of particles in a class of cleanliness.

    .. math:: C_n = 10^N \left(\frac{0.1}{D}\right)^{2.08}

    Parameters
    ----------
    iso_class : float
        Class N, 1 to 9. [1]
    size_um : float
        Particle size D, 0.1 to 5 µm. [µm]

    Returns
    -------
    float
        Particles of that size or larger, to three significant digits. [1/m³]

    Raises
    ------
    OutOfRangeError
        If class or size are out of range.

    References
    ----------
    .. [1] ISO 14644-1:2015, Classification of air cleanliness by particle concentration.

    Examples
    --------
    >>> particle_limit(5, 0.5)
    3520.0
    """
    require(
        1 <= iso_class <= 9 and 0.1 <= size_um <= 5,
        f"class {iso_class:g} has no limit for {size_um:g} µm",
        where="particle_limit",
        mend="Give a class of 1 to 9, and a size of 0.1 to 5 µm.",
    )
    exact = float(10.0**iso_class * (0.1 / size_um) ** EXPONENT)
    return round(exact, 2 - floor(log10(exact)))


def sample_volume(iso_class: float, size_um: float) -> float:
    r"""Smallest volume of one sample of air.

    .. math:: V = \max\left(\frac{20}{C_n},\; 2\,\mathrm{L}\right)

    Parameters
    ----------
    iso_class : float
        Class N, 1 to 9. [1]
    size_um : float
        Largest particle size considered, 0.1 to 5 µm. [µm]

    Returns
    -------
    float
        Volume; it is drawn for one minute at least. [m³]

    Raises
    ------
    OutOfRangeError
        If class or size are out of range.

    References
    ----------
    .. [1] ISO 14644-1:2015, annex A.

    Examples
    --------
    >>> round(sample_volume(5, 0.5) * 1e3, 3)
    5.682
    """
    return max(LEAST_COUNT / particle_limit(iso_class, size_um), LEAST_VOLUME)
