"""Sealed traces: what goes in comes out, and nothing changes them unseen."""

import json
import os

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from tests.record.raw_run import RUN, make_block, make_records, write_journal

from spinproof.files.digest import sha256_of_file
from spinproof.files.lock import hold
from spinproof.model.channel import Role
from spinproof.model.errors import BusyError, JournalError, StorageError, TraceError
from spinproof.model.run import Ending, IncidentKind
from spinproof.record.journal_reading import read_journal
from spinproof.record.trace_file import (
    CLOCK_COLUMN,
    TIME_COLUMN,
    is_sealed,
    read_summary,
    read_trace,
    seal_journal,
)


@pytest.fixture
def journal(tmp_path, header):
    return write_journal(tmp_path / "run.journal", header, [make_block(n) for n in range(40)])


@pytest.fixture
def sealed(journal, traces):
    seal_journal(journal, traces)
    (path,) = traces.iterdir()
    return path


def assert_same(one, other):
    assert one.header == other.header
    assert (one.incidents, one.ending) == (other.incidents, other.ending)
    assert list(one.signals) == list(other.signals)
    for name, signal in one.signals.items():
        twin = other.signals[name]
        assert signal.channel == twin.channel
        assert signal.counts.dtype == twin.counts.dtype
        np.testing.assert_array_equal(signal.counts, twin.counts)
        np.testing.assert_array_equal(signal.time_s, twin.time_s)


def test_sealing_keeps_counts_times_header_and_ending_and_ends_the_journal(journal, traces, header):
    trace = seal_journal(journal, traces)

    rows = np.arange(200)
    tach = trace.role(Role.TACH_COUNT)
    assert tach.counts.tolist() == make_records(rows)[:, 0].tolist()
    assert tach.time_s.tolist() == (rows * 50_000 / 1e6).tolist()
    assert trace.role(Role.DRAIN_RESISTIVITY).time_s.tolist() == (rows[::5] / 20).tolist()
    assert (trace.header, trace.ending, trace.incidents) == (header, Ending.COMPLETE, ())
    assert trace.duration_s == 9.95
    assert not journal.exists()


def test_a_sealed_file_bears_its_hash_as_its_name(sealed):
    assert sealed.name == sha256_of_file(sealed) + ".parquet"
    assert read_trace(sealed).sha256 == sha256_of_file(sealed)


def test_the_same_journal_gives_the_same_bytes(tmp_path, header, traces):
    for name in ("a", "b"):
        path = write_journal(tmp_path / name, header, [make_block(n) for n in range(9)])
        seal_journal(path, traces)

    assert len(list(traces.iterdir())) == 1


def test_sealing_again_after_a_crash_changes_nothing(journal, traces, tmp_path):
    copy = tmp_path / "copy"
    copy.write_bytes(journal.read_bytes())
    first = seal_journal(journal, traces)

    assert_same(seal_journal(copy, traces), first)
    assert len(list(traces.iterdir())) == 1


def test_a_journal_that_nobody_closed_is_sealed_as_interrupted(tmp_path, header, traces):
    blocks = [make_block(n) for n in range(4)]
    path = write_journal(tmp_path / "run.journal", header, blocks, ending=None)
    path.write_bytes(path.read_bytes()[:-10])

    trace = seal_journal(path, traces)

    (torn,) = trace.incidents
    assert trace.ending is Ending.INTERRUPTED
    assert torn.kind is IncidentKind.TORN_TAIL
    assert (torn.size, torn.time_s) == (261, 0.7)


def test_a_run_without_a_single_sample_is_sealed_too(tmp_path, header, traces):
    trace = seal_journal(write_journal(tmp_path / "a", header, [], ending=None), traces)

    assert trace.ending is Ending.INTERRUPTED
    assert trace.duration_s == 0
    assert all(signal.counts.size == 0 for signal in trace.signals.values())


def test_gaps_and_clock_steps_are_sealed_with_the_trace(tmp_path, header, traces):
    blocks = [make_block(n, clock_us=0 if n < 6 else 3_600_000_000) for n in (0, 1, 4, 5, 6, 7)]
    trace = seal_journal(write_journal(tmp_path / "a", header, blocks), traces)

    assert [i.kind for i in trace.incidents] == [IncidentKind.GAP, IncidentKind.CLOCK_STEP]
    assert trace.role(Role.TACH_COUNT).time_s[10] == 1.0


def test_the_devices_clock_is_kept_where_it_was_read(tmp_path, header, traces):
    blocks = [make_block(n, clock_us=5_000_000 * n) for n in range(3)]
    seal_journal(write_journal(tmp_path / "a", header, blocks), traces)
    (path,) = traces.iterdir()

    table = pq.read_table(path)
    clock = table[CLOCK_COLUMN].to_pylist()
    assert [value for value in clock if value is not None] == [0, 5_250_000, 10_500_000]
    assert [i for i, value in enumerate(clock) if value is not None] == [0, 5, 10]


def test_late_blocks_are_kept_aside_in_a_file_that_the_trace_names(tmp_path, header, traces):
    stray = make_block(7, run=RUN - 1)
    blocks = [make_block(0), stray, make_block(1)]
    seal_journal(write_journal(tmp_path / "a", header, blocks), traces)
    (path,) = traces.glob("*.parquet")

    aside = traces / f"{read_summary(path).aside}.late"
    assert sha256_of_file(aside) == read_summary(path).aside
    assert read_journal(aside).blocks == (stray,)
    assert [i.kind for i in read_trace(path).incidents] == [IncidentKind.LATE]


def test_a_run_that_is_still_being_recorded_is_not_sealed(journal, traces):
    with hold(journal, "the run"), pytest.raises(BusyError):
        seal_journal(journal, traces)

    assert journal.exists()
    assert not list(traces.iterdir())


def test_a_damaged_journal_stays_where_it_is(journal, traces):
    data = bytearray(journal.read_bytes())
    data[8000] ^= 1
    journal.write_bytes(data)

    with pytest.raises(JournalError):
        seal_journal(journal, traces)

    assert journal.read_bytes() == data
    assert not list(traces.iterdir())


def test_a_missing_journal_is_not_created_by_the_attempt(tmp_path, traces):
    with pytest.raises(StorageError):
        seal_journal(tmp_path / "missing.journal", traces)

    assert not (tmp_path / "missing.journal").exists()


def test_a_failure_at_any_step_of_sealing_loses_nothing(journal, traces, header, monkeypatch):
    kept = journal.read_bytes()
    failing_step, sealed = 0, None
    while sealed is None:
        failing_step += 1
        with monkeypatch.context() as patched:
            Failing(patched, failing_step)
            try:
                sealed = seal_journal(journal, traces)
            except StorageError:
                assert not journal.exists() or journal.read_bytes() == kept
        if sealed is None and not journal.exists():  # the last step, syncing its folder, failed
            journal.write_bytes(kept)
        assert all(path.name.startswith(sha256_of_file(path)) for path in traces.iterdir())

    assert failing_step > 4
    assert sealed.header == header


class Failing:
    """Lets the n-th call that writes, flushes or renames fail."""

    def __init__(self, monkeypatch, step):
        self._left = step
        for name in ("write", "fsync", "replace", "unlink"):
            monkeypatch.setattr(os, name, self._wrap(getattr(os, name)))

    def _wrap(self, call):
        def counted(*args, **kwargs):
            self._left -= 1
            if self._left == 0:
                raise OSError(5, "Input/output error")
            return call(*args, **kwargs)

        return counted


def test_every_flipped_bit_is_found_with_the_name_and_without(sealed, tmp_path):
    """Some bytes mean nothing, such as the name of the writing library; no other may pass."""
    truth, data = read_trace(sealed), sealed.read_bytes()
    rng = np.random.default_rng(35)
    renamed = tmp_path / "renamed.parquet"
    harmless = 0
    for bit in rng.choice(8 * len(data), 700, replace=False).tolist():
        changed = bytearray(data)
        changed[bit // 8] ^= 1 << bit % 8
        renamed.write_bytes(changed)
        with pytest.raises(TraceError, match="changed or renamed"):
            read_trace(renamed)
        try:
            trace = read_trace(renamed, named=False)
        except TraceError:
            continue
        assert_same(trace, truth)
        harmless += 1

    assert harmless < 70


def test_a_flipped_bit_in_the_header_is_found_though_no_page_covers_it(sealed):
    data = sealed.read_bytes()
    at = data.index(b'"scale":0.01')
    sealed.write_bytes(data.replace(b'"scale":0.01', b'"scale":0.03', 1))

    assert at > 0
    with pytest.raises(TraceError, match="hash that it states"):
        read_trace(sealed, named=False)


def test_page_checksums_are_written_and_found_by_a_plain_reader(sealed):
    data = bytearray(sealed.read_bytes())
    column = pq.ParquetFile(sealed).metadata.row_group(0).column(2)
    data[column.data_page_offset + column.total_compressed_size - 3] ^= 16
    sealed.write_bytes(data)

    with pytest.raises(OSError, match=r"(?i)crc|checksum"):
        pq.read_table(sealed, page_checksum_verification=True)


@pytest.mark.parametrize(
    "content", [b"", b"PAR1", b"time [s]\n1\n", b"PAR1" + bytes(100) + b"PAR1"]
)
def test_a_file_of_another_kind_is_no_trace(tmp_path, content):
    path = tmp_path / "file.parquet"
    path.write_bytes(content)

    with pytest.raises(TraceError, match="no sealed trace"):
        read_trace(path, named=False)
    with pytest.raises(TraceError, match="no sealed trace"):
        read_summary(path)
    assert not is_sealed(path)


def test_a_table_of_another_program_is_no_sealed_trace(tmp_path):
    path = tmp_path / "table.parquet"
    pq.write_table(pa.table({TIME_COLUMN: [1, 2]}), path)

    with pytest.raises(TraceError, match="no sealed trace"):
        read_trace(path, named=False)


def test_a_summary_of_another_version_is_refused_as_such(tmp_path):
    path = tmp_path / "table.parquet"
    summary = json.dumps({"schema_version": "spinproof.trace.v9"})
    pq.write_table(
        pa.table({TIME_COLUMN: [1]}).replace_schema_metadata({"spinproof": summary}), path
    )

    with pytest.raises(TraceError, match="not understood by this version"):
        read_trace(path, named=False)


def test_a_missing_file_is_a_storage_error(tmp_path):
    with pytest.raises(StorageError):
        read_trace(tmp_path / "missing.parquet")


def test_some_channels_can_be_read_alone(sealed):
    whole, lean = read_trace(sealed), read_trace(sealed, channels=["tach", "N2 temperature"])

    assert list(lean.signals) == ["tach", "N2 temperature"]
    for name, signal in lean.signals.items():
        np.testing.assert_array_equal(signal.counts, whole.signals[name].counts)


def test_the_summary_is_read_without_the_samples(sealed, header):
    summary = read_summary(sealed)

    assert summary.header == header
    assert summary.ending is Ending.COMPLETE
    assert is_sealed(sealed)


def test_counts_are_stored_small_as_they_came(sealed):
    metadata = pq.ParquetFile(sealed).metadata

    assert metadata.num_rows == 200
    for i in range(metadata.num_columns):
        column = metadata.row_group(0).column(i)
        assert column.physical_type in {"INT32", "INT64"}
        assert column.compression == "ZSTD"
        assert "DELTA_BINARY_PACKED" in column.encodings
