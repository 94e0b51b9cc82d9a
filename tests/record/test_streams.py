"""Blocks of streams in the journal, and their order."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as st_numpy
from tests.record.streams_run import CHANGES, FAST, SLOW, header_with, stream_block, write_streams

from spinproof.model.errors import TraceError
from spinproof.record.frames import LONGEST_PAYLOAD
from spinproof.record.journal import JournalFollower
from spinproof.record.journal_reading import read_journal
from spinproof.record.stream_block import StreamBlock
from spinproof.record.streams import arranged, parse_stream, stream_entry, stream_payload

KINDS = ["i1", "<i2", ">i2", "<u4", "i8", "f4", "f8"]


@given(
    kind=st.sampled_from(KINDS),
    shape=st.tuples(st.integers(0, 40), st.integers(1, 6)),
    device_ns=st.none() | st.integers(-(2**60), 2**60),
    timed=st.booleans(),
    data=st.data(),
)
def test_a_block_comes_back_as_it_was_written(kind, shape, device_ns, timed, data):
    counts = data.draw(st_numpy.arrays(np.dtype(kind), shape))
    times = np.cumsum(np.ones(shape[0], dtype=np.int64)) + 2**60 if timed else None
    block = StreamBlock("accelerometer", 12, 3400, 99, counts, device_ns, times)

    payload = stream_payload(block, 3)
    read = parse_stream(payload, "accelerometer", 99)
    entry = stream_entry(payload, 99, 4711)

    assert np.array_equal(read.counts, counts, equal_nan=np.dtype(kind).kind == "f")
    assert read.counts.dtype == counts.dtype.newbyteorder("=")
    assert (read.sequence, read.first_sample, read.arrival_ns) == (12, 3400, 99)
    assert read.device_time_ns == device_ns
    assert (read.times_ns is None) if times is None else np.array_equal(read.times_ns, times)
    assert entry[:5] == (3, 12, 3400, shape[0], 99)
    assert (entry.device_ns, entry.place, entry.end) == (device_ns, 4711, 3400 + shape[0])
    assert entry.last_ns == (int(times[-1]) if timed and shape[0] else None)


def test_a_quarter_of_a_second_of_six_fast_channels_fits_into_a_frame():
    block = StreamBlock("accelerometer", 0, 0, 0, np.zeros((6400, 6)))
    assert len(stream_payload(block, 0)) < LONGEST_PAYLOAD / 50


@pytest.mark.parametrize(
    "counts",
    [np.zeros(5), np.zeros((5, 2), dtype=np.complex128), np.zeros((LONGEST_PAYLOAD, 2), np.int8)],
)
def test_what_is_no_table_of_numbers_or_too_long_is_refused_in_words(counts):
    with pytest.raises(TraceError, match="does not fit the journal"):
        stream_payload(StreamBlock("accelerometer", 7, 0, 0, counts), 0)


def test_a_journal_gives_the_blocks_of_streams_back_one_by_one(tmp_path):
    blocks = [stream_block(spec, n) for n in range(4) for spec in (FAST, SLOW)]
    read = read_journal(write_streams(tmp_path / "a.journal", header_with(FAST, SLOW), blocks))
    assert [(e.stream, e.sequence) for e in read.entries] == [(i % 2, i // 2) for i in range(8)]
    for back, block in zip(read.stream_blocks(read.entries), blocks, strict=True):
        assert back.stream == block.stream
        assert np.array_equal(back.counts, block.counts)


def test_a_torn_last_block_of_a_stream_is_left_out(tmp_path):
    blocks = [stream_block(FAST, n) for n in range(4)]
    path = write_streams(tmp_path / "a.journal", header_with(FAST), blocks, ending=None)
    path.write_bytes(path.read_bytes()[:-100])
    read = read_journal(path)
    assert [entry.sequence for entry in read.entries] == [0, 1, 2]
    assert read.left_out > 1000


def test_pages_follow_slow_streams_and_leave_fast_ones_alone(tmp_path):
    blocks = [stream_block(spec, n) for n in range(4) for spec in (FAST, SLOW)]
    path = write_streams(tmp_path / "a.journal", header_with(FAST, SLOW), blocks, ending=None)
    follower = JournalFollower(path)
    signals = follower.poll()
    follower.close()
    assert set(signals) == {"T bowl", "controller rpm"}
    assert signals["T bowl"].counts.tolist() == list(range(100))
    assert np.diff(signals["T bowl"].time_s) == pytest.approx(0.01, abs=1e-6)


def test_pages_follow_a_stream_of_changes_by_its_own_times(tmp_path):
    times = np.array([0, 30_000_000, 500_000_000])
    counts = np.array([[1, 20.5], [1, 21.0], [2, 21.0]])
    block = stream_block(CHANGES, 0, samples=3, arrival_s=5.0, counts=counts, times_ns=times)
    path = write_streams(tmp_path / "a.journal", header_with(CHANGES), [block], ending=None)
    follower = JournalFollower(path)
    signals = follower.poll()
    follower.close()
    assert signals["T seal"].time_s == pytest.approx([-0.5, -0.47, 0.0])


def entries(*numbers, samples=10, starts=None):
    starts = [n * samples for n in numbers] if starts is None else starts
    found = []
    for n, start in zip(numbers, starts, strict=True):
        counts = np.zeros((samples, 1), np.int16)
        payload = stream_payload(StreamBlock("s", n, start, 0, counts), 0)
        found.append(stream_entry(payload, 0, 0))
    return found


def test_blocks_that_come_twice_or_out_of_turn_are_put_right_and_told():
    done = arranged(entries(0, 2, 1, 1, 3))
    assert [entry.sequence for entry, _ in done.kept] == [0, 1, 2, 3]
    assert [(entry.sequence, n) for entry, n in done.repeats] == [(1, 10)]
    assert [entry.sequence for entry in done.turned] == [1]
    assert (done.gaps, done.late) == ((), ())


def test_gaps_are_counted_by_the_numbers_of_samples():
    assert arranged(entries(0, 1, 4, 5)).gaps == ((20, 20),)
    assert arranged(entries(7, 8, 9)).gaps == ()


def test_a_block_far_behind_is_kept_aside():
    done = arranged(entries(*range(2, 14), 1))
    assert [entry.sequence for entry in done.late] == [1]
    assert [entry.sequence for entry, _ in done.kept] == list(range(2, 14))


def test_samples_that_two_blocks_share_are_taken_once():
    done = arranged(entries(0, 1, 2, starts=[0, 7, 9]))
    assert [(entry.sequence, skip) for entry, skip in done.kept] == [(0, 0), (1, 3), (2, 8)]
    assert [(entry.sequence, n) for entry, n in done.repeats] == [(1, 3), (2, 8)]


@given(st.permutations(range(9)), st.sets(st.integers(0, 8), max_size=4))
def test_whatever_the_order_each_sample_is_there_once_and_what_is_not_is_a_gap(order, lost):
    came = [n for n in order if n not in lost]
    done = arranged(entries(*came, *came))
    kept = [n for e, skip in done.kept for n in range(e.first_sample + skip, e.end)]
    missing = [n for first, size in done.gaps for n in range(first, first + size)]
    whole = range(10 * min(came), 10 * max(came) + 10)
    assert sorted(kept + missing) == list(whole)
    assert kept == sorted(kept)
    assert len(done.repeats) == len(came)
