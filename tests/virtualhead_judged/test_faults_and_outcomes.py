"""What each fault of the virtual head comes to: the table of faults and outcomes."""

import itertools

import numpy as np
import pytest
from tests.demo_files import LIMITS, LOWER
from tests.virtualhead_judged.simulated import LOAD, RECIPE, fault, judged, run_trace

from spinproof.judge.judging import judge
from spinproof.model.judgement import Verdict
from spinproof.model.load import Load, spread_slots
from spinproof.model.program import FaultKind
from spinproof.model.recipe import TimerBasis
from spinproof.model.run import Outcome
from spinproof.virtualhead.head import VirtualHead

FAILURE, OPERATOR, COUNTED = (
    Outcome.RELEVANT_FAILURE,
    Outcome.INVALID_OPERATOR,
    Outcome.COUNTED,
)

TABLE = [
    (FaultKind.STEP_CUT_SHORT, 40, FAILURE, "final dry: ended 40.0 s early: 160.0 s of 200.0 s"),
    (FaultKind.STEP_CUT_SHORT, 1, FAILURE, "final dry: ended 1.0 s early: 199.0 s of 200.0 s"),
    (FaultKind.OPERATOR_STOP, 100, OPERATOR, "stop was pressed at 101.5 s, during step 3"),
    (FaultKind.OPERATOR_STOP, 1, OPERATOR, "stop was pressed at 2.5 s"),
    (FaultKind.OPERATOR_STOP, 75, OPERATOR, "during step 3, fast dry"),
    (FaultKind.WRONG_SPEED_SCALE, 1.02, FAILURE, "fast dry: speed against the set-point "),
    (FaultKind.WRONG_SPEED_SCALE, 0.985, FAILURE, "fast dry: speed against the set-point -"),
    (FaultKind.WRONG_PULSES_PER_REV, 1.2, FAILURE, "head tach against the reference "),
    (FaultKind.TACH_DROPOUT, 0.02, FAILURE, "head tach against the reference -"),
    (FaultKind.TACH_DROPOUT, 1.0, FAILURE, "do not come from the same head, or one of them is"),
    (FaultKind.TACH_GAP, 1.9, FAILURE, "above the index enable speed of 40 rpm; the door stayed"),
    (FaultKind.SLOW_RINSE_VALVE, 4.1, FAILURE, "rinse: closing of the rinse valve "),
    (FaultKind.SEAL_LEAK, 21, FAILURE, "pressure loss of the seal 2"),
    (FaultKind.LATE_VENT, 6, FAILURE, "venting of the seal "),
    (FaultKind.DOOR_OUT_OF_ORDER, 3, FAILURE, "s before the index was proven"),
    (FaultKind.DOOR_OUT_OF_ORDER, 0.5, FAILURE, "order of the stop sequence broken"),
    (FaultKind.HEATER_DEAD, 0, FAILURE, "nitrogen temperature against the set-point -5"),
    (FaultKind.DI_PRESSURE_DIP, 1.4, FAILURE, "lowest DI supply pressure 1."),
    (FaultKind.UNBALANCE, 2000, FAILURE, "fast dry: vibration "),
    (FaultKind.BEARING_DRAG, 1.5, FAILURE, "coast against the prediction -2"),
    (FaultKind.OVERSHOOT, 5, FAILURE, "fast dry: overshoot "),
    (FaultKind.SWAPPED_CHANNELS, 0, FAILURE, "do not come from the same head"),
    (FaultKind.CLOCK_STEP, 5, COUNTED, "the device's clock jumped by +5.000 s"),
    (FaultKind.CLOCK_STEP, -30, COUNTED, "the device's clock jumped by -30.000 s"),
    (FaultKind.LOST_BLOCKS, 1, FAILURE, "largest gap in the record 5"),
    (FaultKind.STUCK_SENSOR, 0, FAILURE, '"N2 temperature" sent no readings'),
    (FaultKind.FROZEN_SENSOR, 0, FAILURE, "N2 temperature repeated one reading for "),
    (FaultKind.SPIKE, 60, COUNTED, "single readings that stand out in N2 temperature: 1"),
    (FaultKind.VIBRATION_SCALE, 9.81, FAILURE, "fast dry: vibration 13."),
    (FaultKind.WRONG_RECIPE, 0.9, FAILURE, "fast dry: speed against the set-point -10.0"),
    (FaultKind.SEAL_RUB, 0.1, FAILURE, "coast against the prediction -1"),
    (FaultKind.WINDAGE, 2.5, FAILURE, "coast against the prediction -1"),
    (FaultKind.BRAKE_DRAG, 0.5, FAILURE, "coast against the prediction -5"),
    (FaultKind.ADDED_INERTIA, 0.05, FAILURE, "coast against the prediction 2"),
    (FaultKind.SOFT_MOUNTS, 20, COUNTED, "51 of 51 verdicts passed"),
    (FaultKind.WEAK_DRIVE, 1.0, FAILURE, "rinse: ramp against the recipe -45"),
    (FaultKind.LOW_GAIN, 0.1, FAILURE, "rinse: ramp against the recipe 8"),
    (FaultKind.BELT_SLIP, 1.0, FAILURE, "rinse: overshoot 4."),
    (FaultKind.LOOSE_WEIGHT, 2000, FAILURE, "final dry: vibration 4."),
    (FaultKind.WAFER_SHIFT, 2000, FAILURE, "fast dry: vibration 7."),
    (FaultKind.DOUBLE_PULSES, 0.05, FAILURE, "head tach against the reference 4."),
    (FaultKind.TACH_DIES, 700, FAILURE, "head's tach was seen at 700 rpm"),
    (FaultKind.HOME_SENSOR_DEAD, 0, FAILURE, "the index was never proven; the door stayed locked"),
    (FaultKind.EARLY_POSITIONER, 120, FAILURE, "above the index enable speed of 40 rpm"),
    (FaultKind.NITROGEN_LOW, 0.6, FAILURE, "fast dry: nitrogen flow against nominal -40"),
    (FaultKind.WATER_PINCHED, 0.6, FAILURE, "rinse: flow of DI water 8."),
    # The slow channels do not hear these two; the accelerometers do.
    (FaultKind.BEARING_DEFECT, 1.0, COUNTED, "51 of 51 verdicts passed"),
    (FaultKind.CLIPPED_ACCELEROMETER, 5, COUNTED, "51 of 51 verdicts passed"),
]


@pytest.mark.parametrize(("kind", "size", "outcome", "words"), TABLE)
def test_each_fault_comes_to_its_outcome_for_a_telling_reason(kind, size, outcome, words):
    found = judged(fault(kind, size))

    assert found.outcome is outcome, found.reasons
    assert any(words in reason for reason in found.reasons), found.reasons


def test_the_table_and_the_growing_faults_cover_every_kind_of_fault():
    growing = {FaultKind.TACH_GAP_CREEP, FaultKind.BEARING_DRAG_GROWTH}

    assert {kind for kind, *_ in TABLE} | growing == set(FaultKind)


def test_a_dip_of_the_supply_points_to_its_outside_cause():
    found = judged(fault(FaultKind.DI_PRESSURE_DIP, 1.4))

    assert found.outside_cause.startswith("the supply of DI water fell to 1.")
    assert found.outside_cause.endswith("in step 1, rinse (nominal 2.8)")


def test_a_creeping_gap_counts_until_the_tach_is_lost_above_the_enable_speed():
    head, outcomes = VirtualHead(LOWER), []
    for number in range(1, 8):
        found = judged(fault(FaultKind.TACH_GAP_CREEP, 0.15), head=head, run_number=number)
        outcomes.append(found.outcome)
        if found.outcome is not COUNTED:
            break

    assert outcomes[:-1] == [COUNTED] * (len(outcomes) - 1)
    assert outcomes[-1] is FAILURE
    assert len(outcomes) >= 3
    assert any("the index was never proven" in reason for reason in found.reasons)


def test_growing_drag_is_seen_run_by_run_before_it_fails():
    head, errors = VirtualHead(LOWER), []
    for number in range(1, 10):
        found = judged(fault(FaultKind.BEARING_DRAG_GROWTH, 1.03), head=head, run_number=number)
        errors.append(found.metric("coast_time_error").value)
        if found.outcome is not COUNTED:
            break

    assert len(errors) > 4
    assert all(later < earlier for earlier, later in itertools.pairwise(errors))
    assert found.outcome is FAILURE
    assert "coast against the prediction" in found.reasons[0]


def recipe_of(speeds, seconds, ramp, basis):
    """Give a recipe like the customer's, with other speeds, durations, ramps and timers."""
    rinse, fast, final = speeds
    steps = tuple(
        step.model_copy(
            update={
                "speed_rpm": speed,
                "duration_s": duration,
                "ramp_rpm_per_s": ramp,
                "timer_basis": basis,
                "end_resistivity_mohm_cm": None,
            }
        )
        for step, speed, duration in zip(
            RECIPE.steps, (rinse, rinse, fast, final), seconds, strict=True
        )
    )
    return RECIPE.model_copy(update={"name": "SPREAD", "steps": steps})


SPREAD = [
    ((600.0, 2000.0, 600.0), (20.0, 5.0, 60.0, 60.0), 40.0, 25),
    ((300.0, 1000.0, 1000.0), (20.0, 5.0, 60.0, 60.0), 80.0, 0),
    ((300.0, 2000.0, 1200.0), (20.0, 30.0, 60.0, 60.0), 80.0, 5),
    ((600.0, 1000.0, 600.0), (90.0, 5.0, 120.0, 90.0), 40.0, 13),
    ((452.0, 1333.0, 777.0), (31.7, 11.3, 83.0, 97.0), 57.3, 25),
]


@pytest.mark.parametrize("basis", list(TimerBasis))
@pytest.mark.parametrize(("speeds", "seconds", "ramp", "wafers"), SPREAD)
def test_sound_runs_over_the_whole_envelope_count_with_room_to_spare(
    speeds, seconds, ramp, wafers, basis
):
    """No reading lies nearer to its limit than the guard and twice its uncertainty."""
    load = Load(
        name=f"{wafers} wafers",
        slots=spread_slots(wafers, LOWER.slots),
        wafer_mass_g=53.05,
        seat_eccentricity_mm=0.5,
    )
    found = judged(recipe=recipe_of(speeds, seconds, ramp, basis), load=load, seed=wafers)

    assert found.outcome is COUNTED, found.reasons
    for metric in found.metrics:
        if metric.limit is not None and metric.limit.rule == "guarded":
            low = -np.inf if metric.limit.lower is None else metric.limit.lower
            high = np.inf if metric.limit.upper is None else metric.limit.upper
            room = min(metric.value - low, high - metric.value)
            assert room > 3.6 * metric.uncertainty, metric


@pytest.mark.parametrize("seed", range(5))
def test_the_customer_s_recipe_counts_whatever_the_noise(seed):
    found = judged(seed=seed)

    assert found.outcome is COUNTED, found.reasons
    assert all(metric.verdict in {Verdict.PASS, None} for metric in found.metrics)


def test_the_simulated_coast_and_dose_agree_with_their_closed_forms():
    found = judged()

    assert found.metric("coast_time_error").value == pytest.approx(0, abs=0.3)
    assert found.metric("dose_error").value == pytest.approx(0, abs=0.1)


def test_the_same_trace_is_judged_to_the_same_document():
    trace = run_trace()
    first, second = (judge(trace, RECIPE, LOWER, LIMITS, LOAD) for _ in range(2))

    assert first == second
