"""How a law refuses inputs outside its range, or warns of them."""

import warnings

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import OutOfRangeError


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


class ExtrapolationWarning(UserWarning):
    """A law was asked beyond the range in which its error is known; the answer is weaker there."""


def demand(holds: NDArray[np.bool_], *, where: str, mend: str) -> None:
    """Refuse inputs for which a law means nothing.

    Parameters
    ----------
    holds : ndarray of bool
        Where the law holds; a comparison with NaN is false, so NaN never holds. [1]
    where : str
        Name of the law.
    mend : str
        What to give instead, with the range.

    Raises
    ------
    OutOfRangeError
        If any element is outside; ``mask`` marks those.
    """
    if not holds.all():
        raise OutOfRangeError(outside(holds), where=where, mend=mend, mask=~holds)


def advise(holds: NDArray[np.bool_], *, where: str, known: str) -> None:
    """Warn of inputs beyond the range in which a law's error is known.

    Parameters
    ----------
    holds : ndarray of bool
        Where the error is known. [1]
    where : str
        Name of the law.
    known : str
        The range in which it is known.

    Notes
    -----
    Never raises; issues an ``ExtrapolationWarning`` on behalf of the law's caller.
    """
    if not holds.all():
        text = f"{where}: {np.count_nonzero(~holds)} of {holds.size} inputs are beyond {known}"
        warnings.warn(text, ExtrapolationWarning, stacklevel=3)
