"""What is known of a head, and draws of it."""

import numpy as np
import pytest
from tests.demo_files import LOWER
from tests.predict import heads

from spinproof.model.head_model import HeadModel, Origin
from spinproof.predict.coast_down import drag_of
from spinproof.predict.knowledge import draw, groups_of, learnt, prior_model
from spinproof.predict.rinse_step import mixing_of


def calibrated() -> HeadModel:
    rng = np.random.default_rng(1)
    drag = drag_of([heads.coast(rng, i) for i in range(4)], heads.INERTIA)
    mixing = mixing_of([heads.drain_step(rng, i) for i in range(4)])
    fits = [(drag.fit, drag.values), (mixing.fit, mixing.values)]
    return learnt(prior_model(LOWER), fits, drag.cannot_say)


def test_a_model_says_what_remained_prior_and_which_runs_it_stands_on():
    model = calibrated()

    assert model.parameter("bowl_volume_l").origin is Origin.CALIBRATED
    assert model.parameter("bowl_volume_l").basis == "drain step, 4 runs"
    assert "hold_up_g" in {each.name for each in model.still_prior}
    assert [run.run for run in model.fits[0].runs] == [f"T-{i}" for i in range(4)]
    assert model.simulated


def test_a_model_comes_back_from_its_document_as_it_was():
    model = calibrated()

    assert HeadModel.from_document(model.to_document()) == model


def test_a_model_without_runs_is_not_simulated():
    assert not prior_model(LOWER).simulated


def test_the_parameters_of_a_fit_are_drawn_together():
    model = calibrated()
    drawn = draw(model, np.random.default_rng(2), 50_000)
    fit = model.fits[0]
    names = ("coulomb_torque_n_m", "quadratic_drag_n_m_s2")
    i, j = (fit.parameters.index(name) for name in names)
    covariance = np.array(fit.covariance)

    expected = covariance[i, j] / np.sqrt(covariance[i, i] * covariance[j, j])
    found = np.corrcoef(*(np.clip(drawn[n], *np.quantile(drawn[n], (0.01, 0.99))) for n in names))
    assert found[0, 1] == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("name", ["bowl_volume_l", "coulomb_torque_n_m"])
def test_the_stated_interval_is_the_middle_95_percent_of_the_draws(name: str):
    model = calibrated()
    drawn = draw(model, np.random.default_rng(3), 100_000)[name]
    each = model.parameter(name)

    assert np.mean((drawn >= each.low) & (drawn <= each.high)) == pytest.approx(0.95, abs=0.003)


def test_priors_stay_inside_their_ends():
    model = prior_model(LOWER)
    drawn = draw(model, np.random.default_rng(4), 10_000)

    for each in model.parameters:
        assert drawn[each.name].min() >= each.low
        assert drawn[each.name].max() <= each.high


def test_the_same_seed_gives_the_same_draws():
    one, two = (draw(prior_model(LOWER), np.random.default_rng(5), 100) for _ in range(2))

    assert all((one[name] == two[name]).all() for name in one)


def test_the_parameters_of_a_fit_form_one_group():
    groups = groups_of(calibrated())

    assert ("coulomb_torque_n_m", "viscous_drag_n_m_s", "quadratic_drag_n_m_s2") in groups
    assert ("hold_up_g",) in groups
