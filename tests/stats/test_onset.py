"""Where a change began."""

import numpy as np
import pytest

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.onset import onset_of


def noise(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(50)


@pytest.mark.parametrize("seed", range(6))
def test_a_creep_is_dated_within_a_few_steps(seed: int):
    onset = onset_of(noise(seed) + 0.4 * np.maximum(0, np.arange(50) - 19))
    assert onset.creeps
    assert abs(onset.first - 20) <= 4
    assert onset.size == pytest.approx(0.4, rel=0.2)


@pytest.mark.parametrize("seed", range(6))
def test_a_shift_is_dated_and_known_as_a_shift_beside_a_bad_value(seed: int):
    values = noise(seed) - 3.0 * (np.arange(50) >= 30)
    values[11] += 40
    onset = onset_of(values)
    assert not onset.creeps
    assert abs(onset.first - 30) <= 3
    assert onset.size == pytest.approx(-3, abs=1)


def test_a_creep_from_the_first_value_on_begins_there():
    assert onset_of(2 + 0.5 * np.arange(20)).first == 0


def test_too_few_values_are_refused():
    with pytest.raises(OutOfRangeError, match="show no beginning"):
        onset_of([1.0, 2.0, 3.0])
