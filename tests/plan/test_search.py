"""Choosing points, dealing levels and ordering runs, on a synthetic envelope of eight factors."""

import itertools

import numpy as np
import pytest
from scipy.spatial.distance import cdist, pdist
from scipy.stats import energy_distance as energy_of_scipy
from scipy.stats import spearmanr
from tests.plan.env_a import FIXED_UNIT, feasible_set, holds

from spinproof.plan.exchange import mean_distances
from spinproof.plan.filling import Spending, fill
from spinproof.plan.levels import balanced_choice, match_levels
from spinproof.plan.order import order_correlation, search_order
from spinproof.plan.quality import energy_distance, nearest_distances, projection_gaps

SET = feasible_set()
CHOSEN = fill(SET, FIXED_UNIT, 55, (), seed=1)
PLAN = np.vstack([FIXED_UNIT, CHOSEN])


def test_the_feasible_share_is_that_of_the_reference_problem():
    assert SET.share == pytest.approx(0.6437, abs=0.002)
    assert holds(FIXED_UNIT).all()


def test_the_plan_of_the_reference_problem_meets_its_bars():
    """56 runs, one of them fixed; every measure by plain numpy and scipy."""
    to_tests, levels = cdist(PLAN, SET.test_unit), SET.levels(PLAN)
    inner = cdist(SET.test_unit[:4000], SET.test_unit[4000:8000]).mean()
    pairs = {
        (f, g, a, b)
        for f, g in itertools.combinations(range(8), 2)
        for a, b in levels[:, [f, g]].tolist()
    }

    assert holds(PLAN).all()
    assert pdist(PLAN).min() >= 0.62
    assert 2 * to_tests.mean() - cdist(PLAN, PLAN).mean() - inner <= 0.0080
    assert to_tests.min(axis=0).max() <= 0.95
    assert len(pairs) == 252


def test_other_seeds_do_about_as_well():
    for seed in (2, 3):
        assert pdist(fill(SET, FIXED_UNIT, 55, (), seed=seed)).min() >= 0.62


def test_chosen_points_keep_their_budgets_together():
    weight = np.eye(8)[1]
    free = float((CHOSEN @ weight).sum())
    kept = fill(SET, FIXED_UNIT, 55, (Spending("rinse", weight, 0.6 * free),), seed=1)

    assert (kept @ weight).sum() <= 0.6 * free
    assert holds(kept).all()


def test_no_point_is_chosen_when_none_is_asked_for():
    assert fill(SET, FIXED_UNIT, 0, (), seed=1).shape == (0, 8)


def test_mean_distances_are_those_of_scipy():
    rng = np.random.default_rng(2)
    points, reference = rng.random((7, 5)), rng.random((40, 5))

    assert mean_distances(points, reference) == pytest.approx(
        cdist(points, reference).mean(axis=1), abs=1e-12
    )


def test_the_energy_distance_is_the_square_of_that_of_scipy_on_a_line():
    rng = np.random.default_rng(3)
    few, many = rng.random((9, 1)), rng.random((300, 1)) ** 2
    own = energy_distance(cdist(few, many), cdist(few, few), cdist(many, many).mean())

    assert own == pytest.approx(energy_of_scipy(few[:, 0], many[:, 0]) ** 2, abs=1e-10)


def test_points_by_hand_have_the_measures_by_hand():
    unit = np.array([[0.0, 0.5], [0.6, 0.5], [0.6, 0.9]])

    assert nearest_distances(cdist(unit, unit)) == pytest.approx([0.6, 0.4, 0.4])
    assert projection_gaps(unit) == pytest.approx([0.6, 0.5])


def test_an_order_is_found_in_which_no_factor_drifts():
    rng = np.random.default_rng(5)
    values = np.column_stack([rng.random((48, 8)), rng.integers(0, 2, 48), rng.integers(0, 4, 48)])
    hard = np.arange(48) >= 43
    order = search_order(values, hard, 4, np.arange(48), seed=1)
    found = values[order]
    places = np.flatnonzero(hard[order])

    assert sorted(order) == list(range(48))
    rho = [abs(spearmanr(np.arange(48), column).statistic) for column in found.T]
    assert order_correlation(found) == pytest.approx(max(rho), abs=1e-10)
    assert max(rho) <= 0.05
    assert np.diff(places).min() >= 4
    changes = 1 + np.count_nonzero(np.diff(found[:, 8]))
    assert 17 <= changes <= 33, "heated runs are neither in clusters nor in strict turns"


def test_only_those_runs_change_places_that_may():
    values = np.random.default_rng(6).random((12, 10))
    order = search_order(values, np.zeros(12, dtype=bool), 3, np.array([2, 5, 7]), seed=1)

    assert [i for i in range(12) if order[i] != i or i in {2, 5, 7}] == [2, 5, 7]


def test_options_are_used_equally_or_once_more():
    chosen = balanced_choice(range(4), [0, 0, 1], 7, seed=1)

    counts = [chosen.count(i) + [2, 1, 0, 0][i] for i in range(4)]
    assert sorted(counts) == [2, 2, 3, 3]


def test_levels_are_dealt_so_that_every_pair_is_seen():
    """Two levels by three levels need six of twelve runs; sorted as they come they show four."""
    free = np.column_stack([np.repeat([0, 1, 2], 4), np.repeat([0, 1], 6)]).astype(np.int64)
    possible = np.zeros((2, 2, 3, 3), dtype=bool)
    possible[1, 0, :2, :] = True
    dealt = match_levels(np.empty((0, 2), dtype=np.int64), free, 1, possible, seed=1)

    pairs = [tuple(row) for row in dealt.tolist()]
    assert {pair: pairs.count(pair) for pair in pairs} == dict.fromkeys(
        itertools.product(range(3), range(2)), 2
    )
