"""Water, nitrogen, heat, vibration and seal."""

import numpy as np
import pytest
from tests.judge.traces import Scene, judged, make_trace

from spinproof.model.channel import Role
from spinproof.model.judgement import Verdict
from spinproof.model.run import Outcome

AT = Scene().times()


def test_a_step_has_only_the_metrics_that_apply_to_it():
    found = judged(make_trace())

    assert found.metric("di_flow", 1).value == pytest.approx(15.0)
    assert found.metric("di_flow", 2) is None
    assert found.metric("n2_flow_error", 1) is None
    assert found.metric("n2_flow_error", 2).value == pytest.approx(0, abs=0.01)
    assert found.metric("n2_temperature", 3).value == pytest.approx(80)
    assert found.metric("n2_temperature_error", 3) is None, "only the last heated step is judged"
    assert found.metric("n2_temperature_error", 4).verdict is Verdict.PASS


def test_the_instruments_uncertainty_enters_a_mean():
    """FM-1: 0.05 L/min and 0.5 % of 15 L/min, with a resolution of 0.01 L/min."""
    expected = np.sqrt(0.05**2 + 0.075**2 + 0.01**2 / 12)

    assert judged(make_trace()).metric("di_flow", 1).uncertainty == pytest.approx(
        expected, rel=1e-3
    )


def test_a_valve_that_closes_slowly_is_timed_from_its_command():
    def dribble(values, time):
        closing = time - AT["step 2"]
        values["DI flow"] = np.where(
            closing > 0, np.maximum(15 * (1 - closing / 4.0), 0), values["DI flow"]
        )

    found = judged(make_trace(bend=dribble)).metric("rinse_close_time", 1)

    assert found.value == pytest.approx(3.8, abs=0.05), "until 5 % of the flow"
    assert found.verdict is Verdict.FAIL


def test_water_that_never_stops_is_no_pass():
    def stuck_open(values, time):
        values["DI flow"] = np.where(time > AT["start"], 15.0, 0.0)

    found = judged(make_trace(bend=stuck_open)).metric("rinse_close_time", 1)

    assert found.verdict is Verdict.NOT_MEASURED
    assert found.note == "the water never stopped flowing"


def test_a_dip_of_the_supply_is_a_failure_that_names_its_outside_cause():
    def dip(values, time):
        values["DI pressure"][(time > 20) & (time < 30)] = 1.4

    found = judged(make_trace(bend=dip))

    assert found.metric("di_pressure_low", 1).value == pytest.approx(1.4)
    assert found.outcome is Outcome.RELEVANT_FAILURE
    assert found.outside_cause == (
        "the supply of DI water fell to 1.4 bar gauge in step 1, rinse (nominal 2.8)"
    )


def test_a_single_noisy_reading_is_no_dip():
    def spike(values, time):
        values["DI pressure"][np.searchsorted(time, 25)] = 0.5

    assert judged(make_trace(bend=spike)).outcome is Outcome.COUNTED


def test_poor_feed_water_is_named_as_the_outside_cause_of_a_poor_drain():
    def poor(values, time):
        values["drain resistivity"][:] = 12.0
        values["feed resistivity"][:] = 12.4

    found = judged(make_trace(bend=poor))

    assert found.metric("resistivity_shortfall", 1).value == pytest.approx(3.0)
    assert found.metric("resistivity_shortfall", 1).verdict is Verdict.FAIL
    assert found.outside_cause.startswith("the resistivity of the feed fell to 12.4")


def test_the_decay_of_the_seal_is_fitted_in_percent_a_minute():
    def leak(values, time):
        values["seal pressure"] *= np.exp(np.log(0.79) * time / 60) / np.exp(-0.02 * time / 60)

    found = judged(make_trace(bend=leak)).metric("seal_loss")

    assert found.value == pytest.approx(21.0, abs=0.1)
    assert found.verdict is Verdict.FAIL


def test_vibration_is_taken_while_the_speed_is_steady():
    found = judged(make_trace())

    assert found.metric("vibration", 3).value == pytest.approx(1.80, abs=0.01)
    assert found.metric("vibration_peak", 4).value == pytest.approx(1.80, abs=0.02)


@pytest.mark.parametrize(
    ("role", "metric", "step"),
    [
        (Role.VIBRATION, "vibration", 3),
        (Role.DI_FLOW, "di_flow", 1),
        (Role.DI_FLOW, "rinse_close_time", 1),
        (Role.DI_PRESSURE, "di_pressure_low", 1),
        (Role.DRAIN_RESISTIVITY, "resistivity_shortfall", 1),
        (Role.N2_FLOW, "n2_flow_error", 2),
        (Role.N2_TEMPERATURE, "n2_temperature_error", 4),
        (Role.SEAL_PRESSURE, "seal_loss", None),
        (Role.SEAL_PRESSURE, "release_pressure", None),
        (Role.SEAL_PRESSURE, "vent_time", None),
        (Role.SEAL_PRESSURE, "door_order_breaches", None),
        (Role.STATUS, "door_order_breaches", None),
        (Role.STATUS, "index_time", None),
        (Role.STATUS, "operator_inputs", None),
        (Role.TACH_COUNT, "tach_lost_below", None),
        (Role.DISPLAY_SPEED, "display_agreement", None),
    ],
)
def test_a_channel_that_is_missing_is_never_a_silent_pass(role, metric, step):
    found = judged(make_trace(without=(role,)))

    assert found.metric(metric, step).verdict is Verdict.NOT_MEASURED
    assert found.metric(metric, step).note
    assert found.outcome is Outcome.RELEVANT_FAILURE


def test_a_sensor_that_falls_silent_is_told_with_its_share():
    def silent(values, time):
        values["N2 temperature"][time > 200] = np.nan

    found = judged(make_trace(bend=silent))

    assert found.metric("missing_share").value > 50
    assert 'most in "N2 temperature"' in found.metric("missing_share").note
    assert found.metric("n2_temperature_error", 4).verdict is Verdict.NOT_MEASURED
