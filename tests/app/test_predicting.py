"""Prediction and advice by use case: what is refused, and how."""

import pytest
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD

from spinproof.app.calibrating import prior_model
from spinproof.app.predicting import Wish, advise_recipes, predict_recipe, prices_of
from spinproof.model.errors import DocumentError, PlanError
from spinproof.model.head_model import HeadModel
from spinproof.plan.region import Region

MODEL = prior_model(LOWER)


def narrowed(**limits: object) -> HeadModel:
    envelope = LOWER.envelope.model_copy(update=limits)
    return prior_model(LOWER.model_copy(update={"envelope": envelope}))


def test_advice_stays_inside_the_envelope_and_keeps_the_rinse():
    found = advise_recipes(MODEL, CR_1, PARTIAL_LOAD, seed=2)

    region = Region(LOWER)
    for each in found.front:
        rinse = each.recipe.steps[0]
        assert (rinse.speed_rpm, rinse.duration_s) == (450.0, 45.0)
        point = region.point_of(each.recipe)
        assert region.holds(point[None]).all()
    assert found.tried == 450


def test_an_envelope_without_a_recipe_says_which_constraints_collide():
    with pytest.raises(PlanError, match="these collide: recipe of 120 s at most"):
        advise_recipes(narrowed(process_time_limit_s=120.0), CR_1, PARTIAL_LOAD)


def test_a_rinse_outside_of_the_envelope_is_named():
    fast = CR_1.steps[0].model_copy(update={"speed_rpm": 900.0})
    recipe = CR_1.model_copy(update={"steps": (fast, *CR_1.steps[1:])})

    with pytest.raises(PlanError, match="rinse_rpm of 900 lies outside of 300 to 600"):
        advise_recipes(MODEL, recipe, PARTIAL_LOAD)


def test_a_recipe_without_a_rinse_has_none_to_keep():
    recipe = CR_1.model_copy(update={"steps": CR_1.steps[1:]})

    with pytest.raises(DocumentError, match="has no rinse to keep"):
        advise_recipes(MODEL, recipe, PARTIAL_LOAD)


def test_a_recipe_too_fast_for_the_head_is_refused():
    fast = CR_1.steps[2].model_copy(update={"speed_rpm": 2500.0})
    recipe = CR_1.model_copy(update={"steps": (*CR_1.steps[:2], fast)})

    with pytest.raises(DocumentError, match="faster than 2000 rpm"):
        predict_recipe(MODEL, recipe, PARTIAL_LOAD)


def test_more_slots_than_the_head_has_are_refused():
    load = PARTIAL_LOAD.model_copy(update={"slots": (1, 26)})

    with pytest.raises(DocumentError, match="uses slot 26 of 25"):
        predict_recipe(MODEL, CR_1, load)


@pytest.mark.parametrize(
    "options", [{"draws": 5}, {"draws": 10**7}, {"dry_g": 0.0}, {"dry_g": float("nan")}]
)
def test_options_without_sense_are_refused(options: dict[str, float]):
    with pytest.raises(DocumentError, match="the options"):
        predict_recipe(MODEL, CR_1, PARTIAL_LOAD, **options)


def test_odds_without_sense_are_refused():
    with pytest.raises(DocumentError, match="odds of 1 do not exist"):
        advise_recipes(MODEL, CR_1, PARTIAL_LOAD, wish=Wish(least_odds=1.0))


def test_prices_are_the_shops_own():
    prices = prices_of("12, 0.4, 0.3, EUR")

    assert (prices.water_m3, prices.nitrogen_kg, prices.energy_kwh) == (12.0, 0.4, 0.3)
    assert (prices.unit, prices.assumed) == ("EUR", False)
    assert prices_of(None).assumed


@pytest.mark.parametrize("text", ["", "1,2,3", "1,2,EUR", "a,b,c,EUR", "1,2,-3,EUR", "1,2,nan,E"])
def test_prices_that_are_none_are_refused(text: str):
    with pytest.raises(DocumentError, match="three prices and a unit"):
        prices_of(text)
