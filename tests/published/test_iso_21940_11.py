"""Permissible residual unbalance against ISO 21940-11:2016 (formerly ISO 1940-1:2003).

The turbine rotor, 3600 kg at 3000 rpm in G 2.5, is the worked example of ISO 1940-1; its inputs
are from memory. The others are the standard's formula, U = 9549.297 G m / n in g mm.
"""

import numpy as np
import pytest

from spinproof.physics.balance_quality import (
    GRADES_MM_S,
    grade_of,
    grade_reached,
    largest_offset,
    plane_limits,
    shares_between_bearings,
    shares_overhung,
)
from spinproof.physics.rotor import permissible_unbalance

pytestmark = pytest.mark.source("ISO 21940-11:2016", kind="from memory")


@pytest.mark.parametrize(
    ("mass_kg", "rpm", "grade", "g_mm"),
    [
        (3600.0, 3000.0, 2.5, 28647.9),
        (16.2, 2000.0, 6.3, 487.3006),
        (16.2, 2000.0, 2.5, 193.3733),
        (16.2, 1750.0, 6.3, 556.91),
        (16.2, 2400.0, 6.3, 406.084),
        (21.5, 1600.0, 6.3, 808.41),
        (11.8, 2200.0, 2.5, 128.047),
    ],
)
def test_the_permissible_unbalance_agrees_with_the_standard(mass_kg, rpm, grade, g_mm):
    unbalance = permissible_unbalance(grade, mass_kg, rpm * np.pi / 30)

    assert 1e6 * unbalance == pytest.approx(g_mm, rel=1e-5)


def test_the_navy_rule_4w_over_n_is_grade_0_665():
    """MIL-STD-167-1 allows 4 W/N ounce inches above 1000 rpm (W in pounds)."""
    ounce_inch, pound = 28.349523125e-3 * 25.4e-3, 0.45359237
    speed = 2000 * np.pi / 30
    navy = 4 * (16.2 / pound) / 2000 * ounce_inch

    assert permissible_unbalance(0.66497, 16.2, speed) == pytest.approx(navy, rel=1e-5)


def test_the_turbine_rotor_is_shared_between_its_bearings_by_the_lever():
    """Bearings 1500 and 900 mm from the mass centre: 10 743 and 17 904.9 g mm (ISO 1940-1)."""
    total = permissible_unbalance(2.5, 3600.0, 3000 * np.pi / 30)

    assert 1e6 * shares_between_bearings(total, 1.5, 0.9) == pytest.approx(
        [10743.0, 17904.9], abs=0.1
    )


def test_shares_stay_within_three_and_seven_tenths_between_the_bearings():
    assert shares_between_bearings(1.0, [0.1, 9.0], [9.0, 0.1]) == pytest.approx(
        np.array([[0.7, 0.3], [0.3, 0.7]])
    )


def test_shares_of_an_overhung_rotor_stay_within_three_and_thirteen_tenths():
    """An overhang of one and a half spans would give 2.5 and 1.5: both are cut to 1.3."""
    assert shares_overhung(1.0, [0.18, 0.06, 0.006], 0.12) == pytest.approx(
        np.array([[1.3, 1.3], [1.3, 0.5], [1.05, 0.3]])
    )


def test_the_grades_step_by_two_and_a_half_as_rounded_by_the_standard():
    steps = np.array(GRADES_MM_S[1:]) / GRADES_MM_S[:-1]

    assert GRADES_MM_S == (0.4, 1.0, 2.5, 6.3, 16.0, 40.0, 100.0, 250.0, 630.0, 1600.0, 4000.0)
    assert steps == pytest.approx(np.full(10, 2.5), rel=0.02)


@pytest.mark.parametrize("grade", GRADES_MM_S)
def test_a_rotor_at_the_limit_of_a_grade_keeps_it_and_no_finer_one(grade):
    speed = 2000 * np.pi / 30
    limit = float(permissible_unbalance(grade, 16.2, speed))

    assert grade_of(limit, 16.2, speed) == pytest.approx(grade, rel=1e-12)
    assert grade_reached(limit, 16.2, speed) == grade
    assert grade_reached(limit * 1.001, 16.2, speed) != grade


def test_the_offset_and_the_half_for_each_plane():
    """G 6.3 at 2000 rpm is 30.0803 um; 16.2 kg leave 243.65 g mm for each plane."""
    speed = 2000 * np.pi / 30
    per_plane, couple = plane_limits(permissible_unbalance(6.3, 16.2, speed), 0.2)

    assert 1e6 * largest_offset(6.3, speed) == pytest.approx(30.0803, abs=1e-4)
    assert 1e6 * per_plane == pytest.approx(243.65, abs=5e-3)
    assert couple == pytest.approx(0.2 * per_plane)


def test_a_rotor_of_11_8_kg_for_2200_rpm_has_64_02_g_mm_in_each_plane_at_g_2_5():
    whole = permissible_unbalance([2.5, 6.3], 11.8, 2200 * np.pi / 30)

    assert 1e6 * whole / 2 == pytest.approx([64.02, 161.3], abs=0.05)
