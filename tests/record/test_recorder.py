"""Recording a run, and everything that can happen to it."""

import errno
import os
from contextlib import contextmanager
from itertools import count

import pytest
from pymodbus.constants import ExcCodes
from tests.demo_files import CR_1, LOWER_CHANNELS, PARTIAL_LOAD
from tests.record.fake_stand import FakeStand, serving
from tests.record.raw_run import RUN, make_block

from spinproof.files.lock import hold
from spinproof.model.errors import BusyError, JournalError, StandError, StorageError
from spinproof.model.program import Program
from spinproof.model.registers import (
    HOLDING_COMMAND,
    RING_SLOTS,
    Header,
    StandFlag,
    StandState,
    Status,
)
from spinproof.model.run import Ending, IncidentKind
from spinproof.record import recorder
from spinproof.record.journal_reading import read_journal
from spinproof.record.recorder import Pace, longest_run_s, record_run
from spinproof.record.stand import ModbusStand
from spinproof.record.trace_file import seal_journal

QUICK = Pace(poll_s=0.001, tell_s=0.0, silence_s=0.05, start_within_s=5.0, reconnect_s=(0.001,) * 5)
PROGRAM = Program(run_number=RUN, seed=1, recipe=CR_1, load=PARTIAL_LOAD)


@contextmanager
def standing(script=None, *, flags=StandFlag.SIMULATED | StandFlag.WANTS_ACKNOWLEDGE):
    """Serve a stand whose script goes one step on with each question for its state.

    What the script yields is the exception code of the answer, or None.
    """
    fake = FakeStand()
    fake.set(Header.FLAGS, flags)
    steps = iter(script(fake) if script else ())

    def on_read(address, _count):
        return next(steps, None) if address == 0 else None

    with serving(fake), connected(fake) as stand:
        fake.on_read = on_read
        yield fake, stand


def connected(fake):
    return ModbusStand("127.0.0.1", fake.port, LOWER_CHANNELS, timeout_s=0.2, retries=0)


def deliver(fake, numbers, run=RUN):
    for number in numbers:
        fake.deliver(number, make_block(number, run=run))


def whole_run(fake):
    fake.begin(RUN)
    for start in range(0, 30, 10):
        deliver(fake, range(start, start + 10))
        yield
    fake.finish()


@pytest.fixture
def journal(tmp_path):
    return tmp_path / "run.journal"


def test_a_whole_run_is_complete_with_every_block(journal, header):
    with standing(whole_run) as (fake, stand):
        ending = record_run(stand, header, journal, pace=QUICK)

    read = read_journal(journal)
    assert ending is read.ending is Ending.COMPLETE
    assert list(read.blocks) == [make_block(n) for n in range(30)]
    assert read.opening.header == header
    assert read.opening.run_number == RUN
    assert fake.acknowledged == 30


def test_blocks_that_come_after_the_end_was_announced_are_still_read(journal, header):
    def script(fake):
        fake.begin(RUN)
        yield
        deliver(fake, range(350))
        fake.finish()

    with standing(script) as (_fake, stand):
        assert record_run(stand, header, journal, pace=QUICK) is Ending.COMPLETE

    assert len(read_journal(journal).blocks) == 350


def test_a_program_is_loaded_and_started_before_its_run_is_followed(journal, header):
    with standing() as (fake, stand):
        fake.begin(RUN - 1)
        fake.finish()

        def on_write(address):
            if address == HOLDING_COMMAND:
                fake.begin(RUN)
                deliver(fake, range(10))
                fake.finish()

        fake.on_write = on_write
        ending = record_run(stand, header, journal, program=PROGRAM, pace=QUICK)

    assert ending is Ending.COMPLETE
    assert Program.model_validate_json(fake.program_text(), strict=False) == PROGRAM
    assert len(read_journal(journal).blocks) == 10


def test_the_recorder_waits_for_the_next_run_and_not_for_the_last_one(journal, header):
    def script(fake):
        fake.begin(RUN - 1)
        deliver(fake, range(5))
        fake.finish()
        yield from [None] * 5
        yield from whole_run(fake)

    with standing(script) as (_fake, stand):
        assert record_run(stand, header, journal, pace=QUICK) is Ending.COMPLETE

    assert read_journal(journal).opening.run_number == RUN
    assert len(read_journal(journal).blocks) == 30


def test_a_run_that_never_begins_is_given_up_without_a_journal(journal, header):
    with standing() as (_fake, stand):
        pace = Pace(poll_s=0.001, start_within_s=0.01)
        with pytest.raises(StandError, match=r"no run began within 0\.01 s"):
            record_run(stand, header, journal, pace=pace)

    assert not journal.exists()


def test_a_run_that_went_on_already_is_joined_and_its_lost_start_is_a_gap(journal, header, traces):
    def script(fake):
        fake.begin(RUN)
        deliver(fake, range(RING_SLOTS + 20))
        yield
        fake.finish()

    with standing(script, flags=StandFlag.SIMULATED) as (fake, stand):
        told = []
        record_run(stand, header, journal, pace=QUICK, on_progress=told.append)

    trace = seal_journal(journal, traces)
    assert [(i.kind, i.size) for i in trace.incidents] == [(IncidentKind.GAP, 100)]
    assert told[-1].lost_blocks == 20
    assert fake.block_reads == RING_SLOTS  # none is spent on what is gone for sure
    assert fake.written == {}


def test_blocks_that_are_overwritten_under_way_become_a_gap(journal, header, traces):
    def script(fake):
        fake.begin(RUN)
        deliver(fake, range(20))
        for number in (7, 8, 9):
            fake.put(number, make_block(number + RING_SLOTS))
        yield
        fake.finish()

    told = []
    with standing(script) as (_fake, stand):
        ending = record_run(stand, header, journal, pace=QUICK, on_progress=told.append)

    assert ending is Ending.COMPLETE
    assert told[-1].lost_blocks == 3
    (gap,) = seal_journal(journal, traces).incidents
    assert (gap.kind, gap.size, gap.time_s) == (IncidentKind.GAP, 15, 1.75)


def test_a_stand_that_goes_and_comes_back_costs_nothing_that_it_kept(journal, header, traces):
    def script(fake):
        fake.begin(RUN)
        deliver(fake, range(10))
        yield
        yield
        fake.delay_s = 0.3  # longer than the recorder waits
        yield
        fake.delay_s = 0.0
        deliver(fake, range(10, 30))
        fake.finish()

    with standing(script) as (_fake, stand):
        told = []
        ending = record_run(stand, header, journal, pace=QUICK, on_progress=told.append)

    assert ending is Ending.COMPLETE
    assert seal_journal(journal, traces).incidents == ()
    assert told[-1].interruptions == 1


def test_patience_begins_anew_with_each_interruption(journal, header):
    def script(fake):
        fake.begin(RUN)
        yield
        for number in range(4):
            deliver(fake, [number])
            yield
            yield ExcCodes.DEVICE_BUSY
            yield  # the recorder connects again
        fake.finish()

    pace = Pace(poll_s=0.001, start_within_s=5.0, tell_s=0.0, reconnect_s=(0.001,))
    told = []
    with standing(script) as (_fake, stand):
        ending = record_run(stand, header, journal, pace=pace, on_progress=told.append)

    assert ending is Ending.COMPLETE
    assert (told[-1].interruptions, told[-1].blocks) == (4, 4)


def test_a_stand_that_stays_away_is_lost_and_what_it_gave_is_kept(journal, header):
    pauses = []

    class Counting:
        def __iter__(self):
            for pause in (0.001, 0.002, 0.003):
                pauses.append(pause)
                yield pause

    fake = FakeStand()
    fake.begin(RUN)
    deliver(fake, range(10))
    with serving(fake):
        stand = connected(fake)

        def on_read(address, _count):
            if fake.acknowledged == 10:
                fake.delay_s = 60.0

        fake.on_read = on_read
        pace = Pace(poll_s=0.001, reconnect_s=Counting())
        with stand:
            ending = record_run(stand, header, journal, pace=pace)

    assert ending is Ending.STAND_LOST
    assert pauses == [0.001, 0.002, 0.003]
    assert read_journal(journal).ending is Ending.STAND_LOST
    assert len(read_journal(journal).blocks) == 10


def begin_another(fake):
    fake.begin(RUN + 1)
    deliver(fake, range(30), run=RUN + 1)


def restart(fake):
    fake.set(Header.STATE, StandState.IDLE)
    fake.set(Header.RUN_NUMBER, 0)
    fake.count(0)


ENDS = {
    "another run begins": begin_another,
    "the stand restarts": restart,
    "no more blocks come": lambda _fake: None,
}


@pytest.mark.parametrize("happens", ENDS.values(), ids=ENDS)
def test_a_run_that_breaks_off_is_not_complete(journal, header, happens):
    def script(fake):
        fake.begin(RUN)
        deliver(fake, range(10))
        yield  # the recorder finds the run
        yield  # and reads its blocks
        happens(fake)

    with standing(script) as (_fake, stand):
        assert record_run(stand, header, journal, pace=QUICK) is Ending.STAND_LOST

    assert list(read_journal(journal).blocks) == [make_block(n) for n in range(10)]


def lasting(header, duration_s):
    """Give the same run with a recipe of one short step."""
    step = header.recipe.steps[0].model_copy(update={"duration_s": duration_s})
    recipe = header.recipe.model_copy(update={"steps": (step,)})
    return header.model_copy(update={"recipe": recipe})


def test_the_longest_time_of_a_run_follows_from_its_recipe(header):
    assert longest_run_s(header.recipe) == pytest.approx(1.2 * 380 + 300)


def test_a_run_that_does_not_end_in_the_time_its_recipe_could_need_is_given_up(journal, header):
    header = lasting(header, 5.0)

    def script(fake):
        fake.begin(RUN)
        for start in count(0, 100):
            deliver(fake, range(start, start + 100))
            yield

    with standing(script) as (_fake, stand):
        assert record_run(stand, header, journal, pace=QUICK) is Ending.NEVER_FINISHED

    assert len(read_journal(journal).blocks) / 4 == pytest.approx(306, abs=26)


def test_a_run_that_ended_late_did_end(journal, header):
    header = lasting(header, 5.0)

    def script(fake):
        fake.begin(RUN)
        yield
        for start in range(0, 1200, 100):
            deliver(fake, range(start, start + 100))
            yield
        deliver(fake, range(1200, 1300))
        fake.finish()

    with standing(script) as (_fake, stand):
        assert record_run(stand, header, journal, pace=QUICK) is Ending.COMPLETE


class Clock:
    """A clock that only sleeping moves on."""

    now_s = 0.0

    def monotonic(self):
        """Give the time in seconds."""
        return self.now_s

    def monotonic_ns(self):
        """Give the time in nanoseconds."""
        return round(self.now_s * 1e9)

    def sleep(self, seconds):
        """Let time go by."""
        self.now_s += seconds


@pytest.mark.parametrize(
    ("silent_polls", "ending"), [(14, Ending.COMPLETE), (17, Ending.STAND_LOST)]
)
def test_a_running_stand_may_be_silent_for_a_while_again_and_again(
    journal, header, monkeypatch, silent_polls, ending
):
    def script(fake):
        fake.begin(RUN)
        yield
        for number in range(5):
            deliver(fake, [number])
            yield from [None] * (1 + silent_polls)
        fake.finish()

    monkeypatch.setattr(recorder, "time", Clock())
    with standing(script, flags=StandFlag.SIMULATED) as (_fake, stand):
        pace = Pace(poll_s=1.0, silence_s=15.0)
        assert record_run(stand, header, journal, pace=pace) is ending

    assert len(read_journal(journal).blocks) == (5 if ending is Ending.COMPLETE else 1)


def test_an_interrupt_ends_the_recording_tidily(journal, header):
    def interrupt(progress):
        if progress.blocks >= 13:
            raise KeyboardInterrupt

    with standing(whole_run) as (_fake, stand):
        ending = record_run(stand, header, journal, pace=QUICK, on_progress=interrupt)

    read = read_journal(journal)
    assert ending is read.ending is Ending.INTERRUPTED
    assert (len(read.blocks), read.left_out) == (13, 0)


def test_a_full_disk_ends_the_recording_and_says_what_is_safe(journal, header, monkeypatch):
    write, calls = os.write, []

    def full(descriptor, data):
        calls.append(len(data))
        if len(calls) > 8:
            raise OSError(errno.ENOSPC, "No space left on device")
        return write(descriptor, data)

    with standing(whole_run) as (_fake, stand):
        monkeypatch.setattr(os, "write", full)
        with pytest.raises(StorageError, match="are sealed at the next start"):
            record_run(stand, header, journal, pace=QUICK)

    assert list(read_journal(journal).blocks) == [make_block(n) for n in range(7)]


def test_a_run_that_somebody_records_already_is_busy(journal, header):
    with (
        standing(whole_run) as (_fake, stand),
        hold(journal, "the run"),
        pytest.raises(BusyError, match="run QA-1041-L-017 is in use"),
    ):
        record_run(stand, header, journal, pace=QUICK)


def test_a_second_recording_of_the_same_run_touches_nothing(journal, header):
    with standing(whole_run) as (_fake, stand):
        record_run(stand, header, journal, pace=QUICK)
    before = journal.read_bytes()

    with (
        standing(whole_run) as (_fake, stand),
        pytest.raises(JournalError, match="holds a recording already"),
    ):
        record_run(stand, header, journal, pace=QUICK)

    assert journal.read_bytes() == before


def test_progress_tells_what_a_person_wants_to_see(journal, header):
    told = []
    with standing(whole_run) as (_fake, stand):
        record_run(stand, header, journal, pace=QUICK, on_progress=told.append)

    last = told[-1]
    assert (last.seconds, last.blocks, last.lost_blocks, last.interruptions) == (7.5, 30, 0, 0)
    assert (last.step, last.speed_rpm) == (1, 450 + 149 % 3)
    assert last.status == Status(0x03FF)
    assert [p.seconds for p in told] == sorted(p.seconds for p in told)


def test_progress_is_told_no_more_often_than_asked(journal, header):
    told = []
    with standing(whole_run) as (_fake, stand):
        pace = Pace(poll_s=0.001, tell_s=3600.0)
        record_run(stand, header, journal, pace=pace, on_progress=told.append)

    assert len(told) == 1  # the last one, always
