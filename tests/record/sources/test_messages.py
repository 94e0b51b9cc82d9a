"""The two forms of a message, read back and bent."""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.record.sources.peers import channel, stream

from spinproof.model.channel import CountType
from spinproof.model.stream import SourceKind
from spinproof.record.sources.messages import Parcel, read_message, write_block
from spinproof.record.sources.sequence import SequenceBook


def spec(kind, names="xy"):
    channels = [channel(n, i, kind=kind) for i, n in enumerate(names)]
    return stream(channels, SourceKind.MQTT, topic="bench/fast")


COUNTS = np.array([[1, 2], [3, 4], [5, 6]])


@pytest.mark.parametrize("kind", CountType)
def test_a_block_of_every_type_reads_back_as_it_was_written(kind):
    parcel = read_message(write_block(Parcel(9, 700, 123, COUNTS), kind), spec(kind))

    assert (parcel.sequence, parcel.first_sample, parcel.time_ns) == (9, 700, 123)
    assert parcel.counts.tolist() == COUNTS.tolist()


def test_the_layout_of_a_block_is_the_documented_one():
    """Written by hand, byte by byte, from the page that describes it."""
    payload = (
        b"SPB1\x02\x00\x02\x00\x01\x00\x00\x00"
        + (0xB63CFBCD).to_bytes(4, "little")  # CRC-32 of 01 02 03 04
        + (7).to_bytes(8, "little")
        + (70).to_bytes(8, "little")
        + (1_000).to_bytes(8, "little")
        + b"\x01\x02\x03\x04"
    )
    parcel = read_message(payload, spec(CountType.I16))

    assert parcel.counts.tolist() == [[0x0201, 0x0403]]
    assert (parcel.sequence, parcel.first_sample, parcel.time_ns) == (7, 70, 1_000)


def test_a_message_beyond_all_measure_is_refused():
    with pytest.raises(ValueError, match="larger than 4 MiB"):
        read_message(b"SPB1" + bytes(1 << 22), spec(CountType.I16))


def test_a_float_that_is_no_number_is_missing():
    counts = np.array([[1.0, math.inf], [math.nan, 2.0]])
    parcel = read_message(write_block(Parcel(0, 0, 0, counts), CountType.F32), spec(CountType.F32))

    assert np.isnan(parcel.counts).tolist() == [[False, True], [True, False]]
    assert [name for name, _ in parcel.missing] == ["x", "y"]


@pytest.mark.parametrize(
    ("bend", "reason"),
    [
        (lambda raw: raw[:-1] + bytes([raw[-1] ^ 1]), "checksum does not fit"),
        (lambda raw: raw[:-1], "says 3 samples and has 11 bytes"),
        (lambda raw: raw + b"\0", "says 3 samples and has 13 bytes"),
        (lambda raw: raw[:39], "ends inside its head"),
        (lambda raw: raw[:4] + b"\x05" + raw[5:], "of type f32, not that of the map"),
        (lambda raw: raw[:4] + b"\x63" + raw[5:], "of type 99, not that of the map"),
        (lambda raw: raw[:6] + b"\x03" + raw[7:], "has 3 channels, the map 2"),
        (lambda raw: raw[:23] + b"\xff" + raw[24:], "too large"),
    ],
)
def test_a_bent_block_is_refused_with_the_reason(bend, reason):
    raw = write_block(Parcel(0, 0, 0, COUNTS), CountType.I16)

    with pytest.raises(ValueError, match=reason):
        read_message(bend(raw), spec(CountType.I16))


@given(st.binary(max_size=200) | st.binary(max_size=200).map(lambda raw: b"SPB1" + raw))
def test_any_bytes_are_read_or_refused(payload):
    try:
        parcel = read_message(payload, spec(CountType.I16))
    except ValueError:
        return
    assert parcel.counts.shape[1] == 2


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
        max_leaves=5,
    )
)
def test_any_value_is_a_finite_number_or_missing(value):
    body = {"sequence": 1, "time_ns": 2, "values": {"x": value, "y": 1}}
    parcel = read_message(json.dumps(body).encode(), spec(CountType.F64))

    assert math.isfinite(parcel.counts[0, 0]) != any(name == "x" for name, _ in parcel.missing)


@given(st.permutations(range(30)), st.sets(st.integers(1, 28)), st.lists(st.integers(0, 29)))
def test_every_number_that_did_not_come_is_missing_and_every_copy_counted(order, lost, copies):
    came = [0, *(n for n in order if n not in lost and n != 0)]
    again = [n for n in copies if n not in lost]
    book = SequenceBook()
    for number in (*came, *again):
        book.note(number)

    assert book.missing == len([n for n in lost if n < max(came)])
    assert book.twice == len(again)
