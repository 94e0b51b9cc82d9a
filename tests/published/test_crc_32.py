"""The journal's checksum against the CRC-32 of RFC 1952 (gzip), section 8, bit by bit.

The check value of the digits 1 to 9 is the customary one for this polynomial, as printed in
R. N. Williams, "A painless guide to CRC error detection algorithms" (1993).
"""

import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.record.frames import frame_checksum

POLYNOMIAL = 0xEDB88320  # reflected, as in section 8 of the RFC


def crc_32(data):
    """Divide the message by the polynomial, one bit at a time."""
    remainder = 0xFFFFFFFF
    for byte in data:
        remainder ^= byte
        for _ in range(8):
            remainder = remainder >> 1 ^ (POLYNOMIAL if remainder & 1 else 0)
    return remainder ^ 0xFFFFFFFF


@pytest.mark.source("R. N. Williams 1993", kind="published")
def test_the_digits_give_the_published_check_value():
    assert crc_32(b"123456789") == 0xCBF43926
    assert zlib.crc32(b"123456789") == 0xCBF43926


@pytest.mark.source("RFC 1952 (1996)", kind="independent route")
@given(st.integers(0, 255), st.integers(0, 2**64 - 1), st.binary(max_size=60))
def test_a_frames_checksum_is_the_crc_of_kind_length_time_and_payload(kind, time_ns, payload):
    covered = struct.pack(">BIQ", kind, len(payload), time_ns) + payload

    assert frame_checksum(kind, time_ns, payload) == crc_32(covered)
