"""Balancing without phase, and trial masses, against vectors that are known beforehand.

Each case is made from a known unbalance by the law of cosines and read back: an independent
route. The weight of the trial mass (a tenth of the rotor's) is common practice.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.physics.balancing_without_phase import four_runs, moved_trial
from spinproof.physics.trial_mass import split_to_neighbours, split_to_stock, trial_unbalance

pytestmark = pytest.mark.source("law of cosines; common practice", kind="independent route")

RPM = np.pi / 30


def test_four_runs_find_an_effect_of_4_at_70_degrees():
    """6.00 as found; 8.27, 9.10 and 2.17 with the trial: truth 4 at 70 degrees, to three digits."""
    answer = four_runs(6.0, [8.27, 9.10, 2.17], 1.0)

    assert abs(answer.added) == pytest.approx(1.50138, abs=1e-5)
    assert np.rad2deg(np.angle(answer.added)) % 360 == pytest.approx(249.9885, abs=1e-4)
    assert answer.consistency == pytest.approx(1.00069, abs=1e-5)
    assert answer.holds_together
    assert abs(answer.added) == pytest.approx(6 / 4, rel=2e-3)
    assert not four_runs(6.0, [9.5, 9.10, 4.0], 1.0).holds_together


@given(
    size=st.floats(0.05, 20),
    angle=st.floats(-3.1, 3.1),
    trial=st.floats(0.5, 5),
)
def test_any_unbalance_is_found_by_four_runs(size, angle, trial):
    unbalance = size * np.exp(1j * angle)
    runs = np.abs(unbalance + trial * np.exp(2j * np.pi * np.arange(3) / 3))

    answer = four_runs(size, runs, trial)
    assert answer.added == pytest.approx(-unbalance, rel=1e-6)
    assert answer.consistency == pytest.approx(1, rel=1e-6)


def test_a_mass_moved_around_shows_150_at_37_degrees():
    """1000 at eight positions; the short cut over maximum and minimum would give 148.47."""
    V = [4.49371, 4.59492, 4.38734, 3.96131, 3.53929, 3.40686, 3.67033, 4.12650]
    residual = moved_trial(V, 1000.0)

    assert abs(residual) == pytest.approx(150.00, abs=5e-3)
    assert np.rad2deg(np.angle(residual)) == pytest.approx(37.0, abs=5e-3)
    assert 1000 * (max(V) - min(V)) / (max(V) + min(V)) == pytest.approx(148.47, abs=0.01)


@given(
    size=st.floats(0.001, 0.9),
    angle=st.floats(-3.1, 3.1),
    gain=st.floats(1e-3, 1e3),
    positions=st.integers(6, 24),
)
def test_any_residual_below_the_trial_is_found(size, angle, gain, positions):
    unbalance = size * np.exp(1j * angle)
    V = gain * np.abs(unbalance + np.exp(2j * np.pi * np.arange(positions) / positions))

    assert moved_trial(V, 1.0) == pytest.approx(unbalance, rel=1e-6)


@pytest.mark.parametrize(("rpm", "g_mm"), [(600, 4024.17), (900, 1788.52), (2000, 362.17)])
def test_a_trial_mass_pulls_with_a_tenth_of_the_rotors_weight(rpm, g_mm):
    """16.2 kg, G 6.3 at 2000 rpm in service."""
    assert 1e6 * trial_unbalance(16.2, rpm * RPM, 2000 * RPM, 6.3) == pytest.approx(g_mm, abs=0.01)


def test_a_trial_mass_stays_below_ten_times_what_is_permissible():
    """At 100 rpm a tenth of the weight would be 144 870 g mm; ten times G 6.3 is 4873."""
    assert 1e6 * trial_unbalance(16.2, 100 * RPM, 2000 * RPM, 6.3) == pytest.approx(4873.0, abs=0.1)


def test_five_grams_at_63_degrees_go_to_45_and_90():
    holes = np.deg2rad(np.arange(0, 360, 45))
    shares = split_to_neighbours(5 * np.exp(1j * np.deg2rad(63)), holes)

    assert shares[[1, 2]] == pytest.approx([3.210198, 2.185080], abs=1e-6)
    assert np.count_nonzero(shares) == 2


@given(size=st.floats(0.1, 50), angle=st.floats(-3.1, 3.1), holes=st.integers(3, 36))
def test_any_split_adds_up_to_the_correction(size, angle, holes):
    places = 2 * np.pi * np.arange(holes) / holes
    correction = size * np.exp(1j * angle)
    shares = split_to_neighbours(correction, places)

    assert np.sum(shares * np.exp(1j * places)) == pytest.approx(correction, rel=1e-9)
    assert (shares >= 0).all()


def test_the_choice_from_a_stock_equals_every_choice_tried_one_by_one():
    rng = np.random.default_rng(4)
    holes, stock = np.deg2rad(np.arange(0, 360, 40)), [0.3, 0.7, 1.1, 1.9]
    for _ in range(10):
        correction = complex(*rng.normal(size=2))
        chosen = [()] + [((i, a),) for i in range(9) for a in range(4)]
        chosen += [
            ((i, a), (k, b))
            for i in range(9) for k in range(9) for a in range(4) for b in range(4)
            if i < k and a != b
        ]  # fmt: skip
        left = [
            abs(correction - sum(stock[a] * np.exp(1j * holes[i]) for i, a in each))
            for each in chosen
        ]
        found = split_to_stock(correction, holes.tolist(), stock)
        assert abs(found.left) == pytest.approx(min(left), abs=1e-12)
        put = sum(stock[a] * np.exp(1j * holes[i]) for i, a in found.places)
        assert found.left == pytest.approx(correction - put)
