"""The key of the sealed store against the printed vector of RFC 7914, section 12.

RFC 7914 (C. Percival and S. Josefsson, 2016) prints 64 bytes for N = 1024, r = 8, p = 16, and
for N = 16384, r = 8, p = 1. The second has the r and p of the sealed store; its first 32 bytes
are its key, since the last step of scrypt gives its output in blocks of 32 bytes.
"""

import pytest

from spinproof.evidence.sealing import key_from_passphrase

pytestmark = pytest.mark.source("RFC 7914, section 12", kind="published")


def test_the_vector_with_the_parameters_of_the_sealed_store():
    key = key_from_passphrase("pleaseletmein", b"SodiumChloride", 14)

    assert key.hex() == "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
