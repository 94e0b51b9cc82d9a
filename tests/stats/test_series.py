"""Charts and drift: what they refuse, and what must hold for any series."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.charts import (
    Centre,
    centre_of,
    cumulative_sums,
    ewma_chart,
    individuals_chart,
)
from spinproof.stats.drift import (
    change_point,
    discounted,
    false_discoveries,
    likeness_of,
    trend_of,
)

STEADY = Centre(0.0, 1.0, 20)
SERIES = st.lists(st.integers(-50, 50).map(float), min_size=4, max_size=40)


@given(SERIES)
def test_the_sums_are_those_of_the_recursion(values):
    sums, above, below = cumulative_sums(values, 1.0, 0.5, 7.0), 0.0, 0.0
    for i, value in enumerate(values):
        above, below = max(0.0, above + value - 1.5), max(0.0, below + 0.5 - value)
        assert (sums.above[i], sums.below[i]) == (above, below)
        assert (i in sums.signals) == (above > 7 or below > 7)


@given(SERIES)
def test_a_series_told_backwards_has_the_opposite_trend(values):
    ahead, back = trend_of(values), trend_of(values[::-1])

    assert (ahead.score, ahead.chance) == (-back.score, pytest.approx(back.chance))


@given(SERIES)
def test_a_chart_of_weight_one_shows_the_values(values):
    assert ewma_chart(values, STEADY, weight=1.0).values.tolist() == values


@given(st.lists(st.floats(0, 1), max_size=20))
def test_fewer_false_discoveries_are_allowed_than_single_tests(chances):
    stands = false_discoveries(chances)

    assert all(chance <= 0.05 for chance, kept in zip(chances, stands, strict=True) if kept)


def test_a_constant_series_has_no_trend_and_no_spread():
    trend = trend_of([3.0] * 6)

    assert (trend.score, trend.chance, trend.slope) == (0, 1.0, 0.0)
    assert centre_of([3.0] * 6).deviation == 0.0
    assert change_point([3.0] * 6).chance == 1.0


@pytest.mark.parametrize(
    ("law", "inputs"),
    [
        (centre_of, ([1.0],)),
        (centre_of, ([1.0, float("nan")],)),
        (individuals_chart, ([], STEADY)),
        (ewma_chart, ([1.0], STEADY, 0.0)),
        (cumulative_sums, ([1.0], 0.0, 0.0, 4.0)),
        (trend_of, ([1.0, 2.0, 3.0],)),
        (change_point, ([1.0, 2.0, float("inf"), 3.0],)),
        (false_discoveries, ([1.2],)),
        (discounted, (0.5, 1.0)),
        (likeness_of, ([1.0, -1.0],)),
    ],
)
def test_what_is_no_series_is_refused(law, inputs):
    with pytest.raises(OutOfRangeError):
        law(*inputs)


def test_a_change_is_found_where_it_began():
    values = np.concatenate((np.zeros(12), np.full(9, 2.0))) + 0.1 * np.sin(np.arange(21))

    assert cumulative_sums(values, 0.0, 0.5, 4.0).since == 12
    assert change_point(values).first_after == 12


def first_order(count, phi, rng):
    x = rng.standard_normal(count)
    for i in range(1, count):
        x[i] = phi * x[i - 1] + np.sqrt(1 - phi**2) * x[i]
    return x


def test_neighbours_that_resemble_one_another_are_seen_and_discounted():
    rng = np.random.default_rng(8)
    seen = [likeness_of(x - x.mean()) for x in (first_order(60, 0.5, rng) for _ in range(200))]
    alone = [likeness_of(x - x.mean()) for x in (first_order(60, 0.0, rng) for _ in range(200))]

    assert np.mean(seen) == pytest.approx(0.5, abs=0.06)
    assert np.mean([r > 0 for r in alone]) < 0.3
    assert likeness_of(np.zeros(9)) == 0
    assert discounted(0.001, 0.5) > 0.05 > discounted(0.001, 0.1)


def test_a_discounted_trend_keeps_its_chance_on_correlated_series():
    rng, plain, held = np.random.default_rng(9), 0, 0
    for _ in range(400):
        x = first_order(50, 0.4, rng)
        chance = trend_of(x).chance
        plain += chance <= 0.05
        held += discounted(chance, likeness_of(x - x.mean())) <= 0.05
    # a chance of 5 % gives 20 of 400; 33 or more come by chance once in 180 such tests
    assert plain > 50
    assert held <= 32
