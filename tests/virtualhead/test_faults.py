"""Every fault of the list acts on the head, and shows where it should."""

import numpy as np
import pytest
from tests.demo_files import LOWER, UPPER
from tests.virtualhead.runs import Records, fault, program, run

from spinproof.model.program import FaultKind
from spinproof.model.registers import (
    MISSING_SIGNED,
    STEP_STOPPING,
    Field,
    Status,
)
from spinproof.virtualhead.faults import _SIZES, Disturbances, Wear, disturbances, impossible
from spinproof.virtualhead.head import VirtualHead, simulate


@pytest.fixture(scope="module")
def sound() -> Records:
    return run()


def test_every_fault_of_the_list_has_its_meaning():
    assert set(_SIZES) == set(FaultKind)
    fields = {field for field, _, _ in _SIZES.values() if field}
    assert fields == {*Disturbances.__dataclass_fields__}


@pytest.mark.parametrize(
    ("kind", "size"),
    [
        (FaultKind.TACH_DROPOUT, 1.5),
        (FaultKind.SLOW_RINSE_VALVE, 0.0),
        (FaultKind.SEAL_LEAK, 100.0),
    ],
)
def test_a_size_without_meaning_is_refused_in_words(kind, size):
    assert kind.value in impossible([fault(kind, size)])
    assert VirtualHead(LOWER).refusal(program(fault(kind, size))) is not None


def test_step_cut_short(sound):
    cut = run(fault(FaultKind.STEP_CUT_SHORT, 8.0))

    assert (sound.during(4).sum() - cut.during(4).sum()) / 20 == pytest.approx(8.0)
    assert cut.during(3).sum() == sound.during(3).sum()


def test_operator_stop():
    stopped = run(fault(FaultKind.OPERATOR_STOP, 30.0))
    started = stopped.first(stopped.bit(Status.RUNNING))

    assert stopped.first(stopped.bit(Status.STOP_PRESSED)) - started == pytest.approx(30, abs=0.06)
    assert stopped.first(stopped.during(STEP_STOPPING)) - started == pytest.approx(30, abs=0.06)
    assert not stopped.bit(Status.DOOR_CLOSED)[-1]


def test_wrong_speed_scale():
    wrong = run(fault(FaultKind.WRONG_SPEED_SCALE, 1.03))
    steady = wrong.during(3) & (wrong.time > wrong.first(wrong.during(3)) + 15)

    assert wrong.speed()[steady] == pytest.approx(618, rel=0.003)
    assert wrong[Field.DISPLAY_SPEED][steady] == pytest.approx(600, rel=0.005)


def test_wrong_pulses_per_rev(sound):
    wrong = run(fault(FaultKind.WRONG_PULSES_PER_REV, 2.0))

    def ratio(records):
        return records[Field.TACH_COUNT][-1] / records[Field.OPTICAL_COUNT][-1]

    assert ratio(sound) == pytest.approx(6, abs=0.1)
    assert ratio(wrong) == pytest.approx(12, abs=0.2)
    assert wrong.bit(Status.HOME_SENSOR).any()


def test_tach_dropout(sound):
    wrong = run(fault(FaultKind.TACH_DROPOUT, 0.1))
    share = wrong[Field.TACH_COUNT][-1] / sound[Field.TACH_COUNT][-1]

    assert share == pytest.approx(0.9, abs=0.02)
    assert wrong[Field.OPTICAL_COUNT][-1] == pytest.approx(sound[Field.OPTICAL_COUNT][-1], abs=1)


def test_a_wide_tach_gap_keeps_the_door_locked_and_sealed():
    wrong = run(fault(FaultKind.TACH_GAP, 1.9))
    pulses = np.flatnonzero(np.diff(wrong[Field.TACH_COUNT])) + 1
    last_pulse = wrong.time[pulses[-1]]
    last_rpm = 60e6 / 6 / np.diff(wrong[Field.TACH_EDGE_US][pulses[-2:]])
    given_up = wrong.first(wrong.bit(Status.FAULT))

    assert last_rpm == pytest.approx(83.8 + 2, abs=2)
    assert np.ptp(wrong[Field.OPTICAL_COUNT][wrong.time > given_up - 10]) == 0  # it stands long ago
    assert given_up - last_pulse == pytest.approx(21.0, abs=0.2)
    assert not wrong.bit(Status.POSITIONER_OUT).any()
    after = wrong.time >= given_up
    assert wrong.bit(Status.DOOR_LOCKED)[after].all()
    assert wrong.bit(Status.DOOR_CLOSED)[after].all()
    assert wrong.bit(Status.SEAL_VALVE)[after].all()
    assert (wrong[Field.SEAL_PRESSURE][after] > 150).all()
    assert not wrong.bit(Status.RUNNING)[after].any()


def test_tach_gap_creep_grows_until_it_fails_and_service_puts_it_back():
    head = VirtualHead(LOWER)
    creep = fault(FaultKind.TACH_GAP_CREEP, 0.05)
    failed = []
    for number in range(1, 24):
        records = Records(simulate(head, program(creep, run_number=number)))
        failed.append(bool(records.bit(Status.FAULT).any()))

    assert not any(failed[:5])
    assert all(failed[8:])
    assert head.wear.gap_mm == pytest.approx(23 * 0.05)
    head.service()
    assert not run(creep, head=head, run_number=24).bit(Status.FAULT).any()


def test_the_run_after_22_runs_of_creep_has_a_gap_of_1_9_mm():
    wear = Wear()
    for _ in range(22):
        wear = wear.after([fault(FaultKind.TACH_GAP_CREEP, 0.05)])

    assert 0.8 + wear.gap_mm == pytest.approx(1.9)


def test_slow_rinse_valve():
    wrong = run(fault(FaultKind.SLOW_RINSE_VALVE, 4.1))
    closed = wrong.first(wrong.during(2))
    dry = wrong.first((wrong.time > closed) & (wrong[Field.DI_FLOW] == 0))

    assert dry - closed == pytest.approx(4.1, abs=0.1)


def test_seal_leak(sound):
    wrong = run(fault(FaultKind.SEAL_LEAK, 21.0))

    def after_a_minute(records):
        begun = records.first(records.during(1))
        seal = records[Field.SEAL_PRESSURE]
        return seal[records.time >= begun + 60][0] / seal[records.time >= begun][0]

    assert after_a_minute(sound) == pytest.approx(0.98, abs=0.004)
    assert after_a_minute(wrong) == pytest.approx(0.79, abs=0.004)


def test_late_vent(sound):
    wrong = run(fault(FaultKind.LATE_VENT, 6.0))

    def vent(records):
        late = records.time > 20
        begun = records.first(late & ~records.bit(Status.SEAL_VALVE))
        return records.first(late & (records[Field.SEAL_PRESSURE] < 5)) - begun

    assert vent(sound) == pytest.approx(1.9, abs=0.15)
    assert vent(wrong) == pytest.approx(6.0, abs=0.3)


@pytest.mark.parametrize("lead", [0.5, 4.0])
def test_door_out_of_order(lead):
    wrong = run(fault(FaultKind.DOOR_OUT_OF_ORDER, lead))
    late = wrong.time > 20
    let_go = wrong.first(late & ~wrong.bit(Status.DOOR_LOCKED))
    home = wrong.first(late & wrong.bit(Status.HOME_SENSOR))

    assert home - let_go == pytest.approx(lead, abs=1.2)
    assert let_go < home


def test_heater_dead():
    wrong = run(fault(FaultKind.HEATER_DEAD))

    assert wrong.bit(Status.HEATER).any()
    assert wrong[Field.N2_TEMPERATURE].max() < 22


def test_di_pressure_dip():
    wrong = run(fault(FaultKind.DI_PRESSURE_DIP, 1.4))
    rinse = wrong.during(1)

    assert wrong[Field.DI_PRESSURE][rinse].min() == pytest.approx(1.36, abs=0.05)
    assert wrong[Field.DI_FLOW][rinse][300:480].min() < 11
    assert wrong[Field.DI_PRESSURE][wrong.during(2)] == pytest.approx(2.8, abs=0.1)


def test_unbalance(sound):
    wrong = run(fault(FaultKind.UNBALANCE, 4000.0))
    steady = sound.during(3) & (sound.time > sound.first(sound.during(3)) + 15)
    factor = wrong[Field.VIBRATION][steady].mean() / sound[Field.VIBRATION][steady].mean()

    assert factor == pytest.approx((110 + 345 + 4000) / (110 + 345), rel=0.03)


def coast_time(records: Records) -> float:
    stop = records.first(records.during(STEP_STOPPING))
    return records.first((records.time > stop) & (records.speed() < 100)) - stop


def test_bearing_drag(sound):
    wrong = run(fault(FaultKind.BEARING_DRAG, 1.5))

    assert coast_time(wrong) / coast_time(sound) == pytest.approx(1 / 1.5, abs=0.06)
    torque = [r[Field.MOTOR_CURRENT][r.during(4)][-60:].mean() / 1.1 for r in (wrong, sound)]
    assert torque[0] - torque[1] == pytest.approx(0.5 * 0.35, abs=0.01)


def test_bearing_drag_growth_stays_until_service(sound):
    head = VirtualHead(LOWER)
    growth = fault(FaultKind.BEARING_DRAG_GROWTH, 1.1)
    times = [coast_time(Records(simulate(head, program(growth)))) for _ in range(4)]

    assert times[0] == pytest.approx(coast_time(sound), abs=0.3)
    assert np.all(np.diff(times) < -0.8)
    assert head.wear.drag_factor == pytest.approx(1.1**4)
    head.service()
    assert coast_time(run(head=head)) == pytest.approx(times[0], abs=0.3)


def test_overshoot(sound):
    wrong = run(fault(FaultKind.OVERSHOOT, 5.0))

    for number, rpm in ((1, 300), (3, 600)):
        assert sound[Field.DISPLAY_SPEED][sound.during(number)].max() < 1.01 * rpm
        assert wrong[Field.DISPLAY_SPEED][wrong.during(number)].max() == pytest.approx(
            1.05 * rpm, rel=0.01
        )
        assert wrong[Field.DISPLAY_SPEED][wrong.during(number)][-1] == pytest.approx(rpm, rel=0.005)


def test_swapped_channels_show_the_other_head_at_rest():
    lower, upper = VirtualHead(LOWER), VirtualHead(UPPER)
    lower.neighbour = upper
    wrong = run(fault(FaultKind.SWAPPED_CHANNELS), head=lower)

    assert np.ptp(wrong[Field.OPTICAL_COUNT]) == 0
    assert wrong[Field.VIBRATION].max() < 0.1
    assert wrong[Field.TACH_COUNT][-1] > 1000


def test_swapped_channels_show_the_other_head_turning():
    lower, upper = VirtualHead(LOWER), VirtualHead(UPPER)
    lower.neighbour = upper
    theirs = upper.start(program())
    ours = lower.start(program(fault(FaultKind.SWAPPED_CHANNELS)))
    samples = []
    while not ours.is_over:
        theirs.sample()
        samples.append(ours.sample())
    wrong = Records(samples)

    assert wrong[Field.OPTICAL_COUNT][-1] == theirs.independent.optical.count
    assert ours.independent.optical.count > 100


@pytest.mark.parametrize("seconds", [37.5, -2.0])
def test_clock_step(seconds):
    head = VirtualHead(LOWER)
    execution = head.start(program(fault(FaultKind.CLOCK_STEP, seconds)))
    times = []
    while not execution.is_over:
        times.append(execution.device_time_us)
        execution.sample()
    steps = np.diff(times) / 1e6

    assert np.sort(steps)[[0, -1]] == pytest.approx(
        [min(0.05, seconds + 0.05), max(0.05, seconds + 0.05)]
    )
    assert np.count_nonzero(np.abs(steps - 0.05) > 1e-9) == 1
    assert np.argmax(np.abs(steps - 0.05)) / 20 == pytest.approx(4.5 + 48, abs=0.1)


def test_lost_blocks_leave_empty_slots():
    execution = VirtualHead(LOWER).start(program(fault(FaultKind.LOST_BLOCKS, 7)))
    lost = 0
    while not execution.is_over:
        lost += execution.is_losing_blocks
        for _ in range(5):
            execution.sample()

    assert lost == 7


def test_stuck_sensor():
    wrong = run(fault(FaultKind.STUCK_SENSOR))
    missing = wrong.raw[:, Field.N2_TEMPERATURE] == MISSING_SIGNED & 0xFFFF

    assert wrong.first(missing) == pytest.approx(4.5 + 48, abs=0.3)
    assert missing[wrong.time > 55].all()


def test_of_two_alike_the_later_holds():
    both = [fault(FaultKind.UNBALANCE, 1.0), fault(FaultKind.UNBALANCE, 2.0)]

    assert disturbances(both).unbalance_g_mm == 2.0
