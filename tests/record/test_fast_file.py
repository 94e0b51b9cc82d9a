"""Files of fast streams: what goes in comes out, whole, in pieces, and never silently changed."""

import numpy as np
import pyarrow as pa
import pytest

from spinproof.files.digest import sha256_of_file
from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.errors import StorageError, TraceError
from spinproof.model.fast import FastGap, FastSpec, StreamClock
from spinproof.record.fast_file import open_fast, sample_times, verified, write_fast

RATE = 200.0
BATCH = 6000


def channel(name, column, role=Role.OTHER, kind=CountType.I16):
    return Channel(
        name=name,
        role=role,
        first_register=column,
        type=kind,
        scale=0.003,
        unit="m/s2",
        sample_rate_hz=RATE,
        instrument=Instrument(name="AC-1", standard_uncertainty=0.05),
    )


def spec(*, columns=3, gaps=(), kind=CountType.I16):
    return FastSpec(
        run="QA-1041-L-017",
        stream="accelerometer",
        channels=tuple(channel(f"axis {k}", k, kind=kind) for k in range(columns)),
        nominal_rate_hz=RATE,
        rate_hz=RATE * (1 - 2e-5),
        start_s=0.125,
        gaps=gaps,
    )


def counts(samples, columns=3, kind=np.int16):
    rng = np.random.default_rng(7)
    return rng.integers(-900, 900, size=(samples, columns)).astype(kind)


def written(folder, spec, data, piece=250):
    return write_fast(folder, spec, (data[i : i + piece] for i in range(0, len(data), piece)))


def path_of(folder, file):
    return folder / f"{file.sha256}.fast"


@pytest.mark.parametrize("columns", [1, 3])
def test_counts_come_out_as_they_went_in_in_batches_of_30_s(tmp_path, columns):
    data = counts(2 * BATCH + 777, columns)
    file = written(tmp_path, spec(columns=columns), data)
    reader = verified(path_of(tmp_path, file), file.sha256)
    batches = list(reader.batches())
    assert [len(batch) for batch in batches] == [BATCH, BATCH, 777]
    assert np.array_equal(np.concatenate(batches), data)
    assert reader.samples == file.samples == len(data)
    assert file.size == path_of(tmp_path, file).stat().st_size
    assert reader.spec == file.spec == spec(columns=columns)
    assert (reader.start_s, reader.rate_hz) == (0.125, RATE * (1 - 2e-5))


def test_the_same_counts_in_other_pieces_give_the_same_bytes(tmp_path):
    data = counts(BATCH + 10)
    assert written(tmp_path, spec(), data, 250) == written(tmp_path, spec(), data, 9999)
    assert len(list(tmp_path.iterdir())) == 1


def test_the_name_is_the_hash_that_was_computed_while_writing(tmp_path):
    file = written(tmp_path, spec(), counts(1000))
    assert sha256_of_file(path_of(tmp_path, file)) == file.sha256


def test_one_channel_alone_can_be_read(tmp_path):
    data = counts(BATCH + 5)
    reader = open_fast(path_of(tmp_path, written(tmp_path, spec(), data)))
    assert np.array_equal(np.concatenate(list(reader.batches(["axis 1"]))), data[:, 1:2])


def test_a_channel_that_is_not_there_is_refused_in_words(tmp_path):
    reader = open_fast(path_of(tmp_path, written(tmp_path, spec(), counts(50))))
    with pytest.raises(TraceError, match="axis 9"):
        list(reader.batches(["axis 9"]))


def test_the_samples_of_a_channel_lie_side_by_side_in_memory(tmp_path):
    reader = open_fast(path_of(tmp_path, written(tmp_path, spec(), counts(50))))
    (batch,) = reader.batches()
    assert batch[:, 1].flags.c_contiguous


def test_no_batch_spans_a_hole_and_times_go_on_behind_it(tmp_path):
    data = counts(2 * BATCH)
    gaps = (FastGap(after=100, missing=50), FastGap(after=BATCH + 200, missing=1))
    file = written(tmp_path, spec(gaps=gaps), data)
    reader = open_fast(path_of(tmp_path, file))
    batches = list(reader.batches())
    assert [len(batch) for batch in batches] == [100, BATCH, 100, BATCH - 200]
    assert np.array_equal(np.concatenate(batches), data)
    numbers = np.array([0, 150, 150 + BATCH, BATCH + 251])
    assert reader.starts_s == pytest.approx(0.125 + numbers / reader.rate_hz, abs=1e-12)
    last = sample_times(reader.spec, np.array([len(data) - 1]))[0]
    assert last == pytest.approx(0.125 + (len(data) - 1 + 51) / reader.rate_hz, abs=1e-12)


def test_a_stream_without_a_sample_is_a_file_without_a_batch(tmp_path):
    file = write_fast(tmp_path, spec(), [])
    reader = open_fast(path_of(tmp_path, file))
    assert (reader.samples, list(reader.batches()), reader.starts_s.size) == (0, [], 0)


def test_others_can_read_counts_scale_and_unit_without_this_program(tmp_path):
    file = written(tmp_path, spec(kind=CountType.I32), counts(40, kind=np.int32))
    table = pa.ipc.open_file(path_of(tmp_path, file)).read_all()
    field = table.schema.field("axis 2")
    assert field.type == pa.int32()
    assert field.metadata == {b"scale": b"0.003", b"offset": b"0.0", b"unit": b"m/s2"}


@pytest.mark.parametrize("data", [counts(5, 2), counts(5, kind=np.int32), counts(5)[:, 0]])
def test_counts_of_another_shape_or_type_are_refused_and_leave_nothing(tmp_path, data):
    with pytest.raises(TraceError, match="3 columns of int16"):
        write_fast(tmp_path, spec(), [data])
    assert list(tmp_path.iterdir()) == []


def test_a_changed_byte_is_found_before_anything_is_read(tmp_path):
    file = written(tmp_path, spec(), counts(3000))
    path = path_of(tmp_path, file)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    with pytest.raises(TraceError, match="were changed"):
        verified(path, file.sha256)


@pytest.mark.parametrize("keep", [0, 5, 400, -30])
def test_a_file_that_was_cut_off_is_refused_in_words(tmp_path, keep):
    path = path_of(tmp_path, written(tmp_path, spec(), counts(3000)))
    path.write_bytes(path.read_bytes()[:keep])
    with pytest.raises(TraceError, match="no fast samples, or is damaged"):
        list(open_fast(path).batches())


def test_a_table_of_another_program_is_refused_in_words(tmp_path):
    path = tmp_path / "other.fast"
    table = pa.table({"a": [1, 2]})
    with pa.ipc.new_file(path, table.schema) as writer:
        writer.write_table(table)
    with pytest.raises(TraceError, match="holds no"):
        open_fast(path)


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(StorageError, match="no such file"):
        open_fast(tmp_path / "missing.fast")


def test_a_clock_says_itself_in_a_sentence():
    clock = StreamClock(
        stream="accelerometer",
        offset_s=0.125,
        offset_uncertainty_s=2e-4,
        drift_ppm=-20.0,
        drift_uncertainty_ppm=0.5,
        blocks=1440,
        widest_delay_s=0.031,
    )
    assert clock.in_words == (
        "The clock of accelerometer began at 0.1250 s of the run (standard uncertainty 0.20 ms) "
        "and drifts by -20.00 ppm (standard uncertainty 0.50 ppm), from 1440 blocks, of which the "
        "slowest took 31.0 ms longer than the quickest."
    )
