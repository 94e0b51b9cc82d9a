"""Decay of a charged plate, and relaxation of materials."""

import numpy as np
import pytest

from spinproof.physics.charge import decay_time, decayed_potential, relaxation_time

pytestmark = pytest.mark.source(
    "ANSI/ESD STM3.1, values from memory; discharge law", kind="from memory"
)


def test_a_plate_falls_from_1000_to_100_volts_in_2_3_time_constants():
    assert decay_time(1000.0, 100.0, 1.0) == pytest.approx(2.302585, abs=1e-6)
    assert decay_time(1000.0, 100.0, 1.0, 30.0) == pytest.approx(2.62880, abs=1e-5)
    assert decayed_potential(
        1000.0, decay_time(1000.0, 100.0, 5.0, 30.0), 5.0, 30.0
    ) == pytest.approx(100.0)
    assert decay_time(1000.0, 100.0, 1.0, 150.0) == np.inf


@pytest.mark.parametrize(
    ("ohm_m", "permittivity", "seconds"),
    [(1.8182e5, 78.41, 1.2623e-4), (1e4, 78.41, 6.943e-6), (1e16, 2.1, 1.859e5), (1e14, 3.0, 2656)],
)
def test_charge_leaks_through_water_at_once_and_through_plastic_in_hours(
    ohm_m, permittivity, seconds
):
    assert relaxation_time(ohm_m, permittivity) == pytest.approx(seconds, rel=3e-4)
