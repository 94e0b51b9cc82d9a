"""What is known of an input without repeating it: certificates, displays, error limits, counts."""

from math import isfinite

from spinproof.stats.distributions import Gaussian, Rectangular, Triangular
from spinproof.stats.validity import require


def from_certificate(value: float, expanded: float, factor: float = 2.0) -> Gaussian:
    """Knowledge from a certificate that states an expanded uncertainty.

    Parameters
    ----------
    value : float
        Value or correction that the certificate states. [unit]
    expanded : float
        Expanded uncertainty U, zero or more. [unit]
    factor : float
        Coverage factor k that it states, above zero. [1]

    Returns
    -------
    Gaussian
        The value with u = U/k.

    Raises
    ------
    OutOfRangeError
        If a number is out of range.

    References
    ----------
    .. [1] JCGM 100:2008, 4.3.3.

    Examples
    --------
    >>> from_certificate(1000.0, 0.5).uncertainty
    0.25
    """
    require(
        factor > 0,
        f"a coverage factor of {factor:g} makes no sense",
        where="from_certificate",
        mend="Give the factor that the certificate states, commonly 2.",
    )
    return Gaussian(value, expanded / factor)


def from_error_limits(value: float, error: float) -> Rectangular:
    """Knowledge from the limits of error that an instrument's data sheet states.

    Parameters
    ----------
    value : float
        The reading. [unit]
    error : float
        Largest error in either direction, zero or more. [unit]

    Returns
    -------
    Rectangular
        The reading with u = error/√3.

    Raises
    ------
    OutOfRangeError
        If a number is not finite, or the error is negative.

    References
    ----------
    .. [1] JCGM 100:2008, 4.3.7.

    Examples
    --------
    >>> round(from_error_limits(20.0, 0.3).uncertainty, 4)
    0.1732
    """
    return Rectangular(value - error, value + error)


def from_display(value: float, division: float) -> Rectangular:
    """Knowledge from a display that rounds to a division.

    Parameters
    ----------
    value : float
        The reading. [unit]
    division : float
        Smallest step of the display, zero or more. [unit]

    Returns
    -------
    Rectangular
        The reading with u = division/√12.

    Raises
    ------
    OutOfRangeError
        If a number is not finite, or the division is negative.

    References
    ----------
    .. [1] JCGM 100:2008, F.2.2.1.

    Examples
    --------
    >>> round(from_display(20.0, 0.1).uncertainty, 5)
    0.02887
    """
    return Rectangular(value - division / 2, value + division / 2)


def from_pulse_count(speed_rpm: float, pulses: float, gate_s: float) -> Triangular:
    r"""Knowledge of a speed from pulses counted in a gate of fixed length.

    .. math:: a = \frac{60}{N\,T}, \qquad u = a/\sqrt6

    Parameters
    ----------
    speed_rpm : float
        The speed that was shown. [rpm]
    pulses : float
        Pulses N for each revolution, above zero. [1]
    gate_s : float
        Length T of the gate, above zero. [s]

    Returns
    -------
    Triangular
        The speed within one pulse either way. [rpm]

    Raises
    ------
    OutOfRangeError
        If pulses or gate are not above zero, or the speed is not finite.

    Notes
    -----
    Each end of the gate cuts a pulse interval at random, so the error is the difference of two
    rectangular ones.

    References
    ----------
    .. [1] JCGM 101:2008, 6.4.5 (difference of two rectangular quantities).

    Examples
    --------
    >>> round(from_pulse_count(600.0, 60, 0.1).uncertainty, 3)
    4.082
    """
    require(
        pulses > 0 and gate_s > 0 and isfinite(gate_s),
        f"{pulses:g} pulses a revolution in {gate_s:g} s count no speed",
        where="from_pulse_count",
        mend="Give pulses and a gate above zero.",
    )
    step = 60 / (pulses * gate_s)
    return Triangular(speed_rpm - step, speed_rpm + step)
