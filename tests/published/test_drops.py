"""Drops that cling or evaporate."""

import numpy as np
import pytest
from scipy.integrate import quad

from spinproof.physics.drops import (
    cap_volume,
    capillary_length,
    drop_evaporation,
    largest_clinging_drop,
)
from spinproof.physics.validity import ExtrapolationWarning

pytestmark = pytest.mark.source(
    "ElSherbini, Jacobi 2006; Furmidge 1962; Hu, Larson 2002", kind="published"
)
RPM = np.pi / 30

WATER = (0.071972, 997.05)


def test_a_cap_has_the_volume_of_its_body_of_revolution():
    sphere = 1 / np.sin(np.deg2rad(70))
    height = sphere * (1 - np.cos(np.deg2rad(70)))
    volume, _ = quad(lambda z: np.pi * (sphere**2 - (sphere - z) ** 2), 0, height)

    assert cap_volume(1.0, np.pi / 2) == pytest.approx(2.094395, rel=1e-6)
    assert cap_volume(1.0, np.deg2rad(70)) == pytest.approx(volume, rel=1e-9)


@pytest.mark.parametrize(
    ("advancing", "receding", "mm", "microlitre"),
    [
        (80, 60, 1.7047, 6.340),
        (10, 3, 1.3281, 0.209),
        (85, 60, 1.8611, 8.755),
        (110, 85, 1.3801, 6.750),
    ],
)
def test_the_largest_drop_on_an_upright_plate(advancing, receding, mm, microlitre):
    high, low = np.deg2rad([advancing, receding])
    radius = largest_clinging_drop(high, low, 9.80665, *WATER)

    assert 1e3 * radius == pytest.approx(mm, rel=1e-4)
    assert 1e9 * cap_volume(radius, (high + low) / 2) == pytest.approx(microlitre, abs=1e-3)


@pytest.mark.parametrize(("rpm", "mm"), [(300, 0.5374), (2000, 0.0806), (2800, 0.0576)])
def test_spinning_sheds_what_gravity_leaves(rpm, mm):
    pull = (rpm * RPM) ** 2 * 0.1

    assert 1e3 * largest_clinging_drop(*np.deg2rad([80, 60]), pull, *WATER) == pytest.approx(
        mm, rel=1e-3
    )


def test_a_drop_beyond_the_capillary_length_is_warned_of():
    assert 1e3 * capillary_length(*WATER) == pytest.approx(2.71, abs=0.01)
    with pytest.warns(ExtrapolationWarning, match="capillary length"):
        largest_clinging_drop(*np.deg2rad([70, 30]), 9.80665, *WATER)


def test_a_still_drop_lasts_as_the_formula_says():
    window = drop_evaporation(1.86e-3, np.deg2rad(72.5), 2.577e-5, 0.02304)

    assert window == pytest.approx(6.0101e-9, rel=1e-4)
    assert drop_evaporation(0.5e-3, np.deg2rad(60), 2.52e-5, 0.02304) == pytest.approx(
        1.4557e-9, rel=1e-4
    )
