"""Sealing bytes so that they can neither be read nor changed without the key.

References
----------
.. [1] C. Percival and S. Josefsson, "The scrypt Password-Based Key Derivation Function,"
   RFC 7914 (2016).
.. [2] M. Dworkin, "Recommendation for Block Cipher Modes of Operation: Galois/Counter Mode (GCM)
   and GMAC," NIST SP 800-38D (2007): AES-256-GCM with random nonces of 96 bits.
"""

import secrets
import unicodedata

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

KEY_BYTES = 32
NONCE_BYTES = 12


class UnsealError(Exception):
    """The key is another one, or the sealed bytes were changed; the vault says which."""


def key_from_passphrase(passphrase: str, salt: bytes, cost: int) -> bytes:
    """Derive a key from a passphrase.

    Parameters
    ----------
    passphrase : str
        Any text; the ways in which keyboards compose a letter make no difference (NFKC).
    salt : bytes
        Random bytes of the vault.
    cost : int
        Base-2 logarithm of the cost N of scrypt, with r = 8 and p = 1; it takes N kB of memory.

    Returns
    -------
    bytes
        32 bytes.
    """
    text = unicodedata.normalize("NFKC", passphrase).encode("utf-8")
    return Scrypt(salt=salt, length=KEY_BYTES, n=2**cost, r=8, p=1).derive(text)


def seal(key: bytes, data: bytes, purpose: bytes) -> bytes:
    """Seal some bytes.

    Parameters
    ----------
    key : bytes
        32 bytes.
    data : bytes
        What to seal.
    purpose : bytes
        What they are; the same must be said to unseal them, so that nothing passes for another.

    Returns
    -------
    bytes
        Nonce, sealed bytes and tag; 28 bytes longer than the data.
    """
    nonce = secrets.token_bytes(NONCE_BYTES)
    return nonce + AESGCM(key).encrypt(nonce, data, purpose)


def unseal(key: bytes, sealed: bytes, purpose: bytes) -> bytes:
    """Give back what was sealed.

    Parameters
    ----------
    key : bytes
        The key that sealed it.
    sealed : bytes
        What `seal` gave.
    purpose : bytes
        What was said then.

    Returns
    -------
    bytes
        The data.

    Raises
    ------
    UnsealError
        If key, purpose or a single bit differ.
    """
    if len(sealed) < NONCE_BYTES + 16:
        raise UnsealError
    try:
        return AESGCM(key).decrypt(sealed[:NONCE_BYTES], sealed[NONCE_BYTES:], purpose)
    except InvalidTag as error:
        raise UnsealError from error
