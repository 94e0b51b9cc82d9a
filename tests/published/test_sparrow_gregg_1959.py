"""Exchange of a rotating disk against printed values and a second way of solving its flow."""

import numpy as np
import pytest
from scipy.integrate import cumulative_simpson, solve_bvp

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.gas_exchange import (
    _FREE_SHEAR,
    disk_coefficient,
    film_evaporation,
    liquid_disk_coefficient,
    transfer_velocity,
)
from spinproof.physics.validity import ExtrapolationWarning

pytestmark = pytest.mark.source(
    "Sparrow, Gregg 1959, J. Heat Transfer 81, 249; Levich 1962", kind="published"
)
RPM = np.pi / 30


def swirl():
    """Solve the flow as a boundary value problem."""
    z = np.linspace(0, 20, 800)
    guess = np.stack(
        [0.1 * z * np.exp(-z), 0.1 * np.exp(-z), np.exp(-z), -np.exp(-z), -0.9 * np.tanh(z)]
    )
    return solve_bvp(
        lambda _, y: np.stack([y[1], y[0] ** 2 - y[2] ** 2 + y[1] * y[4], y[3],
                               2 * y[0] * y[2] + y[3] * y[4], -2 * y[0]]),
        lambda a, b: np.array([a[0], a[2] - 1, a[4], b[0], b[2]]),
        z, guess, tol=1e-8, max_nodes=20000,
    )  # fmt: skip


def test_the_coefficient_has_its_printed_values():
    assert disk_coefficient([1.0, 10.0, 100.0]) == pytest.approx([0.3963, 1.134, 2.687], rel=5e-4)


def test_the_flow_has_its_known_slopes_and_inflow():
    """0.5102, -0.6159 and -0.8845, von Kármán and Cochran."""
    flow = swirl()

    assert flow.y[1, 0] == pytest.approx(0.51023, abs=1e-4)
    assert flow.y[3, 0] == pytest.approx(-0.61592, abs=1e-4)
    assert flow.y[4, -1] == pytest.approx(-0.88447, abs=3e-4)
    assert pytest.approx((flow.y[1, 0], flow.y[3, 0]), abs=2e-5) == _FREE_SHEAR


@pytest.mark.parametrize("schmidt", [0.5, 0.6034, 0.71, 2.0])
def test_the_coefficient_is_the_integral_over_the_layer(schmidt):
    z = np.linspace(0, 20, 20001)
    inflow = swirl().sol(z)[4]
    layer = cumulative_simpson(np.exp(schmidt * cumulative_simpson(inflow, x=z, initial=0)), x=z)[
        -1
    ]

    assert disk_coefficient(schmidt) == pytest.approx(1 / layer, rel=5e-4)


def test_the_asymptote_for_liquids_is_refused_for_gas():
    assert disk_coefficient(1000.0) / liquid_disk_coefficient(1000.0) == pytest.approx(
        0.9696, abs=1e-3
    )
    assert disk_coefficient(0.6) / (0.62048 * 0.6 ** (1 / 3)) == pytest.approx(0.5623, abs=1e-3)
    with pytest.raises(OutOfRangeError, match="gas needs disk_coefficient"):
        liquid_disk_coefficient(0.6)


def test_a_200_mm_disk_loses_its_film_as_the_exact_law_says():
    """2000 rpm in dry nitrogen at 25 °C: 0.027927 m/s and 645 nm/s."""
    k = transfer_velocity(2000 * RPM, 2.57672e-5, 17.8047e-6 / 1.14524)

    assert k == pytest.approx(0.027927, rel=1e-3)
    assert film_evaporation(k, 298.15) == pytest.approx(6.452e-7, rel=1e-3)


def test_beyond_the_laminar_range_the_law_warns():
    with pytest.warns(ExtrapolationWarning, match="1 of 1 inputs are beyond the laminar range"):
        transfer_velocity(2000 * RPM, 2.57672e-5, 1.555e-5, 0.15)
