"""Raw blocks and the channels in them."""

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.demo_files import LOWER_CHANNELS
from tests.record.raw_run import LAYOUT, RUN, make_block

from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.errors import DocumentError, TraceError
from spinproof.record.blocks import (
    RecordLayout,
    check_map,
    decode_counts,
    decode_signals,
    parse_block,
    read_head,
)


def channel(kind, first_register=0, rate=20.0):
    return Channel(
        name="reading",
        role=Role.OTHER,
        first_register=first_register,
        type=kind,
        unit="1",
        sample_rate_hz=rate,
        instrument=Instrument(name="meter", standard_uncertainty=0.0),
    )


def registers(code, values):
    """Give big-endian words as a stand sends them, through another route than the decoder's."""
    raw = b"".join(struct.pack(">" + code, value) for value in values)
    words = struct.unpack(f">{len(raw) // 2}H", raw)
    return np.array(words, dtype=np.uint16).reshape(len(values), -1)


@given(data=st.data())
@pytest.mark.parametrize(
    ("kind", "code", "values"),
    [
        (CountType.U16, "H", st.integers(0, 2**16 - 1)),
        (CountType.I16, "h", st.integers(-(2**15), 2**15 - 1)),
        (CountType.U32, "I", st.integers(0, 2**32 - 1)),
        (CountType.I32, "i", st.integers(-(2**31), 2**31 - 1)),
        (CountType.F32, "f", st.floats(width=32, allow_nan=False)),
        (CountType.F64, "d", st.floats(allow_nan=False)),
    ],
)
def test_every_type_is_decoded_in_both_word_orders(data, kind, code, values):
    sent = data.draw(st.lists(values, min_size=1, max_size=5))
    words = registers(code, sent)
    padded = np.hstack([np.full((len(sent), 3), 7, np.uint16), words])

    assert decode_counts(channel(kind, 3), padded).tolist() == sent
    assert decode_counts(channel(kind), words[:, ::-1], "little").tolist() == sent


def test_a_nan_in_the_registers_stays_one():
    counts = decode_counts(channel(CountType.F32), registers("f", [float("nan"), 1.5]))

    assert np.isnan(counts[0])
    assert counts[1] == 1.5


def test_a_block_gives_back_its_head_and_records():
    block = parse_block(make_block(3), LAYOUT)

    assert block.head == (3, 15, 750_000, RUN, 5)
    assert block.head == read_head(make_block(3))
    assert block.records[:, 22].tolist() == [15, 16, 17, 18, 19]


def test_the_unused_rest_of_a_last_block_is_left_out():
    assert parse_block(make_block(3, samples=2), LAYOUT).records[:, 22].tolist() == [15, 16]


@pytest.mark.parametrize("payload", [b"", b"\0" * 19, make_block(3)[:-1], make_block(3, samples=6)])
def test_a_block_that_is_shorter_than_its_head_says_is_refused(payload):
    with pytest.raises(TraceError, match="shorter than its head says"):
        parse_block(payload, LAYOUT)


def test_a_slower_channel_holds_every_kth_sample_of_the_run():
    block = parse_block(make_block(3), LAYOUT)
    signals = decode_signals(LOWER_CHANNELS, LAYOUT, np.arange(15, 20), block.records, 12)

    assert signals["DI flow"].time_s.tolist() == [0.15, 0.2, 0.25, 0.3, 0.35]
    assert signals["drain resistivity"].time_s.tolist() == [0.15]  # sample 15; 4 Hz of 20 Hz
    assert signals["drain resistivity"].values == pytest.approx([10.01])


def test_scale_and_missing_readings_are_left_to_the_signal():
    words = registers("H", [1500, 65_535])
    flow = next(c for c in LOWER_CHANNELS.channels if c.name == "DI flow")
    counts = decode_counts(flow.model_copy(update={"first_register": 0}), words)

    assert counts.dtype == np.uint16
    assert counts.tolist() == [1500, 65_535]


def map_with(one):
    return LOWER_CHANNELS.model_copy(update={"channels": (one,)})


def test_the_demo_map_fits_the_demo_stand():
    check_map(LOWER_CHANNELS, LAYOUT)


def test_a_channel_beyond_the_record_is_named():
    with pytest.raises(DocumentError, match=r"ends at register 23.*registers 0 to 22") as caught:
        check_map(map_with(channel(CountType.U32, 22)), LAYOUT)

    assert "channel reading" in caught.value.where


@pytest.mark.parametrize(
    ("rate", "fits"),
    [
        (20.0, True),
        (10.0, True),
        (4.0, True),
        (20.1, True),
        (15.0, False),
        (40.0, False),
        (19.0, False),
    ],
)
def test_a_rate_must_be_a_whole_fraction_of_the_stands(rate, fits):
    one = map_with(channel(CountType.U16, rate=rate))
    if fits:
        check_map(one, LAYOUT)
    else:
        with pytest.raises(DocumentError, match="no whole fraction"):
            check_map(one, LAYOUT)


def test_a_layout_of_another_stand_is_followed():
    layout = RecordLayout(record_registers=2, samples_per_block=3, sample_period_us=1000)
    payload = struct.pack(">IIQHH6H", 0, 0, 0, 1, 3, 1, 2, 3, 4, 5, 6)

    assert layout.block_registers == 16
    assert parse_block(payload, layout).records.tolist() == [[1, 2], [3, 4], [5, 6]]
