"""What a recording notices about itself."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.demo_files import LOWER, LOWER_CHANNELS
from tests.record.raw_run import LAYOUT, RUN, make_block, make_records

from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.run import IncidentKind
from spinproof.model.trace import Signal
from spinproof.record.blocks import decode_signals, parse_block
from spinproof.record.incidents import (
    REORDER_WINDOW,
    find_channel_incidents,
    find_time_gaps,
    merge_blocks,
)


def merged(payloads):
    return merge_blocks([parse_block(payload, LAYOUT) for payload in payloads], RUN, LAYOUT)


def sizes(result, kind):
    return [incident.size for incident in result.incidents if incident.kind is kind]


def only(result):
    (incident,) = result.incidents
    return incident


@st.composite
def journeys(draw):
    """Blocks as a bad line delivers them: some lost, some twice, shuffled within the window."""
    sent = draw(st.integers(1, 40))
    lost = draw(st.sets(st.integers(0, sent - 1), max_size=sent - 1))
    kept = [n for n in range(sent) if n not in lost]
    delays = [draw(st.floats(0, REORDER_WINDOW)) for _ in kept]
    arrived = [n for _, n in sorted(zip(np.add(kept, delays), kept, strict=True))]
    for n in draw(st.lists(st.sampled_from(kept), max_size=5)):
        arrived.insert(draw(st.integers(arrived.index(n) + 1, len(arrived))), n)
    return arrived


@given(journeys())
def test_each_sample_is_there_once_and_in_order_and_every_loss_is_counted(arrived):
    result = merged([make_block(n) for n in arrived])
    there = sorted(set(arrived))
    expected = [5 * n + i for n in there for i in range(5)]

    assert result.sample_numbers.tolist() == expected
    assert result.records.tolist() == make_records(np.array(expected)).tolist()
    assert sum(sizes(result, IncidentKind.GAP)) == 5 * (there[-1] + 1 - len(there))
    assert sum(sizes(result, IncidentKind.DUPLICATE)) == 5 * (len(arrived) - len(there))
    assert sizes(result, IncidentKind.LATE) == sizes(result, IncidentKind.CLOCK_STEP) == []
    assert result.aside == ()
    behind = sum(n < max(arrived[:i]) and n not in arrived[:i] for i, n in enumerate(arrived) if i)
    assert len(sizes(result, IncidentKind.OUT_OF_ORDER)) == behind


@given(
    st.lists(
        st.floats(width=32) | st.sampled_from([np.nan, np.inf, -np.inf]), min_size=1, max_size=30
    )
)
def test_a_reading_that_is_not_finite_never_passes_as_a_number(readings):
    counts = np.array(readings, dtype=np.float32)
    signal = Signal(other_channel(CountType.F32), np.arange(counts.size) / 20, counts)
    finite = int(np.isfinite(counts).sum())

    assert np.isfinite(signal.values).sum() == finite
    found = find_channel_incidents({"reading": signal}, LOWER)
    assert sum(i.size for i in found) == counts.size - finite
    assert all(i.kind is IncidentKind.MISSING and i.channel == "reading" for i in found)


def other_channel(kind, missing=None):
    return Channel(
        name="reading",
        role=Role.OTHER,
        first_register=0,
        type=kind,
        unit="1",
        sample_rate_hz=20.0,
        missing=missing,
        instrument=Instrument(name="meter", standard_uncertainty=0.0),
    )


def test_a_quiet_recording_notices_nothing():
    result = merged([make_block(n) for n in range(40)])

    assert result.incidents == ()
    signals = decode_signals(LOWER_CHANNELS, LAYOUT, result.sample_numbers, result.records, 0)
    assert find_channel_incidents(signals, LOWER) == ()


def test_a_gap_leaves_a_hole_where_it_was():
    result = merged([make_block(n) for n in (0, 1, 4, 5)])

    incident = only(result)
    assert (incident.kind, incident.time_s, incident.size) == (IncidentKind.GAP, 0.5, 10)
    assert "10 samples (0.50 s)" in incident.text
    assert result.sample_numbers.tolist() == [*range(10), *range(20, 30)]


def test_a_recording_that_joined_late_says_how_much_it_missed():
    incident = only(merged([make_block(n) for n in (3, 4)]))

    assert (incident.kind, incident.time_s, incident.size) == (IncidentKind.GAP, 0.0, 15)
    assert "from the start of the run" in incident.text


@pytest.mark.parametrize("jump_s", [3600.0, -3600.0, 0.2])
def test_a_clock_step_is_reported_with_its_size_and_moves_no_sample(jump_s):
    step_us = round(jump_s * 1e6)
    payloads = [
        make_block(n, clock_us=3_600_000_000 + (step_us if n >= 6 else 0)) for n in range(12)
    ]
    result = merged(payloads)

    incident = only(result)
    assert (incident.kind, incident.time_s) == (IncidentKind.CLOCK_STEP, 1.5)
    assert incident.size == pytest.approx(jump_s)
    assert result.sample_numbers.tolist() == list(range(60))


def test_a_clock_that_drifts_as_quartz_does_is_no_step():
    payloads = [make_block(n, clock_us=round(n * 250_000 * 100e-6)) for n in range(0, 4000, 40)]

    assert sizes(merged(payloads), IncidentKind.CLOCK_STEP) == []


def test_a_block_beyond_the_window_is_kept_aside():
    payloads = [make_block(n) for n in (0, *range(2, 2 + REORDER_WINDOW + 1), 1)]
    result = merged(payloads)

    assert result.aside == (len(payloads) - 1,)
    assert sizes(result, IncidentKind.LATE) == sizes(result, IncidentKind.GAP) == [5]
    assert 5 not in result.sample_numbers


def test_a_block_at_the_edge_of_the_window_is_put_in_its_place():
    result = merged([make_block(n) for n in (0, *range(2, 2 + REORDER_WINDOW), 1)])

    assert only(result).kind is IncidentKind.OUT_OF_ORDER
    assert result.sample_numbers.tolist() == list(range(5 * (REORDER_WINDOW + 2)))


def test_a_block_of_another_run_is_kept_aside_and_disturbs_nothing():
    payloads = [make_block(0), make_block(900, run=RUN - 1), make_block(1)]
    result = merged(payloads)

    assert result.aside == (1,)
    assert only(result).kind is IncidentKind.LATE
    assert f"belongs to run {RUN - 1}" in only(result).text
    assert result.sample_numbers.tolist() == list(range(10))


def test_a_block_that_comes_again_long_after_is_a_duplicate_not_a_late_one():
    result = merged([make_block(n) for n in (*range(20), 0)])

    assert only(result).kind is IncidentKind.DUPLICATE
    assert result.aside == ()


def test_nothing_recorded_gives_nothing():
    result = merged([])

    assert (result.sample_numbers.size, result.incidents) == (0, ())


def counter(role, counts, kind=CountType.U16, pulses=6):
    channel = other_channel(kind).model_copy(
        update={
            "role": role,
            "pulses_per_rev": pulses if role is Role.TACH_COUNT else None,
        }
    )
    dtype = np.uint16 if kind is CountType.U16 else np.uint32
    return Signal(channel, np.arange(len(counts)) / 20, np.array(counts, dtype=dtype))


def noticed(signal):
    return [(i.kind, i.size, i.time_s) for i in find_channel_incidents({"c": signal}, LOWER)]


def test_a_counter_that_passes_its_largest_value_rolls_over():
    counts = np.arange(0, 200_000, 9) % 65_536

    assert noticed(counter(Role.TACH_COUNT, counts)) == [(IncidentKind.ROLL_OVER, 3, 364.1)]


def test_a_counter_that_starts_anew_is_told_from_a_roll_over():
    counts = [40_000, 40_009, 0, 9, 18]

    assert noticed(counter(Role.TACH_COUNT, counts)) == [(IncidentKind.COUNTER_RESET, 1, 0.1)]


def test_the_edges_clock_rolls_over_after_71_minutes():
    edges = [2**32 - 90_000, 2**32 - 40_000, 10_000, 60_000]

    signal = counter(Role.OPTICAL_EDGE, edges, CountType.U32)
    assert noticed(signal) == [(IncidentKind.ROLL_OVER, 1, 0.1)]


def test_a_small_step_back_of_the_edges_clock_is_no_roll_over():
    assert noticed(counter(Role.TACH_EDGE, [5_000_000, 4_000_000], CountType.U32)) == []


def test_missing_readings_are_counted_per_channel():
    channel = other_channel(CountType.U16, missing=65_535)
    counts = np.array([1, 65_535, 3, 65_535], dtype=np.uint16)

    assert noticed(Signal(channel, np.arange(4) / 20, counts)) == [(IncidentKind.MISSING, 2, 0.05)]


def test_gaps_of_a_time_column_are_counted_in_samples():
    time_s = np.delete(np.arange(40) / 20 + 0.003 * np.sin(np.arange(40)), [10, 11, 12, 30])

    gaps = find_time_gaps(time_s, 0.05)

    assert [(gap.size, gap.time_s) for gap in gaps] == [(3, 0.5), (1, 1.5)]
