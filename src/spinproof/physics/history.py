"""Histories of a run as arrays: moments along the first axis, draws along the others."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray


def draws_shape(series: Sequence[ArrayLike], parameters: tuple[int, ...]) -> tuple[int, ...]:
    """Give the common shape of the draws that histories and parameters span.

    Parameters
    ----------
    series : sequence of array_like
        Histories, with the moments along the first axis. [any]
    parameters : tuple of int
        Shape of the parameters beside them, without moments. [1]

    Returns
    -------
    tuple of int
        Shape of the draws; empty for a single one.

    Notes
    -----
    Never raises by itself: numpy refuses shapes that do not broadcast.
    """
    return np.broadcast_shapes(parameters, *(np.shape(one)[1:] for one in series))


def columns(series: Sequence[ArrayLike], shape: tuple[int, ...]) -> tuple[NDArray[np.float64], ...]:
    """Give each history as a table: a row a moment, one column, or a column for each draw.

    Parameters
    ----------
    series : sequence of array_like
        Histories; a number stands for one that never changes. [any]
    shape : tuple of int
        Shape of the draws. [1]

    Returns
    -------
    tuple of ndarray
        Tables with the same number of rows. [any]

    Notes
    -----
    Never raises by itself: numpy refuses histories of different lengths.
    """
    arrays = [np.asarray(one, dtype=np.float64) for one in series]
    moments = np.broadcast_shapes(*(one.shape[:1] for one in arrays))
    tables = []
    for one in arrays:
        draws = shape if one.ndim > 1 else ()
        full = np.broadcast_to(one, (*moments, *draws))
        tables.append(np.ascontiguousarray(full.reshape(*moments, -1)))
    return tuple(tables)
