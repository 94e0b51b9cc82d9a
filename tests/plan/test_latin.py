"""Latin hypercubes: what they are, how far apart their rows stand, and limits on rows."""

import numpy as np
import pytest

from spinproof.model.errors import PlanError
from spinproof.plan.latin import RowLimit, latin_levels, smallest_squared_distance

TWO_SECONDS = 12_000_000
"""Swaps that take less than two seconds of one core of an ordinary machine."""
FAST_NOT_LONG = RowLimit((1.0, 1.0) + (0.0,) * 8, 1.5)
DEEP_AFTER_HARD = RowLimit((0.0, 0.0, -1.0, 1.0) + (0.0,) * 6, 0.6)


def is_latin(levels: np.ndarray) -> bool:
    return bool((np.sort(levels, axis=0) == np.arange(len(levels))[:, np.newaxis]).all())


@pytest.mark.parametrize(("runs", "factors", "bar"), [(56, 8, 2480), (60, 10, 4000)])
def test_rows_stand_far_apart_after_two_seconds_of_swaps(runs: int, factors: int, bar: int):
    levels = latin_levels(runs, factors, seed=1, swaps=TWO_SECONDS)

    assert is_latin(levels)
    assert smallest_squared_distance(levels) >= bar


def test_limits_on_rows_hold_in_every_row_and_cost_little():
    limits = (FAST_NOT_LONG, DEEP_AFTER_HARD)
    levels = latin_levels(60, 10, seed=1, swaps=TWO_SECONDS, limits=limits)
    unit = levels / 59

    assert is_latin(levels)
    assert (unit[:, 0] + unit[:, 1]).max() <= 1.5 + 1e-9
    assert (unit[:, 3] - unit[:, 2]).max() <= 0.6 + 1e-9
    assert smallest_squared_distance(levels) >= 3950


def test_limits_that_only_sorted_columns_keep_are_kept():
    """The sum of two columns is the same in every row only when one is the other upside down."""
    levels = latin_levels(12, 3, seed=4, swaps=50_000, limits=(RowLimit((1.0, 1.0, 0.0), 1.0),))

    assert is_latin(levels)
    assert (levels[:, 0] + levels[:, 1] == 11).all()


def test_the_same_seed_gives_the_same_rows_and_another_seed_others():
    first = latin_levels(20, 5, seed=7, swaps=20_000)

    assert (latin_levels(20, 5, seed=7, swaps=20_000) == first).all()
    assert (latin_levels(20, 5, seed=8, swaps=20_000) != first).any()


@pytest.mark.parametrize(("runs", "factors"), [(2, 1), (3, 2), (5, 1)])
def test_the_smallest_designs_are_no_special_case(runs: int, factors: int):
    assert is_latin(latin_levels(runs, factors, seed=1, swaps=100))


def test_no_pair_is_lost_beside_closer_ones_however_high_the_power():
    """In floating point a high power hides all pairs but the closest, and the search stalls."""
    levels = latin_levels(60, 10, seed=3, swaps=2_000_000)

    assert smallest_squared_distance(levels) > 0.95 * 3916


@pytest.mark.parametrize(
    ("runs", "factors", "limits"),
    [(1, 3, ()), (5, 0, ()), (5, 2, (RowLimit((1.0,), 1.0),))],
)
def test_numbers_without_a_design_are_refused(runs: int, factors: int, limits: tuple):
    with pytest.raises(PlanError, match="does not exist"):
        latin_levels(runs, factors, seed=1, swaps=10, limits=limits)


def test_limits_that_no_design_keeps_are_refused():
    """Each level comes once, so that the middle row sum cannot lie below one."""
    with pytest.raises(PlanError, match="no Latin hypercube was found"):
        latin_levels(10, 2, seed=1, swaps=10, limits=(RowLimit((1.0, 1.0), 0.9),))
