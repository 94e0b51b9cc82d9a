"""What a calibrated head leads to expect of a run's metrics."""

import numpy as np
import pytest
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD
from tests.predict import heads
from tests.predict.test_knowledge import calibrated

from spinproof.model.load import Load
from spinproof.physics.rotor import coast_down_time, drag_torque
from spinproof.predict.knowledge import prior_model
from spinproof.predict.run_prospect import prospect_of

EMPTY = Load(name="empty rotor")
RPM = np.pi / 30


def coast(terms, inertia, rpm):
    low = LOWER.index_enable_rpm * RPM
    return float(coast_down_time(inertia, *terms, rpm * RPM, low))


def test_without_a_calibration_nothing_is_expected():
    assert prospect_of(prior_model(LOWER), CR_1, EMPTY) == {}


def test_the_coast_is_that_of_the_calibrated_drag_within_its_uncertainty():
    found = prospect_of(calibrated(), CR_1, EMPTY)
    last = CR_1.steps[-1].speed_rpm
    scale = LOWER.inertia_kg_m2 / heads.INERTIA
    truth = coast([scale * term for term in heads.DRAG], LOWER.inertia_kg_m2, last)
    time = found["coast_time", None]

    assert abs(time.value - truth) < 4 * time.uncertainty
    assert 0 < time.uncertainty < 0.01 * truth
    specified = coast(
        (LOWER.coulomb_torque_n_m, LOWER.viscous_drag_n_m_s, LOWER.quadratic_drag_n_m_s2),
        LOWER.inertia_kg_m2,
        last,
    )
    error = found["coast_time_error", None]
    assert error.value == pytest.approx(100 * (time.value / specified - 1), abs=1e-6)


def test_wafers_lengthen_the_coast_and_lessen_the_drag_over_inertia():
    empty, loaded = (prospect_of(calibrated(), CR_1, load) for load in (EMPTY, PARTIAL_LOAD))

    assert loaded["coast_time", None].value > empty["coast_time", None].value
    assert loaded["drag_coulomb", None].value < empty["drag_coulomb", None].value


def test_the_current_follows_the_drag_torque_of_each_step():
    model = calibrated()
    found = prospect_of(model, CR_1, EMPTY)
    terms = [
        model.parameter(name).value
        for name in ("coulomb_torque_n_m", "viscous_drag_n_m_s", "quadratic_drag_n_m_s2")
    ]
    for number, step in enumerate(CR_1.steps, start=1):
        each = found["motor_current", number]
        assert each.is_shape
        assert each.value == pytest.approx(float(drag_torque(step.speed_rpm * RPM, *terms)))


def test_a_recipe_that_ends_slow_has_no_coast_to_expect():
    slow = CR_1.steps[-1].model_copy(update={"speed_rpm": 60.0})
    recipe = CR_1.model_copy(update={"steps": (*CR_1.steps[:-1], slow)})

    assert ("coast_time", None) not in prospect_of(calibrated(), recipe, EMPTY)
