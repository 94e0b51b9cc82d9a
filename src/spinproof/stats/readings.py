"""Inputs from repeated readings: the mean, its uncertainty, and what varies together."""

from collections.abc import Sequence
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike

from spinproof.stats.distributions import StudentT
from spinproof.stats.uncertainty import Input
from spinproof.stats.validity import require


def mean_of_readings(name: str, readings: ArrayLike) -> Input:
    r"""Input from independent readings of one quantity.

    .. math:: \bar q = \frac1n \sum q_k, \qquad
              s^2(\bar q) = \frac{1}{n(n-1)} \sum (q_k - \bar q)^2

    Parameters
    ----------
    name : str
        Name of the input.
    readings : array_like
        Readings q, two or more. [unit]

    Returns
    -------
    Input
        The mean with s/√n and n - 1 degrees of freedom.

    Raises
    ------
    OutOfRangeError
        If there are fewer than two readings, or one is not finite.

    Notes
    -----
    Readings of one trace follow one another too closely for this; use
    :func:`spinproof.signals.means.mean_of` there.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2.

    Examples
    --------
    >>> speed = mean_of_readings("speed", [1749.0, 1751.0, 1750.0])
    >>> speed.distribution.value, round(speed.distribution.uncertainty, 4), speed.degrees
    (1750.0, 0.5774, 2.0)
    """
    (one,), _ = simultaneous_readings([name], [readings])
    return one


def simultaneous_readings(
    names: Sequence[str], readings: Sequence[ArrayLike]
) -> tuple[tuple[Input, ...], dict[tuple[str, str], float]]:
    r"""Take inputs from readings that were made together, with their correlations.

    .. math:: r(\bar q, \bar t) = \frac{\sum (q_k - \bar q)(t_k - \bar t)}
              {\sqrt{\sum (q_k - \bar q)^2 \sum (t_k - \bar t)^2}}

    Parameters
    ----------
    names : sequence of str
        Name of each quantity.
    readings : sequence of array_like
        For each quantity as many readings as for the others, in the same order. [unit of each]

    Returns
    -------
    tuple
        The inputs, and the correlation coefficient of each pair of their means. [1]

    Raises
    ------
    OutOfRangeError
        If there are fewer than two readings, their numbers differ, or one is not finite.

    References
    ----------
    .. [1] JCGM 100:2008, 5.2.3 and H.2.

    Examples
    --------
    >>> inputs, tied = simultaneous_readings(["U", "I"], [[1.0, 2.0, 3.0], [2.0, 4.0, 6.5]])
    >>> round(tied["U", "I"], 4)
    0.9979
    """
    rows = [np.asarray(row, dtype=np.float64) for row in readings]
    counts = {row.size for row in rows}
    require(
        len(rows) == len(names) and len(counts) == 1 and min(counts) >= 2,
        "the readings do not belong together",
        where="simultaneous_readings",
        mend="Give each quantity the same number of readings, two or more.",
    )
    table = np.vstack(rows)
    require(
        bool(np.isfinite(table).all()),
        "a reading is not a number",
        where="simultaneous_readings",
        mend="Leave out the readings that are not numbers, in all quantities at once.",
    )
    n = table.shape[1]
    scatter = table.std(axis=1, ddof=1)
    inputs = tuple(
        Input(name, StudentT(float(row.mean()), float(s) / sqrt(n), float(n - 1)))
        for name, row, s in zip(names, table, scatter, strict=True)
    )
    off = table - table.mean(axis=1, keepdims=True)
    together = off @ off.T / (n - 1)
    tied = {
        (names[i], names[j]): float(np.clip(together[i, j] / (scatter[i] * scatter[j]), -1, 1))
        for i in range(len(names))
        for j in range(i + 1, len(names))
        if scatter[i] > 0 and scatter[j] > 0
    }
    return inputs, tied
