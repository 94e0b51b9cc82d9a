"""How a law words its refusal of inputs outside its range."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def floats(*inputs: ArrayLike) -> tuple[NDArray[np.float64], ...]:
    """Bring the inputs of a law to floats of one shape.

    Parameters
    ----------
    *inputs : array_like
        Numbers or arrays whose shapes broadcast. [any]

    Returns
    -------
    tuple of ndarray
        The inputs in their common shape, in the same order. [any]

    Notes
    -----
    Never raises by itself: numpy refuses shapes that do not broadcast, and text.
    """
    return np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in inputs))


def outside(holds: NDArray[np.bool_]) -> str:
    """Say how many inputs lie outside a law.

    Parameters
    ----------
    holds : ndarray of bool
        Where the law holds; a comparison with NaN is false, so NaN never holds. [1]

    Returns
    -------
    str
        A clause for the error's first part.

    Notes
    -----
    Never raises.
    """
    return f"{np.count_nonzero(~holds)} of {holds.size} inputs are outside the law"
