"""Defect multipliers of bearings against the readmes of public bearing data sets.

Geometry and multipliers were published with the recordings: a 6205 and a 6203 on a university's
motor rig, a nine-ball insert bearing (CC BY 4.0), a double-row roller bearing, a test rig at 25 Hz.
"""

from math import pi, radians

import pytest

from spinproof.signals.bearings import defect_orders, fatigue_life

pytestmark = pytest.mark.source("Readmes of public bearing data sets", kind="published")


@pytest.mark.parametrize(
    ("geometry", "outer", "inner", "cage", "element"),
    [
        pytest.param((9, 0.3126, 1.537), 3.5848, 5.4152, 0.39828, 4.7135, id="6205"),
        pytest.param((8, 0.2656, 1.122), 3.0530, 4.9469, 0.3817, 3.9874, id="6203"),
        pytest.param((9, 7.9375, 38.50), 3.572, 5.428, 0.3969, 2 * 2.32, id="insert"),
    ],
)
def test_the_multipliers_in_print(geometry, outer, inner, cage, element):
    orders = defect_orders(*geometry)

    assert (orders.outer, orders.inner) == pytest.approx((outer, inner), abs=4e-4)
    assert orders.cage == pytest.approx(cage, abs=1e-4)
    assert orders.element == pytest.approx(element, abs=5e-3)


def test_rollers_at_an_angle():
    orders, shaft = defect_orders(16, 0.331, 2.815, radians(15.17)), 2000 / 60

    assert (orders.outer * shaft, orders.inner * shaft) == pytest.approx((236.4, 296.9), abs=0.1)
    assert (orders.cage * shaft, orders.element * shaft / 2) == pytest.approx(
        (14.8, 139.9), abs=0.1
    )


def test_a_rig_at_25_hz():
    orders = defect_orders(8, 0.235, 1.245)

    assert (25 * orders.outer, 25 * orders.inner) == pytest.approx((81.125, 118.875), abs=1e-3)


def test_the_rating_life_of_iso_281():
    """(14 kN / 0.3 kN)**3 million revolutions at 2000 rpm."""
    assert fatigue_life(14e3, 300, 2000 * pi / 30) / 3600 == pytest.approx(846913.6, abs=0.1)
