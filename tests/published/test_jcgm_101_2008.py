"""Propagation of distributions against the worked examples of JCGM 101:2008, clause 9.

Printed results are from memory unless said otherwise; the inputs of 9.4 and 9.5 were seen in a
public data set that quotes the guide. Where a closed form exists, it stands beside them. The
tolerance is that of the simulation: the digits asked of it.
"""

from math import sqrt

import numpy as np
import pytest

from spinproof.stats.distributions import (
    CurvilinearTrapezoid,
    Gaussian,
    Rectangular,
    StudentT,
    UShaped,
)
from spinproof.stats.monte_carlo import budget_holds, numerical_tolerance, simulate
from spinproof.stats.uncertainty import Input, budget

pytestmark = pytest.mark.source("JCGM 101:2008, 9", kind="from memory")


def draws():
    return np.random.default_rng(20080101)


def total(*inputs):
    return sum(inputs)


def rectangle(u):
    """Give a rectangular distribution about zero with this standard uncertainty."""
    return Rectangular(-u * sqrt(3), u * sqrt(3))


def named(*distributions):
    return [Input(f"X{k}", each) for k, each in enumerate(distributions, 1)]


def mass_difference(reference, added, air, weight, standard):
    """Deviation of a weight from 100 g, in mg (9.3)."""
    return (reference + added) * (1 + (air - 1.2) * (1 / weight - 1 / standard)) - 100_000


WEIGHT = [
    Input("m_Rc", Gaussian(100_000.0, 0.050)),
    Input("delta_m_Rc", Gaussian(1.234, 0.020)),
    Input("rho_a", Rectangular(1.10, 1.30)),
    Input("rho_W", Rectangular(7000.0, 9000.0)),
    Input("rho_R", Rectangular(7950.0, 8050.0)),
]


def loss(one, other):
    """Comparison loss (9.4)."""
    return one**2 + other**2


def length(standard, difference, random, systematic, alpha, theta, swing, mismatch, gradient):
    """Deviation of a gauge block from 50 mm, in nm (9.5)."""
    warm = mismatch * (theta + swing) + alpha * gradient
    return standard + difference + random + systematic - standard * warm - 50_000_000.0


GAUGE_BLOCK = [
    Input("L_S", StudentT(50_000_623.0, 25.0, 18)),
    Input("D", StudentT(215.0, 6.0, 24)),
    Input("d_1", StudentT(0.0, 4.0, 5)),
    Input("d_2", StudentT(0.0, 7.0, 8)),
    Input("alpha_S", Rectangular(9.5e-6, 13.5e-6)),
    Input("theta_0", Gaussian(-0.1, 0.2)),
    Input("Delta", UShaped(-0.5, 0.5)),
    Input("delta_alpha", CurvilinearTrapezoid(-1e-6, 1e-6, 0.1e-6), 50),
    Input("delta_theta", CurvilinearTrapezoid(-0.05, 0.05, 0.025), 2),
]


def test_the_sum_of_four_normal_inputs_of_9_2_2():
    result = simulate(total, named(*[Gaussian(0.0, 1.0)] * 4), draws(), digits=3)

    assert result.uncertainty == pytest.approx(2.0, abs=0.01)
    assert result.symmetric == pytest.approx((-3.92, 3.92), abs=0.01)
    assert budget_holds(budget(total, named(*[Gaussian(0.0, 1.0)] * 4)), result, digits=2)


def test_the_sum_of_four_rectangular_inputs_of_9_2_3():
    """The exact end is 2√3 [2 - (3/5)^(1/4)] = 3.87941; a budget says 3.92."""
    inputs = named(*[rectangle(1.0)] * 4)
    result = simulate(total, inputs, draws(), digits=3)
    end = 2 * sqrt(3) * (2 - (3 / 5) ** 0.25)

    assert end == pytest.approx(3.87941, abs=1e-5)
    assert result.uncertainty == pytest.approx(2.0, abs=0.01)
    assert result.symmetric == pytest.approx((-end, end), abs=0.01)
    assert result.shortest == pytest.approx((-end, end), abs=0.06)


def test_one_rectangular_input_ten_times_as_wide_of_9_2_4():
    """Printed: u = 10.1, ends ± 17.0 by simulation, ± 19.9 by a budget."""
    inputs = named(*[rectangle(1.0)] * 3, rectangle(10.0))
    result, line = simulate(total, inputs, draws(), digits=3), budget(total, inputs)

    assert result.uncertainty == pytest.approx(sqrt(103), abs=0.05)
    assert result.symmetric == pytest.approx((-17.0, 17.0), abs=0.1)
    assert line.uncertainty == pytest.approx(sqrt(103), rel=1e-9)
    assert line.interval() == pytest.approx((-19.89, 19.89), abs=0.005)
    assert not budget_holds(line, result, digits=2)


def test_the_mass_calibration_of_9_3_by_simulation():
    """Printed: 1.2341 mg, u = 0.0754 mg, shortest 95 % interval 1.0834 to 1.3825 mg."""
    result = simulate(mass_difference, WEIGHT, draws(), digits=2)

    assert result.settled
    assert result.value == pytest.approx(1.2341, abs=5e-4)
    assert result.uncertainty == pytest.approx(0.0754, abs=5e-4)
    assert result.shortest == pytest.approx((1.0834, 1.3825), abs=2e-3)
    assert result.symmetric == pytest.approx((1.0844, 1.3834), abs=2e-3)


def test_the_mass_calibration_of_9_3_by_a_budget_of_first_and_second_order():
    """Printed: u = 0.0539 and 1.1285 to 1.3395 mg of first order, u = 0.0750 mg with the next."""
    first, second = (budget(mass_difference, WEIGHT, curved=flag) for flag in (False, True))
    result = simulate(mass_difference, WEIGHT, draws(), digits=2)

    assert first.uncertainty == pytest.approx(0.053852, abs=1e-6)
    assert first.interval() == pytest.approx((1.12845, 1.33955), abs=1e-5)
    assert second.uncertainty == pytest.approx(0.074963, abs=5e-6)
    assert not budget_holds(first, result)
    assert budget_holds(second, result)


@pytest.mark.source(
    "JCGM 101:2008, 9.4, by the moments of normal squares", kind="independent route"
)
@pytest.mark.parametrize("correlation", [0.0, 0.9])
@pytest.mark.parametrize("reflection", [0.0, 0.010, 0.050])
def test_the_comparison_loss_of_9_4_has_its_exact_moments(reflection, correlation):
    """Mean x1² + 2u², variance 4 x1² u² + 4 u⁴ (1 + r²), with u = 0.005 and x2 = 0."""
    u, inputs = 0.005, named(Gaussian(reflection, 0.005), Gaussian(0.0, 0.005))
    tied = {("X1", "X2"): correlation} if correlation else None
    result = simulate(loss, inputs, draws(), correlations=tied, digits=1, most_trials=400_000)
    mean = reflection**2 + 2 * u**2
    deviation = sqrt(4 * reflection**2 * u**2 + 4 * u**4 * (1 + correlation**2))

    assert result.value == pytest.approx(mean, abs=result.tolerance)
    assert result.uncertainty == pytest.approx(deviation, abs=result.tolerance)


@pytest.mark.parametrize(
    ("reflection", "correlation", "value", "u"),
    [
        (0.0, 0.0, 50e-6, 50e-6),
        (0.010, 0.0, 150e-6, 112e-6),
        (0.050, 0.0, 2550e-6, 502e-6),
        (0.0, 0.9, 50e-6, 67e-6),
        (0.010, 0.9, 150e-6, 121e-6),
        (0.050, 0.9, 2550e-6, 505e-6),
    ],
)
def test_the_comparison_loss_of_9_4_as_printed(reflection, correlation, value, u):
    inputs = named(Gaussian(reflection, 0.005), Gaussian(0.0, 0.005))
    tied = {("X1", "X2"): correlation} if correlation else None
    result = simulate(loss, inputs, draws(), correlations=tied, digits=2, most_trials=600_000)

    assert result.value == pytest.approx(value, abs=2e-6)
    assert result.uncertainty == pytest.approx(u, abs=2e-6)


def test_at_no_reflection_the_budget_of_9_4_sees_nothing_and_is_not_confirmed():
    """Shortest 95 % interval 0 to 150e-6; the law of propagation says 0 ± 0."""
    inputs = named(Gaussian(0.0, 0.005), Gaussian(0.0, 0.005))
    result = simulate(loss, inputs, draws(), digits=2, most_trials=1_000_000)
    line = budget(loss, inputs)

    assert result.shortest[0] == pytest.approx(0, abs=0.5e-6)
    assert result.shortest[1] == pytest.approx(149.787e-6, abs=1e-6)  # -2 u² ln 0.05
    assert (line.value, line.uncertainty) == (0.0, 0.0)
    assert not budget_holds(line, result)
    assert budget(loss, inputs, curved=True).uncertainty == pytest.approx(50e-6, rel=1e-6)


def test_the_gauge_block_of_9_5():
    """Printed: 838 nm, u = 36 nm, shortest 99 % interval 745 to 932 nm; a budget says 32 nm."""
    result = simulate(length, GAUGE_BLOCK, draws(), coverage=0.99, digits=2)
    line = budget(length, GAUGE_BLOCK)

    assert result.value == pytest.approx(838, abs=0.5)
    assert result.uncertainty == pytest.approx(35.8, abs=0.3)
    assert result.shortest == pytest.approx((745, 932), abs=2)
    assert line.uncertainty == pytest.approx(32, abs=0.5)
    assert line.interval(0.99) == pytest.approx((745, 931), abs=1)


def test_the_numerical_tolerance_of_7_9_2():
    """Two digits of 2.0 are stable within 0.05, one digit within 0.5; 0.000 35 with two: 5e-6."""
    assert numerical_tolerance(2.0, 2) == 0.05
    assert numerical_tolerance(2.0, 1) == 0.5
    assert numerical_tolerance(0.00035, 2) == 5e-6
    assert numerical_tolerance(9.96, 2) == 0.5  # rounds to 10
