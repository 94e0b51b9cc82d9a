"""State levels by histogram modes, and the step between them, on signals that scatter."""

import numpy as np
import pytest

from spinproof.model.errors import OutOfRangeError
from spinproof.signals.state_levels import state_levels, step_of

TIME = np.arange(0, 60, 0.05)


def noisy_ramp(low: float, high: float, scatter: float) -> np.ndarray:
    """Stay low for 20 s, rise in 10 s, and stay high."""
    level = np.interp(TIME, [20, 30], [low, high])
    return level + scatter * np.random.default_rng(1).standard_normal(TIME.size)


@pytest.mark.parametrize(("low", "high"), [(0.0, 100.0), (-5.0, 3.0), (290.0, 1750.0)])
def test_the_levels_of_a_noisy_ramp_are_found_within_a_hundredth(low, high):
    found = state_levels(noisy_ramp(low, high, 0.01 * (high - low)))

    assert found == pytest.approx((low, high), abs=0.01 * (high - low))


@pytest.mark.parametrize(("low", "high"), [(0.0, 100.0), (100.0, 0.0)])
def test_the_terms_of_a_ramp_either_way(low, high):
    found = step_of(TIME, noisy_ramp(low, high, 0.0))

    assert found.rises is (high > low)
    assert found.duration_s == pytest.approx(8.0, abs=0.05)
    assert found.levels == pytest.approx(
        (low + 0.1 * (high - low), low + 0.9 * (high - low)), abs=0.05
    )
    assert (found.overshoot, found.undershoot) == pytest.approx((0, 0), abs=0.1)
    assert found.settled_s == pytest.approx(29.8, abs=0.06)


def test_missing_readings_are_left_out():
    values = noisy_ramp(0.0, 100.0, 0.5)
    values[::7] = np.nan

    assert step_of(TIME, values).amplitude == pytest.approx(100, abs=1)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ([1.0] * 50, "show no two states"),
        ([1.0, 2.0], "show no two states"),
        (np.random.default_rng(2).standard_normal(400), "one state only"),
    ],
)
def test_a_signal_without_a_step_is_refused(values, words):
    with pytest.raises(OutOfRangeError, match=words):
        state_levels(values)
