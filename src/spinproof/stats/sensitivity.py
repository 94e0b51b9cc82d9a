"""How a result follows its inputs: central differences around the estimates."""

from collections.abc import Callable, Sequence
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.stats.validity import require

Model = Callable[..., Any]
"""The measurement model: takes the inputs in order, floats or arrays, and gives the result."""
STEP = 0.1
"""Step of a difference in standard uncertainties: small against the range, far above rounding."""


def sensitivities(
    model: Model, values: Sequence[float], uncertainties: ArrayLike
) -> NDArray[np.float64]:
    r"""Sensitivity of a result to each input, by central differences.

    .. math:: c_i = \frac{\partial f}{\partial x_i} \approx
              \frac{f(x_i + h) - f(x_i - h)}{2 h}, \qquad h = u_i / 10

    Parameters
    ----------
    model : callable
        The measurement model f.
    values : sequence of float
        Estimates x of the inputs. [unit of each]
    uncertainties : array_like
        Standard uncertainties u; where one is zero, a small step takes its place. [unit of each]

    Returns
    -------
    ndarray
        One coefficient for each input. [unit of the result by unit of the input]

    Raises
    ------
    OutOfRangeError
        If the model gives no finite number there.

    Notes
    -----
    Exact up to the second order of the model.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.3.

    Examples
    --------
    >>> sensitivities(lambda a, b: a * b**2, [2.0, 3.0], [0.1, 0.1]).round(9).tolist()
    [9.0, 12.0]
    """
    steps = _steps(values, uncertainties)
    changes = [
        (_at(model, values, steps, {i: 1}) - _at(model, values, steps, {i: -1})) / 2
        for i in range(len(values))
    ]
    return np.asarray(changes) / steps


def curvature_variance(model: Model, values: Sequence[float], uncertainties: ArrayLike) -> float:
    r"""Variance that curvature adds to the law of propagation.

    .. math:: \sum_i \sum_j \left[\frac12 \left(\frac{\partial^2 f}{\partial x_i
              \partial x_j}\right)^2 + \frac{\partial f}{\partial x_i}
              \frac{\partial^3 f}{\partial x_i \partial x_j^2}\right] u_i^2 u_j^2

    Parameters
    ----------
    model : callable
        The measurement model f.
    values : sequence of float
        Estimates of the inputs. [unit of each]
    uncertainties : array_like
        Standard uncertainties. [unit of each]

    Returns
    -------
    float
        Variance, negative when the curvature narrows the result. [square of the result's unit]

    Raises
    ------
    OutOfRangeError
        If the model gives no finite number there.

    Notes
    -----
    Holds for uncorrelated inputs with normal distributions.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2, note.

    Examples
    --------
    >>> round(curvature_variance(lambda a, b: a**2 + b**2, [0.0, 0.0], [0.005, 0.005]) ** 0.5, 9)
    5e-05
    """
    steps = _steps(values, uncertainties)
    moving = np.asarray(uncertainties, dtype=np.float64) > 0
    total = 0.0
    for i, j in product(np.flatnonzero(moving).tolist(), repeat=2):
        slope, bend, twist = _terms(model, values, steps, (i, j))
        total += bend**2 / 2 + slope * twist
    return total


def _terms(
    model: Model, values: Sequence[float], steps: NDArray[np.float64], pair: tuple[int, int]
) -> tuple[float, float, float]:
    """Give ∂f/∂xi, ∂²f/∂xi∂xj and ∂³f/∂xi∂xj², each times the uncertainties of its inputs."""
    i, j = pair

    def f(one: int, other: int) -> float:
        moves = {i: one}
        moves[j] = moves.get(j, 0) + other
        return _at(model, values, steps, moves)

    slope = (f(1, 0) - f(-1, 0)) / 2
    if i == j:
        bend = f(1, 0) - 2 * f(0, 0) + f(-1, 0)
    else:
        bend = (f(1, 1) - f(1, -1) - f(-1, 1) + f(-1, -1)) / 4
    ahead = f(1, 1) - 2 * f(1, 0) + f(1, -1)
    behind = f(-1, 1) - 2 * f(-1, 0) + f(-1, -1)
    return slope / STEP, bend / STEP**2, (ahead - behind) / 2 / STEP**3


def _steps(values: Sequence[float], uncertainties: ArrayLike) -> NDArray[np.float64]:
    u = np.asarray(uncertainties, dtype=np.float64)
    small = 1e-6 * np.maximum(np.abs(np.asarray(values, dtype=np.float64)), 1e-6)
    return np.where(u > 0, STEP * u, small)


def _at(
    model: Model, values: Sequence[float], steps: NDArray[np.float64], moves: dict[int, int]
) -> float:
    moved = [x + moves.get(k, 0) * float(steps[k]) for k, x in enumerate(values)]
    result = float(model(*moved))
    require(
        bool(np.isfinite(result)),
        "the model gives no finite number near the estimates",
        where="sensitivities",
        mend="Check the estimates and the model's range.",
    )
    return result
