"""Correlations between inputs: pairs of names to a matrix that holds together."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from spinproof.stats.validity import require

Correlations = Mapping[tuple[str, str], float]
"""Correlation coefficient of each pair of inputs that has one. [1]"""


def correlation_matrix(
    names: Sequence[str], correlations: Correlations | None = None
) -> NDArray[np.float64]:
    """Matrix of correlation coefficients.

    Parameters
    ----------
    names : sequence of str
        Names of the inputs, each once.
    correlations : mapping of pairs of names to float, optional
        Coefficients, in either order of the names; pairs that are absent are uncorrelated. [1]

    Returns
    -------
    ndarray
        Symmetric matrix with ones on its diagonal. [1]

    Raises
    ------
    OutOfRangeError
        If there are no names, one stands twice or is unknown, a coefficient lies outside -1 to 1,
        or the coefficients contradict one another.

    Examples
    --------
    >>> correlation_matrix(["a", "b"], {("b", "a"): 0.5}).tolist()
    [[1.0, 0.5], [0.5, 1.0]]
    """
    require(
        0 < len(set(names)) == len(names),
        f"no input, or one twice: {', '.join(names)}",
        where="correlation_matrix",
        mend="Give each input a name of its own.",
    )
    matrix = np.eye(len(names))
    for pair, coefficient in (correlations or {}).items():
        require(
            set(pair) <= set(names) and pair[0] != pair[1] and -1 <= coefficient <= 1,
            f"a correlation of {coefficient:g} between {pair[0]} and {pair[1]} makes no sense",
            where="correlation_matrix",
            mend="Name two different inputs, and give a coefficient between -1 and 1.",
        )
        row, column = names.index(pair[0]), names.index(pair[1])
        matrix[row, column] = matrix[column, row] = coefficient
    require(
        float(np.linalg.eigvalsh(matrix).min()) >= -1e-12,
        "the correlations contradict one another",
        where="correlation_matrix",
        mend="Take all coefficients from the same readings.",
    )
    return matrix
