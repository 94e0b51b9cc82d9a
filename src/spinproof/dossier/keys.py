"""The shop's release key: ECDSA P-256, with a certificate that the shop signs itself.

The certificate names the shop and nobody else. Whoever checks a package compares its fingerprint
with one that came another way: by letter, on the quotation, over the telephone. The private part
lies encrypted.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from spinproof.files.digest import sha256_of_bytes
from spinproof.files.durable import storage_errors, write_durably
from spinproof.files.signing import grouped, is_signed, new_private_key, sign, store_private_key
from spinproof.model.errors import PackageError, VaultError

PRIVATE_FILE = "release-key.pem"
CERTIFICATE_FILE = "release-cert.pem"
LIFETIME = timedelta(days=730)
EARLIER = timedelta(days=1)
"""How long before its making a certificate is valid, for clocks that do not agree."""

_ENCRYPTED = b"ENCRYPTED PRIVATE KEY"
_MAKE_ANEW = "Move the folder with the key away and make a new key; tell customers its fingerprint."


@dataclass(frozen=True)
class ReleaseKey:
    """A private key and its certificate."""

    private: ec.EllipticCurvePrivateKey
    certificate: x509.Certificate

    @property
    def certificate_pem(self) -> bytes:
        """The certificate as it lies in a package."""
        return self.certificate.public_bytes(serialization.Encoding.PEM)

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate, in groups of four digits."""
        return fingerprint_of(self.certificate)

    def sign(self, data: bytes) -> bytes:
        """Give the ECDSA signature of the data's SHA-256, in DER."""
        return sign(self.private, data)


def fingerprint_of(certificate: x509.Certificate) -> str:
    """Give the SHA-256 of a certificate's DER, in groups of four upper-case digits."""
    return grouped(sha256_of_bytes(certificate.public_bytes(serialization.Encoding.DER)))


def is_signed_by(certificate: x509.Certificate, signature: bytes, data: bytes) -> bool:
    """Tell whether a DER signature over some data was made with the key of a certificate."""
    try:
        public = certificate.public_key()
    except (ValueError, UnsupportedAlgorithm):
        return False
    return is_signed(public, signature, data)


def is_valid_at(certificate: x509.Certificate, moment: str) -> bool:
    """Tell whether a certificate was valid at an RFC 3339 moment; no other text is one."""
    try:
        at = datetime.fromisoformat(moment)
    except ValueError:
        return False
    if at.tzinfo is None:
        return False
    return certificate.not_valid_before_utc <= at <= certificate.not_valid_after_utc


def create_key(folder: Path, shop: str, at: datetime, passphrase: str) -> ReleaseKey:
    """Make the shop's release key and store it, the private part for the owner's eyes only.

    Parameters
    ----------
    folder : Path
        Folder of the key; it is created when missing.
    shop : str
        Name under which the shop signs, up to 64 characters.
    at : datetime
        The present, with its time zone; the certificate is valid for 730 days from then.
    passphrase : str
        What the private key is encrypted with.

    Returns
    -------
    ReleaseKey
        The new key.

    Notes
    -----
    BusyError says when a key lies there already: a key is never overwritten. StorageError says
    when the folder cannot be written.
    """
    private = new_private_key()
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, shop)])
    start = at.replace(microsecond=0)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start - EARLIER)
        .not_valid_after(start + LIFETIME)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .sign(private, hashes.SHA256())
    )
    key = ReleaseKey(private, certificate)
    with storage_errors(folder):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    store_private_key(folder / PRIVATE_FILE, private, "release key", passphrase)
    write_durably(folder / CERTIFICATE_FILE, key.certificate_pem)
    return key


def load_key(folder: Path, passphrase: str) -> ReleaseKey:
    """Read the shop's release key.

    Parameters
    ----------
    folder : Path
        Folder of the key.
    passphrase : str
        What the private key is encrypted with.

    Returns
    -------
    ReleaseKey
        The key.

    Raises
    ------
    PackageError
        If key or certificate cannot be read, or they do not belong together.
    VaultError
        If the passphrase is not the key's.

    Notes
    -----
    StorageError says when there is no key.
    """
    private = load_encrypted_key(folder / PRIVATE_FILE, passphrase)
    with storage_errors(folder):
        certificate_pem = (folder / CERTIFICATE_FILE).read_bytes()
    try:
        certificate = x509.load_pem_x509_certificate(certificate_pem)
    except ValueError as error:
        raise PackageError(
            "the release certificate is damaged", where=str(folder), mend=_MAKE_ANEW
        ) from error
    if private.public_key() != certificate.public_key():
        raise PackageError(
            "the release key and its certificate do not belong together",
            where=str(folder),
            mend=_MAKE_ANEW,
        )
    return ReleaseKey(private, certificate)


def load_encrypted_key(path: Path, passphrase: str) -> ec.EllipticCurvePrivateKey:
    """Read an encrypted private key on P-256.

    Parameters
    ----------
    path : Path
        The file.
    passphrase : str
        What it is encrypted with.

    Returns
    -------
    EllipticCurvePrivateKey
        The key.

    Raises
    ------
    PackageError
        If the file is damaged, is not encrypted, or holds another kind of key.
    VaultError
        If the passphrase is not the key's.
    """
    with storage_errors(path):
        pem = path.read_bytes()
    try:
        private = serialization.load_pem_private_key(pem, password=passphrase.encode())
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        if _ENCRYPTED in pem and "password" in str(error).lower():
            raise VaultError(
                "the passphrase does not open the key",
                where=str(path),
                mend="Give the passphrase that it was stored with; without it, make a new key.",
            ) from error
        raise PackageError("the key is damaged", where=str(path), mend=_MAKE_ANEW) from error
    if isinstance(private, ec.EllipticCurvePrivateKey) and private.curve.name == "secp256r1":
        return private
    raise PackageError("the key is of another kind", where=str(path), mend=_MAKE_ANEW)
