"""Uncertainty budgets against the worked examples of JCGM 100:2008 (GUM).

The printed results of H.2 and H.3 were seen in public test suites that quote the guide; the other
printed ones are from memory, and every longer number is recomputed. Independent routes: the
observations of H.2 taken row by row, and the line of H.3 by a reference library.
"""

from math import sqrt

import numpy as np
import pytest
from scipy.stats import linregress, t

from spinproof.stats.distributions import Gaussian, Rectangular
from spinproof.stats.readings import mean_of_readings, simultaneous_readings
from spinproof.stats.straight_line import calibration_line
from spinproof.stats.uncertainty import (
    Input,
    budget,
    coverage_factor,
    effective_degrees,
    joint_covariance,
)

pytestmark = pytest.mark.source("JCGM 100:2008, annex H", kind="published")

TEMPERATURES = [  # °C, table 1 of 4.4.3
    *(96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07),
    *(100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72),
]
VOLTAGE = [5.007, 4.994, 5.005, 4.990, 4.999]  # V, table H.2
CURRENT = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]  # A
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]  # rad
THERMOMETER = [  # °C, table H.6
    *(21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
]
CORRECTION = [  # °C
    *(-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)
]


def resistance(v, i, phi):
    return v / i * np.cos(phi)


def reactance(v, i, phi):
    return v / i * np.sin(phi)


def impedance(v, i, phi):
    return v / i


def end_gauge(standard, difference, expansion, temperature, mismatch, gradient):
    """Length in nm (H.1): ls + d - ls (δα θ + αs δθ)."""
    return standard + difference - standard * (mismatch * temperature + expansion * gradient)


END_GAUGE = [
    Input("standard", Gaussian(50_000_623.0, 25.0), 18),
    Input("difference", Gaussian(215.0, 9.7), 25.6),
    Input("expansion", Rectangular(9.5e-6, 13.5e-6)),
    Input("temperature", Gaussian(-0.1, 0.41)),
    Input("mismatch", Rectangular(-1e-6, 1e-6), 50),
    Input("gradient", Rectangular(-0.05, 0.05), 2),
]


@pytest.mark.source("JCGM 100:2008, 4.4.3", kind="from memory")
def test_the_twenty_temperatures_of_4_4_3():
    """Printed: mean 100.145, s 1.489, s/√n 0.333 °C."""
    known = mean_of_readings("temperature", TEMPERATURES)

    assert known.distribution.value == pytest.approx(100.145, abs=1e-9)
    assert known.distribution.uncertainty == pytest.approx(0.332916, abs=1e-6)
    assert known.distribution.uncertainty * sqrt(20) == pytest.approx(1.488844, abs=1e-6)
    assert known.degrees == 19


@pytest.mark.source("JCGM 100:2008, G.4.1", kind="from memory")
def test_the_effective_degrees_of_g_4_1():
    """Printed: relative 1.03 %, 19 degrees, t = 2.09, U = 2.2 %."""
    product = budget(
        lambda a, b, c: a * b * c,
        [
            Input("a", Gaussian(1.0, 0.0025), 9),
            Input("b", Gaussian(1.0, 0.0057), 4),
            Input("c", Gaussian(1.0, 0.0082), 14),
        ],
    )

    assert product.uncertainty == pytest.approx(0.010295, abs=1e-6)
    assert product.degrees == pytest.approx(18.999, abs=1e-3)
    assert coverage_factor(0.95, 19) == pytest.approx(2.0930, abs=5e-5)
    assert 2.0930 * product.uncertainty == pytest.approx(0.021547, abs=1e-6)


@pytest.mark.source("JCGM 100:2008, H.1", kind="from memory")
def test_the_end_gauge_of_h_1():
    """Printed: 50.000 838 mm, components 25, 9.7, 2.9 and 16.6 nm, u = 32 nm, U99 = 93 nm."""
    length = budget(end_gauge, END_GAUGE)
    parts = {line.name: line.contribution for line in length.contributions}

    assert length.value == pytest.approx(50_000_838.0, abs=0.5)
    assert parts["standard"] == pytest.approx(25.0, abs=1e-3)
    assert parts["difference"] == pytest.approx(9.7, abs=1e-3)
    assert parts["mismatch"] == pytest.approx(2.9, abs=0.05)
    assert parts["gradient"] == pytest.approx(16.6, abs=0.05)
    assert length.uncertainty == pytest.approx(32, abs=0.5)
    assert int(length.degrees) == 16
    assert coverage_factor(0.99, length.degrees) == pytest.approx(2.92, abs=5e-3)
    assert length.expanded(0.99) == pytest.approx(93, abs=1.0)  # printed from the rounded 32 nm


@pytest.mark.source("JCGM 100:2008, H.1.7", kind="from memory")
def test_the_terms_of_second_order_of_h_1_7():
    """Printed: 11.7 nm from expansion times temperature, 1.7 nm more, u = 34 nm in all."""
    plain, curved = (budget(end_gauge, END_GAUGE, curved=flag) for flag in (False, True))
    added = sqrt(curved.uncertainty**2 - plain.uncertainty**2)

    assert curved.uncertainty == pytest.approx(34, abs=0.5)
    assert added == pytest.approx(sqrt(11.7**2 + 1.7**2), abs=0.2)
    assert curved.curvature_share == pytest.approx(added**2 / curved.uncertainty**2, rel=1e-9)


@pytest.mark.source("JCGM 100:2008, H.1.6", kind="from memory")
def test_the_degrees_of_the_difference_of_h_1():
    """Printed: 25.6 degrees from 5.8 nm (24), 3.9 nm (5) and 6.7 nm (8)."""
    assert effective_degrees(9.7, [5.8, 3.9, 6.7], [24, 5, 8]) == pytest.approx(25.6, abs=0.15)


def test_the_coverage_factor_is_the_quantile_of_students_t():
    for coverage in (0.6827, 0.95, 0.99):
        for degrees in (1, 4, 16, 50):
            factor = coverage_factor(coverage, degrees)
            assert factor == pytest.approx(t.ppf((1 + coverage) / 2, degrees), rel=1e-9)


def test_resistance_reactance_and_impedance_of_h_2():
    """Printed: 127.732, 219.847, 254.260 Ω; u .071, .295, .236 Ω; r -.588, -.485, .993."""
    inputs, tied = simultaneous_readings(["V", "I", "phi"], [VOLTAGE, CURRENT, PHASE])
    values, covariance = joint_covariance([resistance, reactance, impedance], inputs, tied)
    u = np.sqrt(np.diag(covariance))
    r = covariance / np.outer(u, u)

    assert values == pytest.approx([127.73217, 219.84651, 254.25970], abs=1e-5)
    assert values == pytest.approx([127.732, 219.847, 254.260], abs=6e-4)
    assert u == pytest.approx([0.07107, 0.29558, 0.23634], abs=1e-5)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.58843, -0.48526, 0.99251], abs=2e-5)


def test_each_result_of_h_2_has_the_same_uncertainty_by_itself():
    inputs, tied = simultaneous_readings(["V", "I", "phi"], [VOLTAGE, CURRENT, PHASE])
    alone = budget(resistance, inputs, tied)

    assert alone.uncertainty == pytest.approx(0.07107, abs=1e-5)
    assert alone.correlation_share < 0
    assert alone.degrees == 4


@pytest.mark.source("JCGM 100:2008, H.2.4, second approach", kind="independent route")
def test_row_by_row_the_observations_of_h_2_give_nearly_the_same():
    """The five resistances of the five rows: the guide's own second way."""
    rows = [resistance(*row) for row in zip(VOLTAGE, CURRENT, PHASE, strict=True)]
    known = mean_of_readings("R", rows)

    assert known.distribution.value == pytest.approx(127.732, abs=1e-3)
    assert known.distribution.uncertainty == pytest.approx(0.071, abs=5e-4)


def test_the_thermometer_line_of_h_3():
    """Printed: y1 -0.1712, y2 0.00218, s 0.0029, 0.00067, r -0.930; at 30 °C -0.1494, 0.0041."""
    line = calibration_line(THERMOMETER, CORRECTION, origin=20.0)

    assert line.intercept == pytest.approx(-0.17120, abs=5e-6)
    assert line.slope == pytest.approx(0.0021827, abs=5e-8)
    assert line.intercept_uncertainty == pytest.approx(0.0028776, abs=5e-8)
    assert line.slope_uncertainty == pytest.approx(0.00066794, abs=5e-9)
    assert line.correlation == pytest.approx(-0.93043, abs=5e-6)
    assert line.scatter == pytest.approx(0.0034976, abs=5e-8)
    assert line.degrees == 9
    assert line.at(30.0) == pytest.approx((-0.14938, 0.0041386), abs=5e-6)


@pytest.mark.source("JCGM 100:2008, H.3 by scipy.stats.linregress", kind="independent route")
def test_a_reference_library_draws_the_same_line():
    line = calibration_line(THERMOMETER, CORRECTION, origin=20.0)
    theirs = linregress(np.array(THERMOMETER) - 20.0, CORRECTION)

    assert line.intercept == pytest.approx(theirs.intercept, rel=1e-9)
    assert line.slope == pytest.approx(theirs.slope, rel=1e-9)
    assert line.intercept_uncertainty == pytest.approx(theirs.intercept_stderr, rel=1e-9)
    assert line.slope_uncertainty == pytest.approx(theirs.stderr, rel=1e-9)
