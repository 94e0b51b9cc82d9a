"""How probable it is that a true value lies inside its limits, after a reading."""

from statistics import NormalDist

from spinproof.stats.distributions import Gaussian


def updated(value: float, uncertainty: float, prior: Gaussian | None = None) -> Gaussian:
    r"""Bring what is known of a true value up to date with a reading.

    .. math:: \hat\eta = \frac{y/u^2 + y_0/u_0^2}{1/u^2 + 1/u_0^2}, \qquad
              \hat u^{-2} = u^{-2} + u_0^{-2}

    Parameters
    ----------
    value : float
        The reading y. [unit]
    uncertainty : float
        Standard uncertainty u of the reading, zero or more. [unit]
    prior : Gaussian, optional
        What was known before (y0, u0), for example from earlier items of the same lot; without it
        the reading alone speaks.

    Returns
    -------
    Gaussian
        Value and standard uncertainty of the true value. [unit]

    Raises
    ------
    OutOfRangeError
        If value or uncertainty are not finite, or the uncertainty is negative.

    References
    ----------
    .. [1] JCGM 106:2012, 6.5 and annex A (product of two normal distributions).

    Examples
    --------
    >>> after = updated(0.17, 0.04, Gaussian(0.0, 0.12))
    >>> round(after.value, 6), round(after.uncertainty, 6)
    (0.153, 0.037947)
    """
    read = Gaussian(value, uncertainty)
    if prior is None or uncertainty == 0:
        return read
    if prior.uncertainty == 0:
        return prior
    weight = prior.uncertainty**2 / (prior.uncertainty**2 + uncertainty**2)
    return Gaussian(prior.value + weight * (value - prior.value), uncertainty * weight**0.5)


def conformance_probability(
    value: float,
    uncertainty: float,
    lower: float | None,
    upper: float | None,
    prior: Gaussian | None = None,
) -> float:
    r"""Probability that the true value lies inside the limits.

    .. math:: p_c = \Phi\left(\frac{T_U - \hat\eta}{\hat u}\right)
                  - \Phi\left(\frac{T_L - \hat\eta}{\hat u}\right)

    Parameters
    ----------
    value : float
        The reading. [unit]
    uncertainty : float
        Standard uncertainty of the reading; zero makes the probability 0 or 1. [unit]
    lower : float or None
        Lower limit T_L. [unit]
    upper : float or None
        Upper limit T_U. [unit]
    prior : Gaussian, optional
        What was known of the value before the reading; see :func:`updated`.

    Returns
    -------
    float
        Probability. [1]

    Raises
    ------
    OutOfRangeError
        If value or uncertainty are not finite, or the uncertainty is negative.

    Notes
    -----
    Holds for a Gaussian state of knowledge. Without a prior, nothing is taken as known before.

    References
    ----------
    .. [1] JCGM 106:2012, The role of measurement uncertainty in conformity assessment, 7.

    Examples
    --------
    >>> round(conformance_probability(1510.0, 2.5, 1485.0, 1515.0), 5)
    0.97725
    """
    known = updated(value, uncertainty, prior)
    if known.uncertainty == 0:
        inside = (lower is None or known.value >= lower) and (upper is None or known.value <= upper)
        return float(inside)
    true = NormalDist(known.value, known.uncertainty)
    below_upper = 1.0 if upper is None else true.cdf(upper)
    below_lower = 0.0 if lower is None else true.cdf(lower)
    return max(below_upper - below_lower, 0.0)
