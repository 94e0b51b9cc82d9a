"""Signing keys in files: ECDSA on P-256 with SHA-256, readable by their owner alone.

References
----------
.. [1] "Digital Signature Standard (DSS)," FIPS 186-5 (2023).
.. [2] T. Pornin, "Deterministic Usage of DSA and ECDSA," RFC 6979 (2013): the same bytes get the
   same signature, and no signature depends on the quality of a random number.
"""

import os
from pathlib import Path

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from spinproof.files.digest import sha256_of_bytes
from spinproof.files.durable import storage_errors, sync_folder, write_all
from spinproof.model.errors import BusyError, StorageError

PrivateKey = ec.EllipticCurvePrivateKey


def new_private_key() -> PrivateKey:
    """Make a private key on P-256."""
    return ec.generate_private_key(ec.SECP256R1())


def sign(private: PrivateKey, data: bytes) -> bytes:
    """Give the ECDSA signature of the data's SHA-256, in DER."""
    return private.sign(data, ec.ECDSA(hashes.SHA256(), deterministic_signing=True))


def is_signed(public: object, signature: bytes, data: bytes) -> bool:
    """Tell whether a DER signature over some data fits a public key on P-256; no other does."""
    if not isinstance(public, ec.EllipticCurvePublicKey):
        return False
    if not isinstance(public.curve, ec.SECP256R1):
        return False
    try:
        public.verify(signature, data, ec.ECDSA(hashes.SHA256()))
    except InvalidSignature:
        return False
    return True


def public_pem(private: PrivateKey) -> str:
    """Give the public key that belongs to a private one, as PEM text."""
    return (
        private.public_key()
        .public_bytes(serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)
        .decode()
    )


def is_signed_by_pem(pem: str, signature: bytes, data: bytes) -> bool:
    """Tell whether a DER signature over some data fits a public key given as PEM text."""
    try:
        public = serialization.load_pem_public_key(pem.encode())
    except (ValueError, UnsupportedAlgorithm):
        return False
    return is_signed(public, signature, data)


def fingerprint_of_pem(pem: str) -> str:
    """Give the SHA-256 of a public key's PEM text, in groups of four upper-case digits."""
    return grouped(sha256_of_bytes(pem.encode()))


def grouped(digits: str) -> str:
    """Write digits in upper case and in groups of four, for people to compare.

    Examples
    --------
    >>> grouped("6ae5f610")
    '6AE5 F610'
    """
    upper = digits.upper()
    return " ".join(upper[i : i + 4] for i in range(0, len(upper), 4))


def store_private_key(
    path: Path, private: PrivateKey, what: str, passphrase: str | None = None
) -> None:
    """Write a private key so that it is never readable by others, not even for a moment.

    Parameters
    ----------
    path : Path
        The new file.
    private : PrivateKey
        The key.
    what : str
        What key it is, for the message, for example "release key".
    passphrase : str, optional
        What the key is encrypted with; one that signs unattended has none.

    Raises
    ------
    BusyError
        If a key lies there already: a key is never overwritten.

    Notes
    -----
    StorageError says when the folder cannot be written; no part of a key is left then.
    """
    pem = private.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        _encryption(passphrase),
    )
    with storage_errors(path):
        try:
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError as error:
            raise BusyError(
                f"a {what} lies there already",
                where=str(path),
                mend="Use it, or move it away first: what was signed with it depends on it.",
            ) from error
        _write_whole(path, descriptor, pem)


def load_private_key(path: Path, what: str) -> PrivateKey:
    """Read a private key.

    Parameters
    ----------
    path : Path
        The file.
    what : str
        What key it is, for the message.

    Returns
    -------
    PrivateKey
        The key.

    Raises
    ------
    StorageError
        If the file is missing, damaged, or holds another kind of key.
    """
    with storage_errors(path):
        pem = path.read_bytes()
    try:
        private = serialization.load_pem_private_key(pem, password=None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        private = None
    if isinstance(private, PrivateKey) and isinstance(private.curve, ec.SECP256R1):
        return private
    raise StorageError(
        f"the {what} is damaged",
        where=str(path),
        mend="Put it back from a backup, or move it away so that a new one is made.",
    )


def _encryption(passphrase: str | None) -> serialization.KeySerializationEncryption:
    if passphrase is None:
        return serialization.NoEncryption()
    return serialization.BestAvailableEncryption(passphrase.encode())


def _write_whole(path: Path, descriptor: int, data: bytes) -> None:
    try:
        write_all(descriptor, data)
        os.fsync(descriptor)
    except OSError:
        path.unlink(missing_ok=True)
        raise
    finally:
        os.close(descriptor)
    sync_folder(path.parent)
