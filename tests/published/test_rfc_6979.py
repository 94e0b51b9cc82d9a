"""Deterministic ECDSA against RFC 6979 (2013), appendix A.2.5: P-256 with SHA-256.

The numbers of the appendix are from memory; the key's public part is checked with them.
"""

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from tests.dossier.handover_example import KEY_MADE_AT, PASSPHRASE

from spinproof.dossier.keys import ReleaseKey, create_key

pytestmark = pytest.mark.source("RFC 6979 (2013), A.2.5", kind="published")

PRIVATE = 0xC9AFA9D845BA75166B5C215767B1D6934E50C3DB36E89B127B8A622B120F6721
PUBLIC_X = 0x60FED4BA255A9D31C961EB74C6356D68C049B8923B61FA6CE669622E60F29FB6
PUBLIC_Y = 0x7903FE1008B8BC99A41AE9E95628BC64F2F1B20C2D7E9F5177A3C294D4462299
SIGNATURES = {
    b"sample": (
        0xEFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716,
        0xF7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8,
    ),
    b"test": (
        0xF1ABB023518351CD71D881567B1EA663ED3EFCF6C5132B354F28D3B0B7D38367,
        0x019F4113742A2B14BD25926B49C649155F267E60D3814B4C0CC84250E46F0083,
    ),
}


@pytest.fixture
def key(tmp_path):
    certificate: x509.Certificate = create_key(
        tmp_path, "a shop", KEY_MADE_AT, PASSPHRASE
    ).certificate
    return ReleaseKey(ec.derive_private_key(PRIVATE, ec.SECP256R1()), certificate)


def test_the_public_key_is_that_of_the_appendix(key):
    numbers = key.private.public_key().public_numbers()

    assert (numbers.x, numbers.y) == (PUBLIC_X, PUBLIC_Y)


@pytest.mark.parametrize("message", SIGNATURES)
def test_the_signature_is_that_of_the_appendix(key, message):
    assert decode_dss_signature(key.sign(message)) == SIGNATURES[message]
