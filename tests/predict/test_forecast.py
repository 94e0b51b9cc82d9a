"""Predictions of a recipe: intervals, odds, influences, and what is left unsaid."""

import numpy as np
import pytest
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD

from spinproof.model.head_model import CalibrationRun, Fit, HeadModel
from spinproof.predict.forecast import predict
from spinproof.predict.knowledge import learnt, prior_model
from spinproof.predict.outcome import Task

TASK = Task(CR_1, LOWER, PARTIAL_LOAD)


def weighed(simulated: bool = True) -> HeadModel:  # noqa: FBT001, FBT002 - reads well where it is used
    fit = Fit(
        subject="weighings",
        parameters=("hold_up_g", "conductance_m3_s"),
        covariance=((1e-4, 0.0), (0.0, 4e-4)),
        degrees=8,
        runs=(CalibrationRun(run="W", sha256="0" * 64, simulated=simulated),),
        points=10,
        residual_rms=0.05,
        residual_unit="g",
        across="time of drying, s",
        residuals=(),
    )
    values = {"hold_up_g": 5.0, "conductance_m3_s": 0.01}
    return learnt(prior_model(LOWER), [(fit, values)], [])


def test_calibration_narrows_the_dry_time_and_ends_the_call_for_it():
    before = predict(TASK, prior_model(LOWER), draws=4000, seed=1)
    after = predict(TASK, weighed(), draws=4000, seed=1)

    assert before.dry_time.high - before.dry_time.low > 300
    assert after.dry_time.high - after.dry_time.low < 60
    assert before.calibrate_first[0].startswith("water held up after spin-off: weigh")
    assert not any("weigh" in line or "dew-point" in line for line in after.calibrate_first)
    assert any("cassette and the wafers that were weighed" in c for c in after.cautions)


def test_the_same_seed_gives_the_same_prediction_and_another_seed_nearly():
    one, two, other = (
        predict(TASK, prior_model(LOWER), draws=4000, seed=seed) for seed in (1, 1, 2)
    )

    assert one == two
    assert other != one
    assert other.odds[0].probability == pytest.approx(
        one.odds[0].probability, abs=5 * one.odds[0].numerical_uncertainty
    )


def test_simulated_runs_mark_the_prediction():
    assert predict(TASK, weighed(), draws=200, seed=1).simulated
    assert not predict(TASK, weighed(simulated=False), draws=200, seed=1).simulated


def test_the_dry_time_and_the_odds_tell_the_same_story():
    found = predict(TASK, prior_model(LOWER), draws=4000, seed=1)

    assert (found.dry_time.median < CR_1.process_time_s()) == (found.odds[0].probability > 0.5)
    assert found.influences[0].total >= found.influences[-1].total
    assert all(0 <= each.low <= each.median <= each.high for each in found.estimates)


def test_a_dry_time_beyond_the_look_ahead_is_said_to_be_later():
    slow = CR_1.steps[3].model_copy(update={"speed_rpm": 100.0, "heater_c": None})
    recipe = CR_1.model_copy(update={"steps": (CR_1.steps[0], slow)})
    parched = LOWER.model_copy(update={"n2_flow_slm": 3.0})

    found = predict(Task(recipe, parched, PARTIAL_LOAD), prior_model(parched), draws=500, seed=1)

    assert found.dry_time.censored
    assert found.odds[0].probability < 0.2


def test_nothing_is_said_of_the_drying_of_a_recipe_that_ends_wet():
    recipe = CR_1.model_copy(update={"steps": CR_1.steps[:1]})

    found = predict(Task(recipe, LOWER, PARTIAL_LOAD), prior_model(LOWER), draws=500, seed=1)

    assert found.cautions[0].startswith("the recipe ends wet")
    assert found.dry_time is None
    assert not any("dry" in each.label for each in found.odds)
    assert [band.label for band in found.bands] == ["drain"]


def test_the_bands_follow_the_recipe():
    found = predict(TASK, prior_model(LOWER), draws=500, seed=1)
    film, hold_up, drain = found.bands

    assert (film.time_s[0], film.time_s[-1]) == (45.0, 380.0)
    assert np.all(np.diff(hold_up.median) <= 1e-9)
    assert np.all(np.diff(drain.median) >= -1e-9)
    assert drain.time_s[-1] == 45.0


def test_a_big_wafer_at_speed_warns_of_turbulence():
    big = LOWER.model_copy(update={"wafer_diameter_mm": 300.0, "wafer_edge_radius_m": 0.15})
    fast = CR_1.model_copy(
        update={"steps": (*CR_1.steps[:2], CR_1.steps[2].model_copy(update={"speed_rpm": 2000.0}))}
    )

    found = predict(Task(fast, big, PARTIAL_LOAD), prior_model(big), draws=200, seed=1)

    assert any("turbulent" in caution for caution in found.cautions)
