"""The packages in the folder of dossiers, each verified when it is asked for."""

import json
from pathlib import Path

from cryptography import x509
from pydantic import ValidationError

from spinproof.app.home import Home
from spinproof.app.views import PackageView
from spinproof.dossier.evidence import DOSSIER_FILE, EVIDENCE_FILE, EvidenceDocument
from spinproof.dossier.keys import CERTIFICATE_FILE, fingerprint_of
from spinproof.dossier.verification import verify_package
from spinproof.files.durable import storage_errors
from spinproof.model.errors import PackageError, RecordError


def package_folders(home: Home) -> tuple[Path, ...]:
    """Give the folders that hold a package, in order of their names."""
    with storage_errors(home.dossiers):
        return tuple(
            sorted(
                path
                for path in home.dossiers.iterdir()
                if path.is_dir() and not path.name.startswith(".")
            )
        )


def packages(home: Home) -> tuple[PackageView, ...]:
    """Verify every package, against the shop's own certificate when there is one.

    Parameters
    ----------
    home : Home
        The shop's folders.

    Returns
    -------
    tuple of PackageView
        One for each folder; one that is no package says why.
    """
    own = own_fingerprint(home)
    return tuple(_package(path, own) for path in package_folders(home))


def package_document(home: Home, name: str) -> Path:
    """Give the document of a package that verifies.

    Parameters
    ----------
    home : Home
        The shop's folders.
    name : str
        Name of the package.

    Returns
    -------
    Path
        The document, PDF.

    Raises
    ------
    RecordError
        If there is no such package, or it does not verify.
    """
    own = own_fingerprint(home)
    for path in package_folders(home):
        if path.name == name and _package(path, own).verified:
            return path / DOSSIER_FILE
    raise RecordError(
        "no package of this name verifies",
        where=f"dossier {name}",
        mend="Look at the page of all dossiers: it names what was changed.",
    )


def own_fingerprint(home: Home) -> str | None:
    """Give the fingerprint of the shop's own certificate, or None when it has none yet."""
    path = home.keys / CERTIFICATE_FILE
    if not path.exists():
        return None
    with storage_errors(path):
        pem = path.read_bytes()
    try:
        return fingerprint_of(x509.load_pem_x509_certificate(pem))
    except ValueError:
        return None


def _package(path: Path, own: str | None) -> PackageView:
    try:
        found = verify_package(path, own)
    except PackageError as error:
        return PackageView(
            name=path.name,
            verified=False,
            trust="not verified",
            findings=(f"{error.what}. {error.mend}",),
            fingerprint=None,
            head=None,
            issued_at=None,
            simulated=False,
        )
    signed = _signed(path) if found.ok else None
    return PackageView(
        name=path.name,
        verified=found.ok,
        trust="verified against this shop's own certificate" if own and found.ok else found.trust,
        findings=tuple(str(finding) for finding in found.findings),
        fingerprint=found.fingerprint,
        head=signed.head if signed else None,
        issued_at=signed.issued_at if signed else None,
        simulated=signed.simulated if signed else False,
    )


def _signed(path: Path) -> EvidenceDocument | None:
    with storage_errors(path):
        text = (path / EVIDENCE_FILE).read_bytes()
    try:
        return EvidenceDocument.from_document(json.loads(text))
    except (ValidationError, json.JSONDecodeError):
        return None
