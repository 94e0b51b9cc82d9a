"""Random draws inside compiled searches: small, exact, and the same on every machine."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

State = NDArray[np.uint64]


def seeded_state(rng: np.random.Generator) -> State:
    """Give the state of a stream of draws, seeded by a generator.

    Parameters
    ----------
    rng : Generator
        Gives the seed. [1]

    Returns
    -------
    ndarray
        One word, never zero. [1]

    Notes
    -----
    The stream is a 64-bit xorshift with a multiplied output.

    References
    ----------
    .. [1] S. Vigna, "An experimental exploration of Marsaglia's xorshift generators, scrambled,"
       ACM Trans. Math. Softw. 42, 30 (2016).
    """
    return rng.integers(1, 2**63, size=1, dtype=np.uint64)


@njit(cache=True)
def _next_word(state: State) -> np.uint64:
    word = state[0]
    word ^= word >> np.uint64(12)
    word ^= word << np.uint64(25)
    word ^= word >> np.uint64(27)
    state[0] = word
    return np.uint64(word * np.uint64(2685821657736338717))


@njit(cache=True)
def draw(state: State, below: int) -> int:
    """Draw a whole number from 0 to just below ``below``, which must be under two to the 31."""
    return int(np.int64((_next_word(state) >> np.uint64(33)) * np.uint64(below) >> np.uint64(31)))


@njit(cache=True)
def share_of(state: State) -> float:
    """Draw a number above 0 and at most 1."""
    return (np.float64(_next_word(state) >> np.uint64(11)) + 1.0) / 9007199254740992.0
