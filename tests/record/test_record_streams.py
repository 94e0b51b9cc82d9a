"""Recording streams from sources in their own threads, with and without a stand."""

import errno
import os
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD
from tests.record.fake_stand import FakeStand, serving
from tests.record.raw_run import make_block
from tests.record.sources.peers import broker
from tests.record.streams_run import (
    BLOCK_S,
    CHANGES,
    FAST,
    SLOW,
    Fed,
    counts_of,
    header_with,
    stream_block,
)

from spinproof.app.recording import RunOrder, record
from spinproof.model.channel import CountType
from spinproof.model.errors import DocumentError, StandError, StorageError
from spinproof.model.run import Ending, IncidentKind, Purpose
from spinproof.record import recorder
from spinproof.record.fast_file import open_fast, verified
from spinproof.record.journal_reading import read_journal
from spinproof.record.recorder import Pace, record_run
from spinproof.record.recovery import recover_journals
from spinproof.record.sources.messages import Parcel, write_block
from spinproof.record.sources.source import Notice, NoticeKind
from spinproof.record.stand import ModbusStand
from spinproof.record.stream_block import StreamBlock
from spinproof.record.streams_inbox import StreamInbox
from spinproof.record.trace_file import seal_journal

QUICK = Pace(poll_s=0.001, tell_s=0.0, silence_s=60.0, start_within_s=10.0)


@pytest.fixture
def journal(tmp_path):
    return tmp_path / "QA-1041-L-017.journal"


def live(spec, count):
    """Give blocks that arrive as they are pushed, a minute of a stream at once."""
    for n in range(count):
        yield stream_block(spec, n, arrival_s=time.monotonic_ns() / 1e9)


def all_done(sources):
    return lambda: all(source.done.is_set() for source in sources)


def record_all(header, journal, sources, **options):
    options = {"pace": QUICK, "stop": all_done(sources)} | options
    return record_run(None, header, journal, sources=sources, **options)


def test_every_block_of_every_source_is_in_the_journal(journal):
    sources = [Fed(FAST, live(FAST, 200)), Fed(SLOW, live(SLOW, 300))]
    told = []

    ending = record_all(header_with(FAST, SLOW), journal, sources, on_progress=told.append)

    read = read_journal(journal)
    assert (ending, read.ending) == (Ending.COMPLETE, Ending.COMPLETE)
    for place, count in ((0, 200), (1, 300)):
        own = [entry.sequence for entry in read.entries if entry.stream == place]
        assert own == list(range(count))
    assert (told[-1].stream_blocks + 0 <= 500, told[-1].lost_stream_blocks) == (True, 0)


def test_a_disk_that_flushes_slowly_loses_no_block_and_holds_up_no_source(journal, monkeypatch):
    flush, held = os.fdatasync, threading.Event()
    sources = [Fed(FAST, live(FAST, 400))]

    def slow(descriptor):
        if threading.current_thread() is not threading.main_thread() and sources[0]._thread:
            held.set()
            sources[0].done.wait(10)  # the flush lasts until the source has given everything
        flush(descriptor)

    monkeypatch.setattr(os, "fdatasync", slow)
    monkeypatch.setattr("spinproof.record.journal.SYNC_NS", 1)

    record_all(header_with(FAST), journal, sources)

    assert held.is_set()
    assert [entry.sequence for entry in read_journal(journal).entries] == list(range(400))


def test_what_does_not_fit_into_the_queue_is_lost_counted_and_told_as_a_gap(tmp_path, journal):
    inbox = StreamInbox([FAST], room=10 * 2000)
    inbox.open()
    for n in range(30):
        inbox.push(stream_block(FAST, n))
    assert inbox.lost == 20

    header = header_with(FAST)
    sources = [Fed(FAST, (b for b in live(FAST, 30) if b.sequence not in {7, 8}))]
    record_all(header, journal, sources)
    trace = seal_journal(journal, tmp_path)
    gap = next(i for i in trace.incidents if i.kind is IncidentKind.GAP)
    assert gap.size == 2 * BLOCK_S * FAST.sample_rate_hz


def test_counts_of_a_fast_stream_that_would_change_in_its_type_are_not_taken():
    inbox = StreamInbox([FAST])
    inbox.open()
    inbox.push(stream_block(FAST, 0, counts=counts_of(FAST, 0, 500).astype(np.float64)))
    inbox.push(stream_block(FAST, 1, counts=np.full((500, 2), np.nan)))
    inbox.push(stream_block(FAST, 2, counts=np.full((500, 2), 70_000)))
    assert inbox.lost == 2


def stepping(steps, started=None):
    for n, step in enumerate(steps):
        if n > 2 and started is not None:
            started.wait(10)
        counts = np.array([[step, 20.0]])
        at_s = time.monotonic_ns() / 1e9
        times = np.array([n * 100_000_000])
        yield stream_block(CHANGES, n, samples=1, arrival_s=at_s, counts=counts, times_ns=times)


def test_without_a_stand_a_run_begins_and_ends_with_the_step_of_a_stream(journal):
    seen = threading.Event()

    def progress(told):
        if told.stream_blocks >= 1:
            seen.set()

    sources = [Fed(CHANGES, stepping([0, 0, 1, 2, 100, 0], seen), pause_s=0.02)]
    ending = record_all(header_with(CHANGES), journal, sources, stop=None, on_progress=progress)
    read = read_journal(journal)
    steps = [block.counts[0, 0] for block in read.stream_blocks(read.entries)]
    assert ending is Ending.COMPLETE
    assert steps == [1, 2, 100, 0]


def test_a_run_that_no_step_begins_is_given_up_in_words(journal):
    sources = [Fed(CHANGES, stepping([0]))]
    pace = Pace(poll_s=0.001, start_within_s=0.05)
    with pytest.raises(StandError, match=r"no run began within 0\.05 s"):
        record_all(header_with(CHANGES), journal, sources, stop=None, pace=pace)
    assert not journal.exists()
    assert sources[0].stopped.is_set()


def test_sources_that_fall_silent_end_a_run_without_a_stand(journal):
    pace = Pace(poll_s=0.001, silence_s=0.05)
    ending = record_all(
        header_with(FAST), journal, [Fed(FAST, live(FAST, 3))], stop=None, pace=pace
    )
    assert ending is Ending.STAND_LOST


def test_a_run_longer_than_its_recipe_may_take_is_ended(journal, monkeypatch):
    monkeypatch.setattr(recorder, "longest_run_s", lambda _recipe: 0.05)
    ending = record_all(header_with(FAST), journal, [Fed(FAST, live(FAST, 3))], stop=None)
    assert ending is Ending.NEVER_FINISHED


def test_a_source_that_no_stream_of_the_map_bears_is_refused(journal):
    with pytest.raises(DocumentError, match="no stream of the map is named thermometers"):
        record_all(header_with(FAST), journal, [Fed(SLOW, [])])


class Unreachable(Fed):
    """A source that cannot be reached."""

    def start(self, _push):
        """Fail."""
        raise StandError("the broker does not answer", where="here", mend="Start it.")

    def stop(self):
        """Do without."""
        self.stopped.set()


def test_when_one_source_cannot_be_reached_the_others_are_stopped(journal):
    sources = [Fed(FAST, live(FAST, 3)), Unreachable(SLOW, [])]
    with pytest.raises(StandError, match="broker"):
        record_all(header_with(FAST, SLOW), journal, sources)
    assert sources[0].stopped.is_set()
    assert not journal.exists()


def test_a_full_disk_ends_the_run_and_keeps_what_was_written(tmp_path, journal, monkeypatch):
    write, room = os.write, [40_000]

    def small(descriptor, data):
        if room[0] <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        taken = write(descriptor, bytes(data)[: room[0]])
        room[0] -= taken
        return taken

    with monkeypatch.context() as patched:
        patched.setattr(os, "write", small)
        with pytest.raises(StorageError, match="no space left"):
            record_all(header_with(FAST), journal, [Fed(FAST, live(FAST, 100))], stop=None)
    traces = tmp_path / "traces"
    traces.mkdir()
    (recovery,) = recover_journals(tmp_path, traces)
    assert recovery.trace.ending is Ending.INTERRUPTED
    (path,) = traces.glob("*.fast")
    samples = open_fast(path).samples
    assert samples > 3 * 500
    assert samples % 500 == 0


def test_a_stand_and_streams_are_recorded_together(tmp_path, journal):
    stand_ready = threading.Event()

    began = threading.Event()

    def blocks():
        began.wait(10)
        for n in range(1000):
            yield stream_block(FAST, n, arrival_s=time.monotonic_ns() / 1e9)

    fake = FakeStand()
    header = header_with(FAST, stand=True)
    fake.begin(17)
    for n in range(30):
        fake.deliver(n, make_block(n))
    source = Fed(FAST, blocks())

    def finish(_progress):
        began.set()
        if source.done.is_set() and not stand_ready.is_set():
            stand_ready.set()
            fake.finish()

    with (
        serving(fake),
        ModbusStand("127.0.0.1", fake.port, header.channel_map) as stand,
    ):
        ending = record_run(
            stand, header, journal, sources=[source], pace=QUICK, on_progress=finish
        )
    read = read_journal(journal)
    assert ending is Ending.COMPLETE
    assert len(read.blocks) == 30
    assert [entry.sequence for entry in read.entries] == list(range(1000))
    trace = seal_journal(journal, tmp_path)
    assert [clock.stream for clock in trace.clocks] == ["stand", "accelerometer"]


def test_a_map_without_anything_live_is_refused_without_a_stand(tmp_path):
    order = RunOrder(
        "r", Purpose.TRIAL, CR_1, LOWER, PARTIAL_LOAD, header_with(stand=True).channel_map
    )
    with pytest.raises(DocumentError, match="nothing to record"):
        record(order, None, tmp_path, tmp_path)
    assert list(Path(tmp_path).iterdir()) == []


def test_what_a_source_had_to_say_is_told_in_the_trace_at_its_time(tmp_path, journal):
    source = Fed(FAST, live(FAST, 20))
    first_ns = time.monotonic_ns() + 5_000_000_000
    source.notices = (
        Notice(NoticeKind.LOST, None, "the broker went away", first_ns, times=3),
        Notice(NoticeKind.MISSING, "a axial", "the device says it has none", first_ns),
    )
    record_all(header_with(FAST), journal, [source])
    trace = seal_journal(journal, tmp_path)
    lost, missing = (i for i in trace.incidents if i.kind is IncidentKind.SOURCE)
    assert (lost.text, lost.size) == ("accelerometer: the broker went away", 3)
    assert (missing.channel, missing.size) == ("a axial", 1)
    assert 4 < lost.time_s < 60


def test_a_run_over_a_broker_is_recorded_sealed_and_read_back(tmp_path):
    with broker(tmp_path) as served, served.publisher() as publish:
        streams = tuple(s.model_copy(update={"address": served.address}) for s in (FAST, SLOW))
        channel_map = header_with(*streams).channel_map
        began, sent = threading.Event(), threading.Event()

        def work():
            began.wait(10)
            for n in range(20):
                for spec in streams:
                    block = stream_block(spec, n)
                    parcel = Parcel(n, block.first_sample, 0, block.counts, ())
                    publish([write_block(parcel, CountType.I16)], spec.topic)
            sent.set()

        def over():
            began.set()
            return sent.is_set()

        worker = threading.Thread(target=work)
        worker.start()
        order = RunOrder("r", Purpose.TRIAL, CR_1, LOWER, PARTIAL_LOAD, channel_map)
        trace = record(order, None, tmp_path, tmp_path, pace=QUICK, stop=over)
        worker.join()
    assert trace.header.stand_identity == "streams accelerometer, thermometers"
    assert trace.signals["T bowl"].counts.tolist() == list(range(500))
    (file,) = trace.fast
    reader = verified(tmp_path / f"{file.sha256}.fast", file.sha256)
    assert np.array_equal(np.concatenate(list(reader.batches())), counts_of(FAST, 0, 10_000))
    assert [clock.blocks for clock in trace.clocks] == [20, 20]


def test_single_readings_of_a_stream_that_is_not_regular_keep_the_time_of_their_message(journal):
    seen = threading.Event()

    def blocks():
        for n in range(3):
            at_s, counts = time.monotonic_ns() / 1e9, np.array([[1, 20.0]])
            yield stream_block(
                CHANGES, n, samples=1, arrival_s=at_s, device_s=5.0 + n * n, counts=counts
            )
            seen.wait(10)

    source = Fed(CHANGES, blocks())
    record_all(header_with(CHANGES), journal, [source], on_progress=lambda _told: seen.set())
    told = [entry.last_ns for entry in read_journal(journal).entries]
    assert told == [5_000_000_000, 6_000_000_000, 9_000_000_000]


def test_an_empty_block_is_nothing(journal):
    nothing = StreamBlock("accelerometer", 0, 0, 1, np.empty((0, 2), np.int16))
    record_all(header_with(FAST), journal, [Fed(FAST, [nothing])])
    assert read_journal(journal).entries == ()
