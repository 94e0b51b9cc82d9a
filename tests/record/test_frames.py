"""Frames of a journal."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.record.frames import (
    FRAME_HEAD_BYTES,
    LONGEST_PAYLOAD,
    Frame,
    FrameKind,
    find_frames,
    frame_bytes,
    split_frames,
)

frames = st.builds(
    Frame, st.sampled_from(FrameKind), st.integers(0, 2**64 - 1), st.binary(max_size=300)
)


def flipped(data, bit):
    changed = bytearray(data)
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


@given(st.lists(frames, max_size=5))
def test_frames_come_back_as_they_were_written(written):
    data = b"".join(frame_bytes(*frame) for frame in written)

    assert split_frames(data) == (written, len(data))


def test_every_single_bit_flip_in_a_frame_is_found():
    data = frame_bytes(FrameKind.BLOCK, 123_456_789, bytes(range(40)))

    for bit in range(8 * len(data)):
        assert split_frames(flipped(data, bit)) == ([], 0)


def test_a_frame_is_whole_only_with_its_last_byte():
    data = frame_bytes(FrameKind.BLOCK, 1, b"payload")

    for length in range(len(data)):
        assert split_frames(data[:length]) == ([], 0)
    assert len(split_frames(data)[0]) == 1


def test_frames_behind_damage_are_found():
    one, two, three = (frame_bytes(FrameKind.BLOCK, i, b"SPJ1 inside") for i in range(3))

    found = find_frames(flipped(one, 40) + b"SPJ" + two + three, 1)

    assert [frame.time_ns for _, frame in found] == [1, 2]
    assert [place for place, _ in found] == [len(one) + 3, len(one) + 3 + len(two)]


@pytest.mark.parametrize("payload", [b"", bytes(LONGEST_PAYLOAD)])
def test_payloads_may_be_empty_or_sixteen_mebibytes(payload):
    data = frame_bytes(FrameKind.CLOSING, 5, payload)

    assert split_frames(data) == ([Frame(FrameKind.CLOSING, 5, payload)], len(data))
    assert len(data) == FRAME_HEAD_BYTES + len(payload)
