"""Balancing: the demo's spare rotor, several speeds, uncertainty, and what is refused."""

import numpy as np
import pytest

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.balance_quality import (
    grade_of,
    plane_limits,
    shares_between_bearings,
    shares_overhung,
    unbalance_budget,
)
from spinproof.physics.balancing import (
    TrialRuns,
    correct,
    influence,
    level,
    trial_change,
    weakest_plane,
)
from spinproof.physics.balancing_spread import (
    correction_spread,
    residual_spread,
    single_plane_spread,
)
from spinproof.physics.balancing_without_phase import four_runs, moved_trial
from spinproof.physics.containment import CAUTION, fragment_energy, fragment_speed, rim_stress
from spinproof.physics.drive import (
    drive_power,
    highest_acceleration,
    ramp_torque,
    speed_reached,
    speed_up_time,
    stopping_torque,
)
from spinproof.physics.load_balance import (
    flat_unbalance,
    load_unbalance,
    plane_unbalances,
    spread_mass_unbalance,
    wafer_mass,
)
from spinproof.physics.rotor import permissible_unbalance
from spinproof.physics.trial_mass import split_to_neighbours, split_to_stock, trial_unbalance


def at(*pairs: float) -> np.ndarray:
    return np.array(pairs[::2]) * np.exp(1j * np.deg2rad(pairs[1::2]))


FOUND = at(1.670, 184.9, 1.661, 254.3)
TRIALS = np.array([at(0.956, 145.6, 1.305, 259.8), at(1.546, 170.1, 1.181, 300.8)])
MASSES = np.array([5.0 * 120, 5.0 * 120]) * 1e-6
RUNS = TrialRuns(FOUND, TRIALS, MASSES, np.array([False, False]))


def test_the_demos_spare_rotor_gets_its_corrections():
    """9.397 g at 317.03 degrees and 6.090 g at 70.95 degrees (truth 9.4@317 and 6.1@71)."""
    answer = correct(FOUND, influence(FOUND, TRIALS, MASSES, [False, False]))
    grams = np.abs(answer.added) / 0.12 * 1e3

    assert grams == pytest.approx([9.397, 6.090], abs=5e-4)
    assert np.rad2deg(np.angle(answer.added)) % 360 == pytest.approx([317.03, 70.95], abs=5e-3)
    assert answer.condition == pytest.approx(1.85, abs=5e-3)
    assert np.abs(answer.left) == pytest.approx([0, 0], abs=1e-12)


@pytest.mark.parametrize("kept", [(False, False, False), (True, True, True), (True, False, True)])
def test_corrections_do_not_depend_on_whether_trial_masses_stay_when_it_is_said(kept):
    rng = np.random.default_rng(2)
    alpha = rng.normal(size=(8, 3)) + 1j * rng.normal(size=(8, 3))
    unbalance, masses = np.array([3 + 1j, -2j, 1.5]), np.array([1.0, 2j, -1.0])
    found, trials, on = alpha @ unbalance, [], np.zeros(3, complex)
    for plane in range(3):
        fitted = on.copy()
        fitted[plane] += masses[plane]
        trials.append(alpha @ (unbalance + fitted))
        on = fitted if kept[plane] else on

    answer = correct(found, influence(found, trials, masses, kept))
    assert answer.added == pytest.approx(-unbalance, rel=1e-9)


def test_several_speeds_are_balanced_at_once_by_least_squares():
    """No change of any mass leaves less; that of two random directions is tried."""
    rng = np.random.default_rng(3)
    alpha = rng.normal(size=(6, 2)) + 1j * rng.normal(size=(6, 2))
    found = rng.normal(size=6) + 1j * rng.normal(size=6)
    weights = np.array([1, 2, 3, 1, 1, 0.5])
    answer = correct(found, alpha, weights)

    least = np.sum(weights * np.abs(answer.left) ** 2)
    for step in 1e-3 * (rng.normal(size=(20, 2)) + 1j * rng.normal(size=(20, 2))):
        assert np.sum(weights * np.abs(answer.left + alpha @ step) ** 2) > least
    assert np.abs(level(found, alpha).left).max() < np.abs(correct(found, alpha).left).max()


def test_the_spread_of_one_plane_agrees_by_monte_carlo_and_by_linear_propagation():
    """6@30 to 7.2@75 with 2 % and 1 degree: 0.60634 of 11.60171 units."""
    found, trial = at(6, 30), at(7.2, 75)
    linear = single_plane_spread(complex(found[0]), complex(trial[0]), 0.02, np.deg2rad(1))
    runs = TrialRuns(found, trial[np.newaxis], np.array([10 + 0j]), np.array([False]))
    drawn = correction_spread(runs, relative=0.02, phase=np.deg2rad(1), draws=100_000, seed=1)

    assert linear * 11.60171 == pytest.approx(0.60634, abs=1e-5)
    assert drawn.vector == pytest.approx([0.60634], rel=0.01)
    assert np.hypot(drawn.amount, drawn.angle * 11.60171) == pytest.approx(drawn.vector, rel=0.02)


def test_a_residual_comes_with_its_uncertainty_and_hangs_on_the_floor_of_the_readings():
    alpha = influence(FOUND, TRIALS, MASSES, [False, False])
    left = np.array([40e-6 * np.exp(1j), 50e-6 * np.exp(2j)])
    residual, quiet = residual_spread(alpha @ left, RUNS, relative=0.01, phase=0.01, seed=1)
    _, noisy = residual_spread(alpha @ left, RUNS, relative=0.01, phase=0.01, floor=0.02, seed=1)

    assert residual == pytest.approx(left)
    assert (noisy.vector > 3 * quiet.vector).all()
    # the floor alone, by linear propagation, with two components each
    inverse = np.linalg.inv(alpha)
    floor = np.sqrt(2) * 0.02 * np.sqrt(np.sum(np.abs(inverse) ** 2, axis=1))
    assert noisy.vector == pytest.approx(floor, rel=0.1)


def test_the_same_seed_gives_the_same_spread():
    one, other, third = (
        correction_spread(RUNS, relative=0.02, phase=0.02, draws=500, seed=seed)
        for seed in (1, 1, 2)
    )

    assert one.vector.tolist() == other.vector.tolist()
    assert one.vector.tolist() != third.vector.tolist()


def test_a_trial_that_moved_little_is_told_by_its_change():
    assert trial_change(FOUND, TRIALS[0]) == pytest.approx(0.66, abs=0.05)
    assert trial_change([1 + 0j], [1.1 + 0j]) == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"unbalances": [0.0, 5.0]}, "trial mass of every trial run"),
        ({"unbalances": [np.nan, 5.0]}, "trial mass of every trial run"),
        ({"trials": np.array([FOUND, TRIALS[1]])}, "plane 1 changed nothing"),
        ({"trials": np.zeros((0, 2)), "unbalances": [], "kept": []}, "a run with a trial mass"),
        ({"trials": TRIALS[:1]}, "a run with a trial mass for each plane"),
        ({"found": FOUND[:1], "trials": TRIALS[:, :1]}, "as many readings"),
        ({"found": [np.inf, 1.0]}, "finite readings"),
        ({"kept": [False]}, "say for each whether"),
    ],
)
def test_readings_that_show_no_influence_are_refused(change, said):
    given = {"found": FOUND, "trials": TRIALS, "unbalances": MASSES, "kept": [False, False]}

    with pytest.raises(OutOfRangeError) as caught:
        influence(**given | change)
    assert said in caught.value.mend


@pytest.mark.parametrize(
    ("law", "inputs"),
    [
        (correct, ([1.0, 2.0], [[1.0, 1.0], [1.0, 1.0]])),
        (correct, ([1.0], [[1.0, 1.0]])),
        (correct, ([1.0, np.nan], [[1.0], [1.0]])),
        (correct, ([1.0, 1.0], [[1.0], [1.0]], [-1.0, 1.0])),
        (weakest_plane, ([[1.0], [2.0]],)),
        (trial_change, ([0.0], [1.0])),
        (single_plane_spread, (1.0, 1.0, 0.1, 0.1)),
        (four_runs, (0.0, [1.0, 1.0, 1.0], 1.0)),
        (four_runs, (1.0, [1.0, 1.0], 1.0)),
        (four_runs, (1.0, [1.0, 1.0, 1.0], 0.0)),
        (four_runs, (1.0, [1.0, 1.0, 1.0], 1.0)),
        (moved_trial, ([1.0] * 5, 1.0)),
        (moved_trial, ([1.0] * 6, 0.0)),
        (moved_trial, ([0.0] * 6, 1.0)),
        (moved_trial, ([9.0, 0, 0, 0, 0, 0], 1.0)),
        (trial_unbalance, (0.0, 1.0, 2.0, 6.3)),
        (trial_unbalance, (1.0, 3.0, 2.0, 6.3)),
        (trial_unbalance, (1.0, 1.0, 2.0, 0.0)),
        (split_to_neighbours, (1 + 0j, [1.0])),
        (split_to_neighbours, (1 + 0j, [])),
        (split_to_neighbours, (-1 + 0j, [0.5, -0.5])),
        (split_to_stock, (1 + 0j, [], [1.0])),
        (split_to_stock, (1 + 0j, [0.0], [])),
        (split_to_stock, (1 + 0j, [0.0], [0.0])),
        (split_to_stock, (1 + 0j, [0.0], [1.0], 4)),
        (split_to_stock, (1 + 0j, [0.0] * 50, [1.0] * 50, 3)),
        (permissible_unbalance, (0.0, 16.2, 200.0)),
        (grade_of, (1e-6, 0.0, 1.0)),
        (shares_between_bearings, (1.0, 0.0, 0.0)),
        (shares_overhung, (1.0, 0.1, 0.0)),
        (plane_limits, (1.0, 0.0)),
        (unbalance_budget, ()),
        (unbalance_budget, (1.0, -1.0)),
        (load_unbalance, ([-1.0], [0j], [0.0])),
        (load_unbalance, ([1.0], [0j], [np.nan])),
        (plane_unbalances, (1j, 1j, 0.0)),
        (wafer_mass, (0.0, 1.0)),
        (flat_unbalance, (-1.0, 1.0)),
        (spread_mass_unbalance, (1, 1.0, -1.0)),
        (ramp_torque, (0.0, 1.0, 0.0)),
        (drive_power, (np.nan, 1.0)),
        (highest_acceleration, (0.0, 1.0, 0.1, 0.0, 0.0, 1.0)),
        (speed_up_time, (0.22, 0.3, 0.35, 0.0, 0.0, 0.0, 1.0)),
        (speed_up_time, (0.22, 1.0, 0.35, 0.0, 0.0, 2.0, 1.0)),
        (speed_reached, (1.0, 0.1, 0.0, 0.0)),
        (stopping_torque, (0.22, 1.0, 0.0)),
        (fragment_speed, (-1.0, 1.0)),
        (fragment_energy, (-1.0, 1.0, 1.0)),
        (rim_stress, (0.0, 1.0, 1.0)),
    ],
)
def test_inputs_that_mean_nothing_are_refused(law, inputs):
    with pytest.raises(OutOfRangeError) as caught:
        law(*inputs)
    assert caught.value.mask.any()


@pytest.mark.parametrize("wrong", [{"relative": -0.1}, {"phase": -0.1}, {"draws": 10}])
def test_a_spread_needs_uncertainties_and_enough_draws(wrong):
    with pytest.raises(OutOfRangeError):
        correction_spread(RUNS, **{"relative": 0.01, "phase": 0.01} | wrong)


def test_a_correction_at_a_hole_goes_into_that_hole():
    holes = np.deg2rad([0, 90, 180, 270])

    assert split_to_neighbours(5j, holes) == pytest.approx([0, 5, 0, 0], abs=1e-12)
    assert split_to_neighbours(0j, holes).tolist() == [0, 0, 0, 0]


def test_nothing_is_fitted_where_the_stock_would_only_make_it_worse():
    assert split_to_stock(0.1 + 0j, [0.0, 1.0], [1.0]).places == ()
    assert split_to_stock(1 + 0j, [0.0, 1.0], [1.0]).places == ((0, 0),)


def test_the_caution_defers_to_codes_and_calls_nothing_safe():
    assert "local codes and licensed practice" in CAUTION
    assert "safe" not in CAUTION


def test_a_budget_adds_in_quadrature():
    assert unbalance_budget(3.0, 4.0, [0.0, 12.0]) == pytest.approx([5.0, 13.0])
