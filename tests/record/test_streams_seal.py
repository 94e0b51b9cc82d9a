"""Streams in the sealed trace: slow ones as columns, fast ones as files, all on one clock."""

import numpy as np
import pytest
from tests.record.raw_run import LAYOUT, RUN, make_block
from tests.record.streams_run import (
    BLOCK_S,
    CHANGES,
    FAST,
    FAST_HZ,
    SLOW,
    SLOW_HZ,
    channel,
    counts_of,
    header_with,
    stream_block,
    write_streams,
)

from spinproof.files.digest import sha256_of_file
from spinproof.model.channel import Role
from spinproof.model.run import Ending, IncidentKind
from spinproof.record import streams_seal
from spinproof.record.fast_file import open_fast, sample_times, verified
from spinproof.record.journal_reading import read_journal
from spinproof.record.trace_file import read_summary, read_trace, seal_journal

BLOCKS = 48
"""Twelve seconds."""


def sealed(tmp_path, header, items, **options):
    folder = tmp_path / "traces"
    folder.mkdir(exist_ok=True)
    return seal_journal(write_streams(tmp_path / "a.journal", header, items, **options), folder)


def fast_counts(tmp_path, file):
    reader = verified(tmp_path / "traces" / f"{file.sha256}.fast", file.sha256)
    return np.concatenate([np.empty((0, 2), np.int16), *reader.batches()])


def kinds(trace):
    return [incident.kind for incident in trace.incidents]


def both(numbers=range(BLOCKS), **options):
    return [stream_block(spec, n, **options) for n in numbers for spec in (FAST, SLOW)]


def stand_blocks(seconds, begin_s=100.0):
    """Give blocks of a stand whose first sample was taken at some monotonic time."""
    return [(make_block(n), begin_s + n * 0.25 + 0.2 + 0.002) for n in range(round(seconds / 0.25))]


def test_streams_without_a_stand_make_a_trace_that_reads_back(tmp_path):
    trace = sealed(tmp_path, header_with(FAST, SLOW), both())

    again = read_trace(tmp_path / "traces" / f"{trace.sha256}.parquet")
    assert (again.fast, again.clocks, again.incidents) == (trace.fast, trace.clocks, ())
    assert set(again.signals) == {"T bowl", "controller rpm"}
    samples = round(BLOCKS * BLOCK_S * SLOW_HZ)
    assert np.array_equal(again.signals["T bowl"].counts, counts_of(SLOW, 0, samples)[:, 0])
    assert np.diff(again.signals["T bowl"].time_s) == pytest.approx(1 / SLOW_HZ, rel=1e-3)
    (file,) = again.fast
    assert np.array_equal(fast_counts(tmp_path, file), counts_of(FAST, 0, file.samples))
    assert file.samples == BLOCKS * BLOCK_S * FAST_HZ
    assert file.spec.rate_hz == pytest.approx(FAST_HZ, rel=1e-4)
    assert min(file.spec.start_s, again.signals["T bowl"].time_s[0]) == pytest.approx(0, abs=1e-9)


def test_a_page_can_ask_for_slow_channels_alone(tmp_path):
    trace = sealed(tmp_path, header_with(FAST, SLOW), both())
    path = tmp_path / "traces" / f"{trace.sha256}.parquet"
    assert set(read_trace(path, channels={"T bowl", "a axial"}).signals) == {"T bowl"}


def test_sealing_again_after_a_crash_gives_the_same_files(tmp_path):
    journal = write_streams(tmp_path / "a.journal", header_with(FAST, SLOW), both())
    data = journal.read_bytes()
    folder = tmp_path / "traces"
    folder.mkdir()
    seal_journal(journal, folder)
    names = sorted(path.name for path in folder.iterdir())
    journal.write_bytes(data)
    seal_journal(journal, folder)
    assert sorted(path.name for path in folder.iterdir()) == names
    assert len(names) == 2


def test_a_trace_without_streams_says_nothing_of_them(tmp_path):
    trace = sealed(
        tmp_path, header_with(stand=True), stand_blocks(2), layout=LAYOUT, run_number=RUN
    )
    summary = read_summary(tmp_path / "traces" / f"{trace.sha256}.parquet")
    assert (summary.fast, summary.clocks) == ((), ())
    assert not {"fast", "clocks"} & summary.to_document().keys()


def test_a_recording_that_was_cut_off_is_sealed_with_what_is_whole(tmp_path):
    journal = write_streams(
        tmp_path / "a.journal", header_with(FAST), both(range(8))[::2], ending=None
    )
    journal.write_bytes(journal.read_bytes()[:-7])
    (tmp_path / "traces").mkdir()
    trace = seal_journal(journal, tmp_path / "traces")
    assert trace.ending is Ending.INTERRUPTED
    assert kinds(trace) == [IncidentKind.TORN_TAIL]
    assert trace.fast[0].samples == 7 * BLOCK_S * FAST_HZ


def jitter(n, seed=5, mean_s=2e-3):
    return np.random.default_rng(seed).exponential(mean_s, n) + 1e-3


@pytest.mark.parametrize("drift_ppm", [-80.0, 0.0, 120.0])
def test_streams_of_drifting_clocks_lie_on_the_time_of_the_stand(tmp_path, drift_ppm):
    seconds, begin_s, late_s = 240, 100.0, 0.6
    own = 1 + drift_ppm * 1e-6
    delays = jitter(960)
    fast = [
        stream_block(FAST, n, arrival_s=begin_s + late_s + (n + 1) * BLOCK_S / own + delays[n])
        for n in range(956)
    ]
    items = [x for pair in zip(stand_blocks(seconds, begin_s), fast, strict=False) for x in pair]
    trace = sealed(tmp_path, header_with(FAST, stand=True), items, layout=LAYOUT, run_number=RUN)

    stand, clock = trace.clocks
    assert (stand.stream, clock.stream) == ("stand", "accelerometer")
    assert clock.drift_ppm == pytest.approx(
        drift_ppm, abs=max(3 * clock.drift_uncertainty_ppm, 0.5)
    )
    assert clock.drift_uncertainty_ppm < 3
    assert clock.blocks == 956
    # ready (with its own least delay) when the last sample was taken; the stand's was 2 ms
    assert clock.offset_s == pytest.approx(late_s + 1e-3 - 2e-3, abs=2e-3)
    times = sample_times(trace.fast[0].spec, np.array([0, trace.fast[0].samples - 1]))
    truth = late_s + np.array([0, trace.fast[0].samples - 1]) / FAST_HZ / own
    assert times == pytest.approx(truth, abs=3e-3)


def test_lost_blocks_are_gaps_of_both_kinds_of_streams_at_their_times(tmp_path):
    blocks = both([n for n in range(BLOCKS) if n not in {10, 11}])
    trace = sealed(tmp_path, header_with(FAST, SLOW), blocks)

    fast_gap, slow_gap = trace.incidents
    assert (fast_gap.kind, slow_gap.kind) == (IncidentKind.GAP, IncidentKind.GAP)
    assert (fast_gap.size, slow_gap.size) == (1000, 50)
    assert fast_gap.time_s == pytest.approx(2.5, abs=0.02)
    assert fast_gap.text == "1000 samples (0.50 s) of accelerometer are missing from here on"
    reader = open_fast(tmp_path / "traces" / f"{trace.fast[0].sha256}.fast")
    assert [gap.model_dump() for gap in reader.spec.gaps] == [{"after": 5000, "missing": 1000}]
    assert reader.starts_s[1] - reader.starts_s[0] == pytest.approx(3.0, rel=1e-3)
    assert np.diff(trace.signals["T bowl"].time_s).max() == pytest.approx(0.51, rel=1e-3)


def test_what_came_twice_or_out_of_turn_or_too_late_is_told_and_not_merged(tmp_path):
    order = [0, 1, 3, 2, 2, *range(5, 16), 4]
    blocks = [stream_block(FAST, n, arrival_s=0.25 * i + 5) for i, n in enumerate(order)]
    trace = sealed(tmp_path, header_with(FAST), blocks)

    assert sorted(kinds(trace)) == ["duplicate", "gap", "late", "out of order"]
    data = fast_counts(tmp_path, trace.fast[0])
    assert np.array_equal(data, np.concatenate([b.counts for b in sorted_blocks(blocks)]))
    summary = read_summary(tmp_path / "traces" / f"{trace.sha256}.parquet")
    aside = read_journal(tmp_path / "traces" / f"{summary.aside}.late")
    (late,) = aside.stream_blocks(aside.entries)
    assert late.sequence == 4
    assert np.array_equal(late.counts, counts_of(FAST, 2000, 500))


def sorted_blocks(blocks):
    return [next(b for b in blocks if b.sequence == n) for n in [0, 1, 2, 3, *range(5, 16)]]


def test_a_stream_that_falls_silent_or_never_came_is_told(tmp_path):
    items = [
        *stand_blocks(12),
        *(stream_block(FAST, n, arrival_s=100.25 * 1 + n * BLOCK_S) for n in range(20)),
    ]
    header = header_with(FAST, SLOW, stand=True)
    trace = sealed(tmp_path, header, items, layout=LAYOUT, run_number=RUN)

    texts = [incident.text for incident in trace.incidents]
    assert texts == [
        "accelerometer ended 7.0 s before the run",
        "no sample of thermometers arrived",
    ]
    assert trace.signals["T bowl"].counts.size == 0
    assert "No block of thermometers arrived" in trace.clocks[-1].in_words


def test_samples_from_before_the_first_of_the_stand_are_left_out(tmp_path):
    fast = [stream_block(FAST, n, arrival_s=99.6 + (n + 1) * BLOCK_S + 1e-3) for n in range(20)]
    slow = [stream_block(SLOW, n, arrival_s=99.6 + (n + 1) * BLOCK_S + 1e-3) for n in range(20)]
    header = header_with(FAST, SLOW, stand=True)
    trace = sealed(
        tmp_path, header, [*stand_blocks(5), *fast, *slow], layout=LAYOUT, run_number=RUN
    )

    (file,) = trace.fast
    assert 0 <= file.spec.start_s < 1 / FAST_HZ
    assert file.samples == pytest.approx(20 * 500 - 800, abs=5)
    assert trace.signals["T bowl"].time_s[0] == pytest.approx(0, abs=1.01 / SLOW_HZ)


def test_a_step_of_a_regular_clock_is_told_and_moves_nothing(tmp_path):
    clock = [n * BLOCK_S + (3600 if n >= 20 else 0) for n in range(BLOCKS)]
    blocks = [stream_block(SLOW, n, device_s=clock[n]) for n in range(BLOCKS)]
    trace = sealed(tmp_path, header_with(SLOW), blocks)

    (step,) = trace.incidents
    assert (step.kind, step.size) == (IncidentKind.CLOCK_STEP, pytest.approx(3600, abs=0.1))
    assert step.time_s == pytest.approx(5.0, abs=0.05)
    assert np.diff(trace.signals["T bowl"].time_s) == pytest.approx(1 / SLOW_HZ, rel=1e-3)


def changes(times_s, arrivals_s, steps=None):
    """Give a block for each change, with the device's time and the arrival of each."""
    return [
        stream_block(
            CHANGES,
            n,
            samples=1,
            arrival_s=arrival,
            device_s=at,
            counts=np.array([[1.0 if steps is None else steps[n], 20.0 + n]]),
            times_ns=np.array([round(at * 1e9)]),
        )
        for n, (at, arrival) in enumerate(zip(times_s, arrivals_s, strict=True))
    ]


@pytest.mark.parametrize("jump_s", [7200.0, -7200.0])
def test_changes_are_placed_by_their_arrival_when_their_clock_steps(tmp_path, jump_s):
    truth = np.arange(60) * 0.5
    told = 1.9e9 + truth + np.where(np.arange(60) >= 30, jump_s, 0.0)
    arrivals = 50 + truth + jitter(60)
    trace = sealed(tmp_path, header_with(CHANGES), changes(told, arrivals))

    (step,) = trace.incidents
    assert step.kind is IncidentKind.CLOCK_STEP
    assert step.size == pytest.approx(jump_s, abs=0.05)
    assert trace.signals["T seal"].time_s == pytest.approx(truth, abs=0.02)
    assert trace.signals["recipe step"].counts.dtype == np.uint16


def test_a_connection_that_delivers_late_what_it_held_is_no_step_of_a_clock(tmp_path):
    truth = np.arange(80) * 0.5
    arrivals = 50 + truth + jitter(80)
    arrivals[30:50] = arrivals[50]
    trace = sealed(tmp_path, header_with(CHANGES), changes(1.9e9 + truth, arrivals))
    assert trace.incidents == ()
    assert trace.signals["T seal"].time_s == pytest.approx(truth, abs=0.02)
    assert trace.clocks[0].widest_delay_s == pytest.approx(10, abs=0.1)


def test_what_a_subscription_told_last_before_the_run_holds_at_its_beginning(tmp_path):
    truth = np.array([-40.0, -30.0, 2.0])
    items = [*stand_blocks(5), *changes(1.9e9 + truth, 100 + truth + 1e-3)]
    header = header_with(CHANGES, stand=True)
    trace = sealed(tmp_path, header, items, layout=LAYOUT, run_number=RUN)
    seal = trace.signals["T seal"]
    assert seal.time_s == pytest.approx([0, 2], abs=0.01)
    assert seal.values.tolist() == [21.0, 22.0]


def test_readings_that_a_channel_cannot_hold_are_missing_and_counted(tmp_path):
    counts = np.array([[20.0, 900.0], [np.nan, 901.0], [21.5, np.inf], [22.0, 9e9]])
    trace = sealed(tmp_path, header_with(SLOW), [stream_block(SLOW, 0, samples=4, counts=counts)])
    assert trace.signals["T bowl"].counts.tolist() == [20, 22]
    assert trace.signals["controller rpm"].counts.tolist() == [900, 901]
    assert [(i.kind, i.channel, i.size) for i in trace.incidents] == [
        (IncidentKind.MISSING, "T bowl", 2),
        (IncidentKind.MISSING, "controller rpm", 2),
    ]


@pytest.mark.parametrize("factor", [2.0, 0.5])
def test_a_stream_at_another_rate_than_the_map_says_is_told(tmp_path, factor):
    delays = jitter(BLOCKS)
    blocks = [
        stream_block(FAST, n, arrival_s=(n + 1) * BLOCK_S / factor + delays[n])
        for n in range(BLOCKS)
    ]
    trace = sealed(tmp_path, header_with(FAST), blocks)
    (rate,) = trace.incidents
    assert rate.kind is IncidentKind.RATE
    assert rate.size == pytest.approx(factor * FAST_HZ, rel=0.01)
    assert "not at the 2000 Hz of the map" in rate.text


def speed_map(stream_role):
    """Give two streams that both tell the speed."""
    other = SLOW.model_copy(
        update={
            "name": "second tach",
            "channels": (channel("second rpm", 0, rate_hz=SLOW_HZ, role=stream_role, unit="rpm"),),
        }
    )
    return header_with(SLOW, other)


@pytest.mark.parametrize(
    ("ratio", "found"), [(1.0, False), (1.02, False), (2.0, True), (0.8, True)]
)
def test_two_sources_that_disagree_on_the_speed_are_told(tmp_path, ratio, found):
    header = speed_map(Role.SPEED)
    spec = header.channel_map.streams[1]
    rpm = np.minimum(np.arange(BLOCKS * 25) * 2, 1200)
    items = []
    for n in range(BLOCKS):
        part = rpm[25 * n : 25 * n + 25]
        own = np.stack([part * 0, part], axis=1).astype(np.int16)
        items.append(stream_block(SLOW, n, counts=own))
        items.append(stream_block(spec, n, counts=np.rint(part * ratio).astype(np.int16)[:, None]))
    trace = sealed(tmp_path, header, items)
    assert (kinds(trace) == [IncidentKind.DISAGREEMENT]) is found
    if found:
        (told,) = trace.incidents
        assert "do not agree on the speed: 1200 rpm against" in told.text


def test_no_more_than_some_batches_of_a_fast_stream_are_in_memory(tmp_path, monkeypatch):
    held, most = set(), []
    parse = streams_seal.Journal.stream_blocks

    def counting(self, entries):
        for block in parse(self, entries):
            held.add(block.sequence)
            yield block
            held.discard(block.sequence)
            most.append(len(held))

    monkeypatch.setattr(streams_seal.Journal, "stream_blocks", counting)
    trace = sealed(tmp_path, header_with(FAST), both()[::2])
    assert max(most) <= 1
    path = tmp_path / "traces" / f"{trace.fast[0].sha256}.fast"
    assert sha256_of_file(path) == trace.fast[0].sha256
