"""Two planes with trial masses left on: Feese and Grazier, 33rd Turbomachinery Symposium, 2004.

The readings are from an open, MIT-licensed test suite that cites the paper.
"""

import numpy as np
import pytest

from spinproof.physics.balancing import correct, influence

pytestmark = pytest.mark.source("Feese and Grazier 2004", kind="published")


def at(*pairs: float) -> np.ndarray:
    amounts, angles = np.array(pairs[::2]), np.deg2rad(pairs[1::2])
    return amounts * np.exp(1j * angles)


FOUND = at(0.68, 32, 0.56, 86, 1.94, 231, 2.07, 335)
TRIALS = (
    at(1.31, 1, 1.25, 75, 0.93, 251, 1.0, 342),
    at(0.54, 9, 0.52, 75, 0.81, 196, 0.9, 296),
)
MASSES = at(11.1, 35, 3.7, 135)


def test_the_published_total_follows_when_the_masses_that_stayed_on_are_honoured():
    answer = correct(FOUND, influence(FOUND, TRIALS, MASSES, [True, True]))

    first, second = answer.added
    assert abs(first) == pytest.approx(15.3, rel=0.01)
    assert np.rad2deg(np.angle(first)) == pytest.approx(3, abs=0.5)
    assert abs(second) == pytest.approx(6.6, rel=0.01)
    assert np.rad2deg(np.angle(second)) == pytest.approx(113, abs=0.5)
    assert abs(first) == pytest.approx(15.3298, abs=1e-3)
    assert abs(second) == pytest.approx(6.6169, abs=1e-3)
    assert np.sqrt(np.mean(np.abs(answer.left) ** 2)) == pytest.approx(0.06987, abs=1e-5)


def test_what_is_still_to_be_added_is_the_total_less_the_masses_that_are_on():
    answer = correct(FOUND, influence(FOUND, TRIALS, MASSES, [True, True]))

    first, second = answer.added - MASSES
    assert (abs(first), np.rad2deg(np.angle(first)) % 360) == (
        pytest.approx(8.36168, abs=1e-4),
        pytest.approx(318.0372, abs=1e-3),
    )
    assert (abs(second), np.rad2deg(np.angle(second)) % 360) == (
        pytest.approx(3.48052, abs=1e-4),
        pytest.approx(89.2719, abs=1e-3),
    )


def test_a_mass_that_stayed_on_and_is_said_to_be_off_gives_another_and_wrong_answer():
    """The trap: 5.4440@222.065 in the first plane, and far from what the trials allow."""
    wrong = correct(FOUND, influence(FOUND, TRIALS, MASSES, [False, False]))
    right = influence(FOUND, TRIALS, MASSES, [True, True])

    assert abs(wrong.added[0]) == pytest.approx(5.4440, abs=1e-4)
    assert np.rad2deg(np.angle(wrong.added[0])) % 360 == pytest.approx(222.065, abs=1e-3)
    assert abs(wrong.added[1]) == pytest.approx(6.6169, abs=1e-4)
    left = FOUND + right @ wrong.added
    assert np.sqrt(np.mean(np.abs(left) ** 2)) > 20 * 0.06987
