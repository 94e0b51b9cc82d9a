"""A recipe laid out in time."""

import numpy as np
import pytest
from tests.demo_files import CR_1, LOWER

from spinproof.model.recipe import TimerBasis
from spinproof.physics.film import thinning_dose
from spinproof.plan.region import mean_squared_speed
from spinproof.predict.knowledge import draw, prior_model
from spinproof.predict.timeline import gas_of, timeline, wet_until


@pytest.mark.parametrize("basis", TimerBasis)
@pytest.mark.parametrize("fine", [False, True])
def test_its_length_and_its_dose_are_those_of_the_recipe(basis: TimerBasis, *, fine: bool):
    steps = tuple(step.model_copy(update={"timer_basis": basis}) for step in CR_1.steps)
    recipe = CR_1.model_copy(update={"steps": steps})

    line = timeline(recipe, fine=fine)

    assert line.end_s == pytest.approx(recipe.process_time_s())
    dose = thinning_dose(line.time_s, line.speed) / line.end_s
    assert dose == pytest.approx(mean_squared_speed(recipe) * (np.pi / 30) ** 2)


def test_a_ramp_that_its_step_cuts_short_ends_where_it_is():
    short = CR_1.steps[0].model_copy(update={"duration_s": 4.0})
    recipe = CR_1.model_copy(update={"steps": (short,)})

    assert timeline(recipe).speed[-1] == pytest.approx(200 * np.pi / 30)


def test_it_is_wet_until_the_last_water_stops():
    assert wet_until(CR_1) == 45.0
    assert wet_until(CR_1.model_copy(update={"steps": CR_1.steps[:1]})) is None
    assert wet_until(CR_1.model_copy(update={"steps": CR_1.steps[1:]})) == 0.0


def test_the_part_after_the_water_begins_without_it():
    part = timeline(CR_1).after(45.0)

    assert part.time_s[0] == 45.0
    assert part.water.max() == 0


def test_the_gas_warms_up_at_full_power_and_is_held():
    known = draw(prior_model(LOWER), np.random.default_rng(1), 50)
    line = timeline(CR_1, fine=True)

    flow, warm = gas_of(line, known)

    assert flow[line.time_s < 45].max() == 0
    assert (warm[line.time_s <= 60] <= known["water_c"] + 1e-9).all()
    assert warm.max() <= 80.0
    assert (warm[-1] == 80.0).mean() > 0.9


def test_a_recipe_goes_on_only_where_nitrogen_flows():
    dry = CR_1.steps[3].model_copy(update={"nitrogen": False, "heater_c": None})
    still = CR_1.model_copy(update={"steps": (*CR_1.steps[:3], dry)})

    assert timeline(CR_1).prolonged().end_s == pytest.approx(380 + 1800)
    assert timeline(still).prolonged().end_s == pytest.approx(380)
