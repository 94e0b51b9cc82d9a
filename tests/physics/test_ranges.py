"""Every law refuses inputs outside its range, and marks them."""

import numpy as np
import pytest

from spinproof.model.errors import OutOfRangeError
from spinproof.physics.evaporation import evaporation_rate, saturation_humidity
from spinproof.physics.film import film_thickness, thinning_dose
from spinproof.physics.nitrogen import heater_rise, mass_flow_of
from spinproof.physics.rinse import conductivity_of, diluted_conductivity, resistivity_of
from spinproof.physics.rotor import (
    coast_down_time,
    drag_torque,
    permissible_unbalance,
    rotational_energy,
    unbalance_velocity,
)
from spinproof.physics.wafer import relative_centrifugal_force, wafer_inertia
from spinproof.physics.water import (
    density,
    dynamic_viscosity,
    pure_water_conductivity,
    saturation_pressure,
)


@pytest.mark.parametrize(
    ("law", "inputs"),
    [
        (evaporation_rate, ([0.0, 1e-3], 1e-3, 0.01, 1.0)),
        (saturation_humidity, ([300.0, 380.0],)),
        (film_thickness, ([1.0, -1.0, np.nan], 1e-4, 1e-6)),
        (thinning_dose, ([0.0, 2.0, 1.0], 1.0)),
        (thinning_dose, ([0.0, 1.0], [np.nan, 1.0])),
        (mass_flow_of, ([-1.0, 1.0],)),
        (heater_rise, (600.0, [0.0, 1e-3], 0.0, 800.0, 1.0)),
        (conductivity_of, ([0.0, 1.0],)),
        (resistivity_of, ([np.nan, 1.0],)),
        (diluted_conductivity, (1.0, 1.0, 1.0, [0.0, 1.0], 1.0)),
        (coast_down_time, (0.22, 0.0, 0.002, 0.0, 100.0, [0.0, 1.0])),
        (coast_down_time, (0.22, 0.35, 0.0, 0.0, [1.0, 3.0], 2.0)),
        (coast_down_time, (0.22, 0.0, 0.0, 0.0, 2.0, 1.0)),
        (drag_torque, ([-1.0, 1.0], 0.1, 0.1, 0.1)),
        (permissible_unbalance, (6.3, 16.2, [0.0, 200.0])),
        (rotational_energy, ([-1.0, 1.0], 1.0)),
        (unbalance_velocity, (1.0, [0.0, 1.0], 1.0, 0.1, 1.0)),
        (wafer_inertia, (0.05, [0.0, 0.2])),
        (relative_centrifugal_force, ([-0.1, 0.1], 1.0)),
        (density, ([200.0, 300.0],)),
        (dynamic_viscosity, ([200.0, 300.0],)),
        (pure_water_conductivity, ([np.nan, 300.0],)),
        (saturation_pressure, ([700.0, 300.0],)),
    ],
)
def test_inputs_outside_a_law_are_refused_and_marked(law, inputs):
    with pytest.raises(OutOfRangeError, match="outside the law") as caught:
        law(*inputs)

    assert caught.value.mask.any()
    assert caught.value.where == law.__name__


def test_the_mask_names_the_offending_elements_alone():
    with pytest.raises(OutOfRangeError, match="2 of 3 inputs") as caught:
        film_thickness([1.0, -1.0, np.nan], 1e-4, 1e-6)

    assert caught.value.mask.tolist() == [False, True, True]


def test_laws_broadcast_over_arrays():
    time = coast_down_time(0.22, 0.35, 0.0, 2.5e-5, np.array([[100.0], [200.0]]), [4.0, 50.0])

    assert time.shape == (2, 2)
    assert (np.diff(time, axis=0) > 0).all()
    assert (np.diff(time, axis=1) < 0).all()


def test_a_coast_that_is_already_over_takes_no_time():
    assert coast_down_time(0.22, 0.0, 0.0, 0.0, 5.0, 5.0) == 0.0
