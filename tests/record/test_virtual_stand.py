"""The recorder against the virtual stand, over the wire, and the stand's faults."""

import pytest
from tests.demo_files import LOWER, LOWER_CHANNELS, PARTIAL_LOAD, UPPER, UPPER_CHANNELS

from spinproof.model.channel import Role
from spinproof.model.errors import StandError
from spinproof.model.program import Fault, FaultKind, Program
from spinproof.model.recipe import Recipe, Step, StepKind, TimerBasis
from spinproof.model.registers import Status
from spinproof.model.run import Ending, IncidentKind
from spinproof.record.recorder import record_run
from spinproof.record.stand import ModbusStand
from spinproof.record.trace_file import seal_journal
from spinproof.virtualhead.process_host import StandProcess

SHORT = Recipe(
    name="short",
    steps=(
        Step(
            name="dry",
            kind=StepKind.DRY,
            duration_s=20.0,
            speed_rpm=300.0,
            ramp_rpm_per_s=50.0,
            timer_basis=TimerBasis.FROM_COMMAND,
            nitrogen=True,
        ),
    ),
)


@pytest.fixture(scope="module")
def served():
    with StandProcess([UPPER, LOWER]) as process:
        yield process


@pytest.fixture
def record(served, header, tmp_path, traces):
    def recording(run, *faults):
        program = Program(run_number=run, seed=run, recipe=SHORT, load=PARTIAL_LOAD, faults=faults)
        run_header = header.model_copy(update={"recipe": SHORT, "run": f"QA-1041-L-{run}"})
        journal = tmp_path / "run.journal"
        with ModbusStand("127.0.0.1", served.port, LOWER_CHANNELS) as stand:
            ending = record_run(stand, run_header, journal, program=program)
        trace = seal_journal(journal, traces)
        assert trace.ending is ending
        return trace

    return recording


def incidents(trace):
    """Give kinds and sizes, without the roll-overs of counters that began anywhere."""
    return [(i.kind, i.size) for i in trace.incidents if i.kind is not IncidentKind.ROLL_OVER]


def test_a_run_is_recorded_from_its_start_until_the_door_is_released(record):
    trace = record(1)

    status = trace.role(Role.STATUS).counts
    assert trace.ending is Ending.COMPLETE
    assert incidents(trace) == []
    assert 20.0 < trace.duration_s < 60.0
    assert trace.role(Role.DISPLAY_SPEED).values.max() == pytest.approx(300, abs=15)
    assert status[100] & Status.DOOR_LOCKED
    assert status[100] & Status.RUNNING
    assert not status[-1] & (Status.DOOR_LOCKED | Status.RUNNING)


def test_lost_blocks_are_a_gap_of_their_samples(record):
    trace = record(2, Fault(kind=FaultKind.LOST_BLOCKS, size=4.0))

    assert trace.ending is Ending.COMPLETE
    assert incidents(trace) == [(IncidentKind.GAP, 20)]


@pytest.mark.parametrize("step_s", [3600.0, -45.0])
def test_a_step_of_the_devices_clock_moves_no_sample(record, step_s):
    trace = record(3 if step_s > 0 else 4, Fault(kind=FaultKind.CLOCK_STEP, size=step_s))

    ((kind, size),) = incidents(trace)
    assert kind is IncidentKind.CLOCK_STEP
    assert size == pytest.approx(step_s, abs=0.001)
    time_s = trace.role(Role.STATUS).time_s
    assert time_s.tolist() == [i * 50_000 / 1e6 for i in range(time_s.size)]


def test_a_sensor_that_falls_silent_has_missing_readings(record):
    trace = record(5, Fault(kind=FaultKind.STUCK_SENSOR))

    ((kind, size),) = incidents(trace)
    assert kind is IncidentKind.MISSING
    assert 0 < size < trace.role(Role.N2_TEMPERATURE).counts.size


def test_the_map_of_one_head_is_refused_by_the_other(served):
    swapped = UPPER_CHANNELS.model_copy(update={"unit_id": LOWER_CHANNELS.unit_id})

    with pytest.raises(StandError, match=r"another head: it calls itself .*QM-207-L"):
        ModbusStand("127.0.0.1", served.port, swapped)
