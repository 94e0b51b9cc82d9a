"""Counts: intervals that cover, bounds that order, refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import poisson

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.counts import (
    adders,
    count_interval,
    count_upper_bound,
    counting_limits,
    dispersion,
    excess_zeros,
    share_upper_bound,
)


@given(mean=st.floats(0.1, 60), coverage=st.sampled_from([0.8, 0.9, 0.95]))
def test_the_interval_covers_the_expected_count_at_least_as_often_as_it_says(mean, coverage):
    counts = range(int(poisson.ppf(1e-9, mean)), int(poisson.ppf(1 - 1e-9, mean)) + 1)
    covered = 0.0
    for count in counts:
        low, high = count_interval(count, coverage)
        covered += poisson.pmf(count, mean) if low <= mean <= high else 0.0

    assert covered >= coverage - 1e-6


@given(before=st.integers(0, 60), after=st.integers(0, 60))
def test_what_was_added_is_inside_its_interval_and_mirrors_what_was_taken(before, after):
    there, back = adders(before, after), adders(after, before)

    assert there.lower <= there.difference <= there.upper
    assert (there.lower, there.upper) == pytest.approx((-back.upper, -back.lower), abs=1e-6)
    assert there.chance_sharp <= there.chance + 1e-9 or after <= before


@given(before=st.integers(0, 40), after=st.integers(0, 40))
def test_more_after_is_never_less_of_an_adder(before, after):
    fewer, more = adders(before, after), adders(before, after + 1)

    assert more.chance <= fewer.chance
    assert more.lower > fewer.lower
    assert more.upper > fewer.upper


def test_nothing_before_and_nothing_after_still_allows_a_few():
    nothing = adders(0, 0)

    assert (nothing.difference, nothing.chance, nothing.chance_sharp) == (0, 1.0, 1.0)
    assert nothing.upper == pytest.approx(1.959964**2, abs=1e-4)


def test_very_many_counts_use_the_exact_chance_for_both():
    many = adders(20_000, 20_500)

    assert many.chance_sharp == many.chance


@given(
    found=st.integers(0, 20),
    inspected=st.integers(25, 400),
    alike=st.floats(0, 1),
    group=st.integers(1, 25),
)
def test_likeness_within_groups_never_improves_a_bound(found, inspected, alike, group):
    apart = share_upper_bound(found, inspected)
    tied = share_upper_bound(found, inspected, alike=alike, group=group)

    assert tied >= apart - 1e-12


def test_a_group_that_was_not_inspected_whole_still_counts_as_one():
    assert share_upper_bound(0, 13, alike=1.0, group=25) == pytest.approx(0.95)


def test_even_counts_show_no_scatter_and_no_excess_of_zeros():
    index, chance = dispersion([4, 4, 4, 4])
    _, zeros = excess_zeros(np.random.default_rng(1).poisson(2.0, 300))

    assert (index, chance) == (0.0, 1.0)
    assert zeros > 0.05


WRONG = {
    "negative count": lambda: count_interval(-1),
    "certain": lambda: count_interval(1, 1.0),
    "negative bound": lambda: count_upper_bound(-1),
    "negative before": lambda: adders(-1, 3),
    "certain difference": lambda: adders(1, 3, 1.0),
    "more found than inspected": lambda: share_upper_bound(3, 2),
    "none inspected": lambda: share_upper_bound(0, 0),
    "negative found": lambda: share_upper_bound(-1, 5),
    "unlike": lambda: share_upper_bound(0, 5, alike=1.1, group=2),
    "empty group": lambda: share_upper_bound(0, 5, group=0),
    "all zero": lambda: dispersion([0, 0, 0]),
    "one count": lambda: dispersion([3]),
    "negative counts": lambda: dispersion([3, -1]),
    "no zeros to judge": lambda: excess_zeros([0, 0]),
    "negative background": lambda: counting_limits(-1.0),
}


@pytest.mark.parametrize("wrong", WRONG.values(), ids=WRONG)
def test_counts_that_make_no_sense_are_refused(wrong):
    with pytest.raises(OutOfRangeError):
        wrong()
