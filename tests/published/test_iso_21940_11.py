"""Permissible residual unbalance against ISO 21940-11:2016 (formerly ISO 1940-1:2003).

The turbine rotor, 3600 kg at 3000 rpm in G 2.5, is the worked example of ISO 1940-1; its inputs
are from memory. The others are the standard's formula, U = 9549.297 G m / n in g mm.
"""

import numpy as np
import pytest

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
