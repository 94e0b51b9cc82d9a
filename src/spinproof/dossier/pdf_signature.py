"""The signature inside dossier.pdf: PAdES, over the whole file, allowing no later change."""

import asyncio
import hashlib
import io
import logging
from collections.abc import Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import datetime
from typing import Any, TypeVar

from asn1crypto import keys as asn1_keys
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from pyhanko.pdf_utils.generic import ByteStringObject
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.pdf_utils.writer import BasePdfFileWriter
from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.general import SigningError
from pyhanko.sign.signers.pdf_cms import SimpleSigner
from pyhanko.sign.signers.pdf_signer import PdfSignatureMetadata, PdfSigner, PdfSigningSession
from pyhanko.sign.validation import async_validate_pdf_signature
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.settings import KeyUsageConstraints
from pyhanko.sign.validation.status import SignatureCoverageLevel
from pyhanko_certvalidator.context import ValidationContext
from pyhanko_certvalidator.registry import SimpleCertificateStore

from spinproof.dossier.keys import ReleaseKey

T = TypeVar("T")

FIELD = "Release"
REASON = "Released as it stands; any later change breaks this signature."


class _Signer(SimpleSigner):
    """Signs as everything else of a package is signed: with the nonce of RFC 6979."""

    def __init__(self, key: ReleaseKey) -> None:
        private = key.private.private_bytes(
            serialization.Encoding.DER,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
        super().__init__(
            signing_cert=_asn1(key.certificate),
            signing_key=asn1_keys.PrivateKeyInfo.load(private),
            cert_registry=SimpleCertificateStore(),  # type: ignore[no-untyped-call]  # the library gives it none
        )
        self.key = key

    def sign_raw(self, data: bytes, digest_algorithm: str) -> bytes:  # noqa: ARG002 - the library's signature
        """Give the signature of some data; the digest is always SHA-256."""
        return self.key.sign(data)


class _TimedSigner(PdfSigner):
    """States the moment of issue, not that of a clock of its own."""

    at: datetime

    def init_signing_session(
        self,
        pdf_out: BasePdfFileWriter,
        existing_fields_only: bool = False,  # noqa: FBT001, FBT002 - the library's signature
    ) -> PdfSigningSession:
        """Begin to sign, at the stated moment."""
        session = super().init_signing_session(pdf_out, existing_fields_only)
        session.system_time = self.at
        return session


class _Writer(IncrementalPdfFileWriter):
    """Adds the signature and nothing else: the same inputs give the same bytes."""

    def __init__(self, pdf: bytes) -> None:
        super().__init__(io.BytesIO(pdf))
        self._document_id[1] = ByteStringObject(hashlib.sha256(pdf).digest()[:16])  # else random

    def _update_meta(self) -> None:
        # the library would write the time by a clock of its own
        pass


def sign_pdf(pdf: bytes, key: ReleaseKey, at: datetime) -> bytes:
    """Certify a document: its signature covers the whole file and allows no change.

    Parameters
    ----------
    pdf : bytes
        The document.
    key : ReleaseKey
        The shop's key.
    at : datetime
        Moment of issue by the shop's clock, with its time zone.

    Returns
    -------
    bytes
        The document, followed by its signature.
    """
    metadata = PdfSignatureMetadata(
        field_name=FIELD,
        md_algorithm="sha256",
        reason=REASON,
        certify=True,
        subfilter=SigSeedSubFilter.PADES,
        docmdp_permissions=MDPPerm.NO_CHANGES,
    )
    signer = _TimedSigner(metadata, _Signer(key), new_field_spec=SigFieldSpec(FIELD))
    signer.at = at
    output = io.BytesIO()
    writer = _Writer(pdf)
    _finish(signer.async_sign_pdf(writer, output=output))
    return output.getvalue()


def fault_of_pdf(pdf: bytes, certificate: x509.Certificate, at: datetime) -> str | None:
    """Say what is wrong with the signature of a document.

    Parameters
    ----------
    pdf : bytes
        The document.
    certificate : Certificate
        The only certificate that may have signed it.
    at : datetime
        Moment at which the certificate must have been valid.

    Returns
    -------
    str or None
        A clause, or None when one signature by that certificate covers the whole file.
    """
    try:
        with _quiet():
            return _fault(pdf, certificate, at)
    except (PdfError, SigningError, SignatureValidationError, ValueError, KeyError, IndexError):
        return "cannot be read as a signed document"


def _fault(pdf: bytes, certificate: x509.Certificate, at: datetime) -> str | None:
    signatures = PdfFileReader(io.BytesIO(pdf)).embedded_signatures
    if len(signatures) != 1:
        return f"has {len(signatures)} signatures, and exactly one belongs there"
    (signature,) = signatures
    if signature.signer_cert.dump() != certificate.public_bytes(serialization.Encoding.DER):
        return "is signed by another certificate than the one inside"
    status = _finish(
        async_validate_pdf_signature(
            signature,
            signer_validation_context=ValidationContext(
                trust_roots=[_asn1(certificate)], allow_fetching=False, moment=at
            ),
            key_usage_settings=KeyUsageConstraints(key_usage=set()),
        )
    )
    if not (status.intact and status.valid):
        return "was changed after it was signed"
    if status.coverage is not SignatureCoverageLevel.ENTIRE_FILE:
        return "goes on after its signature: something was appended"
    return None if status.bottom_line else "is signed, and the signature does not hold"


def _finish(work: Coroutine[Any, Any, T]) -> T:
    # in a thread of its own: the caller's may be running a loop already
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


def _asn1(certificate: x509.Certificate) -> asn1_x509.Certificate:
    return asn1_x509.Certificate.load(certificate.public_bytes(serialization.Encoding.DER))


@contextmanager
def _quiet() -> Iterator[None]:
    # the validator logs what the finding says
    logging.disable(logging.ERROR)
    try:
        yield
    finally:
        logging.disable(logging.NOTSET)
