"""Two-plane balancing against the example of S. S. Rao, Mechanical Vibrations.

The readings are from memory; they give the answer of the book to its digits.
"""

import numpy as np
import pytest

from spinproof.physics.balancing import correct, influence

pytestmark = pytest.mark.source("Rao, Mechanical Vibrations", kind="from memory")


def at(*pairs: float) -> np.ndarray:
    return np.array(pairs[::2]) * np.exp(1j * np.deg2rad(pairs[1::2]))


def test_the_example_of_two_planes():
    found = at(8.5, 60, 6.5, 205)
    trials = (at(6, 125, 4.5, 230), at(6, 35, 10.5, 160))
    alpha = influence(found, trials, at(10, 270, 12, 180), [False, False])
    answer = correct(found, alpha)

    assert np.abs(alpha).ravel() == pytest.approx([0.80711, 0.33131, 0.30791, 0.62350], abs=1e-5)
    unbalance = answer.found_unbalance
    assert np.abs(unbalance) == pytest.approx([10.05614, 5.87736], abs=1e-4)
    assert np.rad2deg(np.angle(unbalance)) % 360 == pytest.approx([145.5548, 248.2559], abs=1e-3)
    turned = np.rad2deg(np.angle(answer.added)) % 360
    assert turned == pytest.approx([325.5548, 68.2559], abs=1e-3)
    assert answer.left == pytest.approx([0, 0], abs=1e-12)
