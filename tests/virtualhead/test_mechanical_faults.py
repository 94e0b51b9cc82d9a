"""Faults of rotor, drive, mounts, positioner and supplies act as their names say."""

import numpy as np
import pytest
from tests.virtualhead.runs import SHORT, Records, fault, run

from spinproof.model.program import FaultKind
from spinproof.model.registers import STEP_STOPPING, Field, Status

AMPERE_PER_N_M = 1.1
MIDDLE_S = 4.5 + 48


@pytest.fixture(scope="module")
def sound() -> Records:
    return run()


def coast_time(records: Records) -> float:
    """Time from the stop down to 100 rpm."""
    stop = records.first(records.during(STEP_STOPPING))
    return records.first((records.time > stop) & (records.speed() < 100)) - stop


def hold_torque(records: Records, number: int = 4) -> float:
    """Motor torque at the end of a step, from the current."""
    return float(records[Field.MOTOR_CURRENT][records.during(number)][-60:].mean() / AMPERE_PER_N_M)


def hold_vibration(records: Records) -> float:
    return float(records[Field.VIBRATION][records.during(3)][-200:].mean())


def rise_time(records: Records) -> float:
    """Time from the beginning of the fast step to 590 rpm."""
    begun = records.first(records.during(3))
    return records.first(records.during(3) & (records[Field.DISPLAY_SPEED] > 590)) - begun


def test_a_seal_rub_adds_torque_shortens_the_coast_and_is_heard(sound):
    wrong = run(fault(FaultKind.SEAL_RUB, 0.1))

    assert hold_torque(wrong) - hold_torque(sound) == pytest.approx(0.1, abs=0.01)
    assert coast_time(wrong) < 0.9 * coast_time(sound)
    broad = hold_vibration(wrong) ** 2 - hold_vibration(sound) ** 2
    assert broad == pytest.approx(0.64**2 - 0.04**2, rel=0.1)


def test_windage_shows_at_the_top_of_the_coast_more_than_in_its_tail(sound):
    wrong = run(fault(FaultKind.WINDAGE, 3.0))

    def part(records, upper, lower):
        speed, stopping = records.speed(), records.during(STEP_STOPPING)
        return np.count_nonzero(stopping & (speed < upper) & (speed > lower))

    top = part(wrong, 480, 380) / part(sound, 480, 380)
    tail = part(wrong, 200, 100) / part(sound, 200, 100)
    assert top < 0.97
    assert top < tail < 1.03
    assert hold_torque(wrong, 3) > hold_torque(sound, 3)


def test_a_dragging_brake_shows_in_the_stop_alone(sound):
    wrong = run(fault(FaultKind.BRAKE_DRAG, 0.5))

    assert hold_torque(wrong) == pytest.approx(hold_torque(sound), abs=0.005)
    assert coast_time(wrong) < 0.5 * coast_time(sound)


def test_added_inertia_lengthens_the_coast_and_leaves_the_hold(sound):
    wrong = run(fault(FaultKind.ADDED_INERTIA, 0.05))

    assert hold_torque(wrong) == pytest.approx(hold_torque(sound), abs=0.005)
    assert coast_time(wrong) > 1.1 * coast_time(sound)


def test_softer_mounts_vibrate_less_above_the_resonance(sound):
    softer, stiffer = (run(fault(FaultKind.SOFT_MOUNTS, factor)) for factor in (0.5, 2.0))

    assert hold_vibration(softer) < 0.97 * hold_vibration(sound)
    assert hold_vibration(stiffer) > 1.05 * hold_vibration(sound)


def test_a_weak_drive_gives_no_more_than_its_limit_and_rises_late(sound):
    wrong = run(fault(FaultKind.WEAK_DRIVE, 1.0))

    assert wrong[Field.MOTOR_CURRENT].max() == pytest.approx(1.1, abs=0.1)
    assert sound[Field.MOTOR_CURRENT].max() > 1.5
    assert rise_time(wrong) > rise_time(sound) + 1


def test_a_low_gain_lets_the_speed_lag_behind_its_ramp(sound):
    wrong = run(fault(FaultKind.LOW_GAIN, 0.1))

    def lag(records):
        since = records.time - records.first(records.during(3))
        ramping = (since > 0.5) & (since < 5)
        return np.mean(300 + 50 * since[ramping] - records[Field.DISPLAY_SPEED][ramping])

    assert lag(wrong) > lag(sound) + 2


def test_a_slipping_belt_carries_less_than_the_motor_gives(sound):
    wrong = run(fault(FaultKind.BELT_SLIP, 1.0))

    assert wrong[Field.MOTOR_CURRENT].max() > 1.3
    assert rise_time(wrong) > rise_time(sound) + 1
    assert hold_torque(wrong) == pytest.approx(hold_torque(sound), abs=0.01)


def test_a_loose_weight_is_one_step_of_vibration_in_the_middle(sound):
    wrong = run(fault(FaultKind.LOOSE_WEIGHT, 1000.0))
    more = wrong[Field.VIBRATION] - sound[Field.VIBRATION]

    assert more[wrong.time < MIDDLE_S].max() < 0.2
    late = wrong.during(3) & (wrong.time > MIDDLE_S + 15)
    ratio = wrong[Field.VIBRATION][late].mean() / sound[Field.VIBRATION][late].mean()
    assert ratio == pytest.approx(1455 / 455, rel=0.05)


def test_a_load_creeps_after_the_first_fast_turn_and_stays():
    fast = SHORT.steps[2].model_copy(update={"speed_rpm": 900.0, "duration_s": 70.0})
    recipe = SHORT.model_copy(update={"steps": (*SHORT.steps[:2], fast, SHORT.steps[3])})
    still, wrong = run(recipe=recipe), run(fault(FaultKind.WAFER_SHIFT, 500.0), recipe=recipe)
    ratio = wrong[Field.VIBRATION] / still[Field.VIBRATION]
    held = wrong.first(wrong.during(3)) + 12

    def around(moment):
        return ratio[np.abs(wrong.time - moment) < 1].mean()

    assert ratio[wrong.during(1)][100:].mean() == pytest.approx(1, abs=0.03)
    assert around(held + 5) < around(held + 15) < around(held + 30)
    assert around(held + 40) == pytest.approx(955 / 455, rel=0.05)


def test_double_pulses_are_counted_twice(sound):
    wrong = run(fault(FaultKind.DOUBLE_PULSES, 0.05))
    share = wrong[Field.TACH_COUNT][-1] / sound[Field.TACH_COUNT][-1]

    assert share == pytest.approx(1.05, abs=0.02)


def test_a_tach_that_dies_in_the_stop_keeps_the_door_locked():
    wrong = run(fault(FaultKind.TACH_DIES, 300.0))
    pulses = np.flatnonzero(np.diff(wrong[Field.TACH_COUNT]))

    assert wrong.speed()[pulses[-1]] == pytest.approx(300, abs=8)
    assert wrong.bit(Status.FAULT)[-1]
    assert wrong.bit(Status.DOOR_LOCKED)[-1]


def test_a_dead_home_sensor_keeps_the_door_locked():
    wrong = run(fault(FaultKind.HOME_SENSOR_DEAD))

    assert wrong.bit(Status.POSITIONER_OUT).any()
    assert not wrong.bit(Status.HOME_SENSOR).any()
    assert wrong.bit(Status.FAULT)[-1]
    assert wrong.bit(Status.DOOR_LOCKED)[-1]


def test_an_early_positioner_comes_out_at_its_speed():
    wrong = run(fault(FaultKind.EARLY_POSITIONER, 120.0))
    speed = wrong.speed()[np.argmax(wrong.bit(Status.POSITIONER_OUT))]

    assert speed == pytest.approx(122, abs=6)  # the optical tach tells it a turn late


@pytest.mark.parametrize(
    ("kind", "field", "number"),
    [
        (FaultKind.NITROGEN_LOW, Field.N2_FLOW, 3),
        (FaultKind.WATER_PINCHED, Field.DI_FLOW, 1),
    ],
)
def test_a_low_flow_is_its_share_of_the_nominal(sound, kind, field, number):
    wrong = run(fault(kind, 0.6))

    def flow(records):
        return records[field][records.during(number)][-200:].mean()

    assert flow(wrong) / flow(sound) == pytest.approx(0.6, abs=0.01)


def test_a_frozen_sensor_repeats_itself():
    wrong = run(fault(FaultKind.FROZEN_SENSOR))

    assert np.ptp(wrong[Field.N2_TEMPERATURE][wrong.time > MIDDLE_S + 0.3]) == 0


def test_a_spike_is_one_reading(sound):
    wrong = run(fault(FaultKind.SPIKE, 40.0))
    more = wrong[Field.N2_TEMPERATURE] - sound[Field.N2_TEMPERATURE]

    assert np.count_nonzero(more > 35) == 5
    assert wrong.first(more > 35) == pytest.approx(MIDDLE_S, abs=0.3)


def test_vibration_in_peaks_shows_too_much(sound):
    wrong = run(fault(FaultKind.VIBRATION_SCALE, 2**0.5))

    assert hold_vibration(wrong) / hold_vibration(sound) == pytest.approx(2**0.5, rel=0.02)


def test_another_recipe_dries_at_other_speeds(sound):
    wrong = run(fault(FaultKind.WRONG_RECIPE, 0.9))

    assert wrong.speed()[wrong.during(3)][-100:] == pytest.approx(540, rel=0.005)
    assert wrong.speed()[wrong.during(1)][-100:] == pytest.approx(300, rel=0.005)
