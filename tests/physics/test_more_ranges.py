"""The laws of water, gas, drops, rooms and finish refuse what lies outside, and mark it."""

import pytest

from spinproof.model.errors import OutOfRangeError
from spinproof.physics import (
    charge,
    drops,
    film,
    film_drying,
    finish,
    gas_exchange,
    psychrometry,
    resistivity,
    rinse,
    room_air,
    utilities,
    wafer,
    water_thermal,
)


@pytest.mark.parametrize(
    ("law", "inputs"),
    [
        (water_thermal.surface_tension, ([200.0, 300.0],)),
        (water_thermal.latent_heat, ([300.0, 400.0],)),
        (gas_exchange.disk_coefficient, ([0.01, 0.6],)),
        (gas_exchange.vapour_diffusivity, ([200.0, 300.0],)),
        (gas_exchange.film_evaporation, (0.02, 300.0, [1.0, 2.0])),
        (psychrometry.wet_bulb, ([275.0, 300.0],)),
        (drops.cap_volume, (1e-3, [0.0, 1.0])),
        (drops.largest_clinging_drop, ([1.0, 2.0], 1.5, 9.8, 0.072, 997.0)),
        (film.fed_film, (1e-6, [0.0, 1.0], 0.1, 1e-6)),
        (film.off_axis_film, (1.0, 1e-4, 1e-6, [0.01, 0.1], 0.05)),
        (film_drying.film_drying_time, ([0.0, 1.0], 1e-7, 1e-6)),
        (film_drying.crossover_thickness, ([0.0, 1.0], 1e-7, 1e-6)),
        (rinse.rinse_time, (1.0, 0.1, 0.5, [0.0, 1.0], 1.0)),
        (rinse.pocket_conductivity, (1.0, 0.1, 1.0, 1.0, 1.0, [0.0, 1.0], 1.0)),
        (resistivity.salted_conductivity, (300.0, [-1.0, 1e-9])),
        (resistivity.compensated_conductivity, ([0.0, 1.0], 300.0)),
        (room_air.fresh_air_needed, (1.0, [0.19, 0.25])),
        (room_air.lasting_oxygen, (0.0, [0.0, 1.0])),
        (charge.relaxation_time, (1.0, [0.5, 2.0])),
        (wafer.spin_stress, (1.0, 0.1, [0.05, 0.2])),
        (finish.dissolved_mass, ([-1.0, 1.0], 0.02)),
        (finish.wall_left, ([1e-3, 3e-3], 2e-3, 0.0)),
    ],
)
def test_what_lies_outside_is_refused_and_marked(law, inputs):
    with pytest.raises(OutOfRangeError, match="1 of 2 inputs") as caught:
        law(*inputs)

    assert caught.value.mask.sum() == 1
    assert caught.value.where == law.__name__


def test_a_history_that_goes_back_in_time_is_refused():
    with pytest.raises(OutOfRangeError, match="never decrease"):
        film_drying.dry_film([0.0, 2.0, 1.0], 100.0, 1e-7, 1e-4, 1e-6)
    with pytest.raises(OutOfRangeError, match="never decrease"):
        utilities.run_utilities([0.0, 2.0, 1.0], 0.0, 0.0, 0.0, 0.0, 0.0, 0.15)
