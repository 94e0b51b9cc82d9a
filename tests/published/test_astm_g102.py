"""Electropolish by Faraday's law and by weighing."""

import pytest

from spinproof.physics.finish import (
    dissolved_mass,
    effective_equivalent,
    equivalent_mass,
    hydrogen_flow,
    removal_bracket,
    removed_thickness,
    roughness_after,
    wall_left,
)

pytestmark = pytest.mark.source(
    "ASTM G102 (values from memory, reproduced); CODATA 2018", kind="published"
)
IRON, CHROMIUM, NICKEL, MOLYBDENUM = 55.845e-3, 51.9961e-3, 58.6934e-3, 95.95e-3
STEEL_316 = ([0.685, 0.17, 0.12, 0.025], [IRON, CHROMIUM, NICKEL, MOLYBDENUM])
BOWL_M2, BOWL_A = 0.375813, 751.63


def test_the_equivalent_mass_of_304_is_the_standards():
    low = equivalent_mass([0.7175, 0.19, 0.0925], [2, 3, 2], [55.847e-3, 51.9961e-3, 58.69e-3])

    assert 1e3 * low == pytest.approx(25.12, abs=0.005)
    assert 1e3 * low == pytest.approx(25.1195, rel=1e-5)


@pytest.mark.parametrize(
    ("valences", "gram_per_mole"),
    [([2, 3, 2, 3], 25.5032), ([3, 3, 2, 6], 19.1354), ([3, 6, 2, 6], 16.1115)],
)
def test_the_valence_moves_the_equivalent_mass_of_316(valences, gram_per_mole):
    shares, masses = STEEL_316

    assert 1e3 * equivalent_mass(shares, valences, masses) == pytest.approx(gram_per_mole, rel=1e-4)


def test_the_rate_constant_is_the_standards():
    """1 µA/cm² removes 3.27e-3 mm a year for each g/cm³ and g/mol."""
    year_mm = 1e3 * removed_thickness(dissolved_mass(1e-2 * 365.25 * 86400, 1e-3), 1.0, 1000.0)

    assert year_mm == pytest.approx(3.27071e-3, rel=1e-5)


def test_current_gives_a_bracket_and_a_coupon_gives_its_place_in_it():
    low, high = 1e6 * removal_bracket(BOWL_A * 480, BOWL_M2)

    assert low == pytest.approx(20.0864, rel=1e-3)
    assert high == pytest.approx(31.79, rel=1e-3)
    assert 1e3 * effective_equivalent(1.603e-3, 20 * 480) == pytest.approx(16.11, abs=0.005)
    assert 1e6 * removed_thickness(1.603e-3, 0.01, 7980.0) == pytest.approx(20.09, abs=0.005)
    assert 1e3 * dissolved_mass(BOWL_A * 480, 16.1115e-3) == pytest.approx(60.24, abs=0.01)


def test_the_bath_gives_off_hydrogen_by_faradays_law():
    assert 6e4 * hydrogen_flow(BOWL_A) == pytest.approx(5.7176, rel=1e-4)
    assert 3600 * hydrogen_flow(BOWL_A) / 0.01 == pytest.approx(34.306, rel=1e-4)


@pytest.mark.source("working model of roughness; sum of removals", kind="common practice")
def test_roughness_and_wall_follow_the_removals():
    assert 1e6 * roughness_after(20e-6, 0.6e-6, 0.1e-6, 30e-6) == pytest.approx(0.3567, abs=1e-4)
    assert 1e6 * wall_left(2e-3, 1.9e-3, [20e-6, 31.8e-6]) == pytest.approx(48.2)
    assert wall_left(2e-3, 1.9e-3, [20e-6, 31.8e-6], 2) < 0
