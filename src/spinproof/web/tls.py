"""Serving over TLS: the certificate and its key, looked at before anybody is let in."""

import ssl
from dataclasses import dataclass
from pathlib import Path

from spinproof.files.durable import storage_errors
from spinproof.model.errors import DocumentError, GateClosedError

CIPHERS = "ECDHE+AESGCM:ECDHE+CHACHA20"
"""For TLS 1.2, with forward secrecy; TLS 1.3 brings its own."""
_PAIR = "Give a PEM file of the certificate, with those it rests on, and one of its private key."


@dataclass(frozen=True)
class Identity:
    """A certificate and its private key, in PEM files."""

    certificate: Path
    key: Path

    def context(self) -> ssl.SSLContext:
        """Give the settings of TLS, 1.2 or later.

        Raises
        ------
        DocumentError
            If the files are no such pair, or the key asks for a passphrase.
        """
        for path in (self.certificate, self.key):
            with storage_errors(path), path.open("rb"):
                pass
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.set_ciphers(CIPHERS)
        try:
            context.load_cert_chain(self.certificate, self.key, password=_nobody_types)
        except ssl.SSLError as error:
            raise DocumentError(
                "the certificate and the key do not belong together"
                if "MISMATCH" in str(error)
                else "these are no certificate and private key",
                where=f"{self.certificate}, {self.key}",
                mend=_PAIR,
            ) from error
        return context


def _nobody_types() -> str:
    raise DocumentError(
        "the private key is locked with a passphrase, and nobody is there to type it",
        where="key of the pages",
        mend="Keep it without one, readable by the user alone who serves (chmod 600).",
    )


def identity_of(certificate: Path | None, key: Path | None) -> Identity | None:
    """Give the pair that was named, or None when none was.

    Raises
    ------
    DocumentError
        If one of the two is missing.
    """
    if certificate is None and key is None:
        return None
    if certificate is None or key is None:
        raise DocumentError(
            "a certificate and its key go together, and only one was given",
            where="spinproof serve",
            mend=_PAIR,
        )
    return Identity(certificate, key)


def require_tls(host: str, identity: Identity | None, *, plain: bool) -> None:
    """Refuse to show the pages to other machines where everybody on the way can read along.

    Raises
    ------
    GateClosedError
        If there is no certificate, and plain HTTP was not asked for.
    """
    if identity is None and not plain:
        raise GateClosedError(
            "passwords, PINs and records would cross the network in the clear",
            where=f"address {host}",
            mend="Give --certificate and --key, or serve on this machine alone; --plain-http "
            "serves without TLS on a network that nobody else reaches.",
        )
