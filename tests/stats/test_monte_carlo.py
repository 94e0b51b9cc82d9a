"""Simulations: seeded, stable within what they declare, honest when they are not."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.distributions import Gaussian, Rectangular, StudentT
from spinproof.stats.monte_carlo import coverage_intervals, numerical_tolerance, simulate
from spinproof.stats.uncertainty import Input, budget


def inputs():
    return [Input("a", Gaussian(1.0, 0.3)), Input("b", Rectangular(1.5, 2.5))]


def product(a, b):
    return a * b


def first(*inputs):
    return inputs[0]


def constant_model(*_inputs):
    return 4.0


def seeded(seed):
    return np.random.default_rng(seed)


def test_the_same_seed_gives_the_same_numbers():
    assert simulate(product, inputs(), seeded(5)) == simulate(product, inputs(), seeded(5))


def test_hardly_any_seed_leaves_the_declared_tolerance():
    """Against the exact moments of the product; twice the standard deviation is 95 %."""
    mean, deviation = 2.0, np.sqrt(0.3**2 * (2.0**2 + 1 / 12) + 1 / 12)
    results = [simulate(product, inputs(), seeded(seed)) for seed in range(20)]
    kept = [
        abs(each.value - mean) <= each.tolerance
        and abs(each.uncertainty - deviation) <= each.tolerance
        for each in results
    ]

    assert all(each.settled for each in results)
    assert sum(kept) >= 19


def test_more_digits_take_more_trials():
    known = [Input("x", Gaussian(0.0, 1.1))]
    rough, fine = (simulate(lambda x: x, known, seeded(1), digits=d) for d in (1, 3))

    assert rough.trials == 100_000 < fine.trials
    assert rough.tolerance == pytest.approx(100 * fine.tolerance)


def test_a_simulation_that_ran_out_of_trials_says_so():
    result = simulate(product, inputs(), seeded(1), digits=4, most_trials=30_000)

    assert not result.settled
    assert result.trials == 30_000


def test_a_higher_coverage_takes_larger_batches_and_gives_a_wider_interval():
    usual, wide = (simulate(product, inputs(), seeded(1), coverage=p) for p in (0.9, 0.995))

    assert wide.trials % 20_000 == 0
    assert wide.symmetric[0] < usual.symmetric[0] < usual.symmetric[1] < wide.symmetric[1]


def test_the_shortest_interval_is_no_longer_than_the_symmetric_one():
    skewed = simulate(np.exp, [Input("x", Gaussian(0.0, 0.6))], seeded(2), digits=1)
    length = [high - low for low, high in (skewed.shortest, skewed.symmetric)]

    assert length[0] < 0.95 * length[1]


def test_a_certain_input_gives_a_certain_result():
    result = simulate(lambda a: 2 * a, [Input("a", Gaussian(3.0, 0.0))], seeded(1))

    assert (result.value, result.uncertainty, result.symmetric) == (6.0, 0.0, (6.0, 6.0))
    assert result.settled


def test_a_constant_model_is_a_constant_result():
    assert simulate(constant_model, [Input("a", Gaussian(3.0, 1.0))], seeded(1)).value == 4.0


@pytest.mark.parametrize("r", [-0.8, 0.6, 1.0])
def test_correlated_draws_give_the_spread_that_the_law_of_propagation_gives(r):
    """A sum of two correlated inputs, one independent normal and one rectangular input."""
    four = [
        Input("flat", Rectangular(-0.5, 0.5)),
        Input("a", Gaussian(1.0, 0.3)),
        Input("free", Gaussian(0.0, 0.2)),
        Input("b", Gaussian(2.0, 0.4)),
    ]
    total = budget(lambda *x: sum(x), four, {("a", "b"): r})
    drawn = simulate(lambda *x: sum(x), four, seeded(8), correlations={("a", "b"): r})

    assert drawn.uncertainty == pytest.approx(total.uncertainty, abs=drawn.tolerance)
    assert drawn.value == pytest.approx(3.0, abs=drawn.tolerance)


def test_a_correlated_input_without_uncertainty_stays_where_it_is():
    two = [Input("a", Gaussian(1.0, 0.0)), Input("b", Gaussian(2.0, 0.4))]
    drawn = simulate(first, two, seeded(1), correlations={("a", "b"): 0.5})

    assert (drawn.value, drawn.uncertainty) == (1.0, 0.0)


@given(st.lists(st.floats(-1e6, 1e6), min_size=25, max_size=200), st.sampled_from([0.5, 0.9, 0.95]))
def test_both_intervals_hold_their_share_of_the_values(values, coverage):
    for low, high in coverage_intervals(values, coverage):
        inside = sum(low <= each <= high for each in values)
        assert inside >= int(coverage * len(values) + 0.5)


@given(u=st.floats(1e-9, 1e9), digits=st.integers(1, 4))
def test_the_tolerance_is_half_a_unit_of_the_last_digit(u, digits):
    tolerance = numerical_tolerance(u, digits)
    units = u / (2 * tolerance)

    assert 10 ** (digits - 1) - 0.5 <= units <= 10**digits


WRONG = {
    "no inputs": lambda: simulate(lambda: 1.0, [], seeded(1)),
    "certain coverage": lambda: simulate(product, inputs(), seeded(1), coverage=1.0),
    "no digits": lambda: simulate(product, inputs(), seeded(1), digits=0),
    "no trials": lambda: simulate(product, inputs(), seeded(1), most_trials=0),
    "no logarithm": lambda: simulate(lambda a, b: np.log(a - b), inputs(), seeded(1)),
    "tied rectangle": lambda: simulate(
        product, inputs(), seeded(1), correlations={("a", "b"): 0.5}
    ),
    "tied stranger": lambda: simulate(product, inputs(), seeded(1), correlations={("a", "z"): 0.5}),
    "too few": lambda: coverage_intervals([1.0, 2.0, 3.0], 0.99),
    "no coverage": lambda: coverage_intervals([1.0, 2.0, 3.0], 0.0),
    "negative": lambda: numerical_tolerance(-1.0, 2),
    "endless": lambda: numerical_tolerance(float("inf"), 2),
    "no digit": lambda: numerical_tolerance(1.0, 0),
}


@pytest.mark.parametrize("wrong", WRONG.values(), ids=WRONG)
def test_what_cannot_be_drawn_is_refused(wrong):
    with pytest.raises(OutOfRangeError):
        wrong()


def test_a_heavy_tail_is_drawn_as_it_is():
    """Three degrees of freedom: the deviation is √3 times what a budget uses."""
    tail = simulate(
        lambda x: x, [Input("x", StudentT(0.0, 1.0, 3))], seeded(4), digits=1, most_trials=200_000
    )

    assert tail.uncertainty == pytest.approx(np.sqrt(3), rel=0.05)
