"""The check of a package: offline, without an account, every changed file by its name."""

import os
import re
import stat
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509

from spinproof.dossier.contents import check_contents
from spinproof.dossier.evidence import DOSSIER_FILE, EVIDENCE_FILE, INSTRUCTIONS_FILE
from spinproof.dossier.findings import Finding, FindingKind
from spinproof.dossier.key_list import KEYS_FILE, KeyList, read_key_list
from spinproof.dossier.keys import CERTIFICATE_FILE, fingerprint_of, is_signed_by
from spinproof.dossier.sums import LIST_FILE, SIGNATURE_FILE, SumList, read_list
from spinproof.files.digest import sha256_of_file
from spinproof.files.durable import storage_errors
from spinproof.model.errors import PackageError

NECESSARY = (
    LIST_FILE,
    SIGNATURE_FILE,
    CERTIFICATE_FILE,
    EVIDENCE_FILE,
    DOSSIER_FILE,
    INSTRUCTIONS_FILE,
)
"""Files that every package has."""

LARGEST_LIST = 64 * 1024 * 1024
"""Bytes of a list or certificate beyond which it is none."""


@dataclass(frozen=True)
class Verification:
    """What a check of a package showed."""

    package: Path
    findings: tuple[Finding, ...]
    checked: tuple[str, ...]
    """What was checked, in words."""
    fingerprint: str | None
    """Fingerprint of the certificate inside, or None when it cannot be read."""
    trust: str
    """What the signature was compared with, in words."""

    @property
    def ok(self) -> bool:
        """Whether nothing was found."""
        return not self.findings


def verify_package(
    path: Path,
    fingerprint: str | None = None,
    keys: bytes | None = None,
    held: tuple[int, str] | None = None,
) -> Verification:
    """Check a package against its list, its signature and itself.

    Parameters
    ----------
    path : Path
        Folder of the package.
    fingerprint : str, optional
        Fingerprint of the shop's certificate, or of its root key, that did not travel with the
        package: 64 hexadecimal digits, in any grouping.
    keys : bytes, optional
        The shop's newest list of release keys, when it reached the reader by another way.
    held : tuple of int and str, optional
        Rows and root of a head of the shop's audit trail that the reader holds, from a letter or
        a film.

    Returns
    -------
    Verification
        Findings, each with the file's name, and what was checked.

    Raises
    ------
    PackageError
        If the folder is no package, the given fingerprint is none, or the given list is none.

    Notes
    -----
    StorageError says when a file cannot be read. Without a fingerprint the signature shows only
    that the package is whole: a forger can sign with a key of the same name.
    """
    expected = None if fingerprint is None else _digits_of(fingerprint)
    newest = None if keys is None else read_key_list(keys, "the list that was given")
    _refuse_no_package(path)
    entries, odd = _entries(path)
    present = {name: sha256_of_file(path / name) for name in entries}
    listed = _list_of(path, present)
    certificate = _certificate_of(path, present)
    findings = [
        *odd,
        *_missing(present, listed.sums),
        *_against_list(present, listed),
        *_signature_findings(path, present, certificate),
    ]
    inside = fingerprint_of(certificate) if certificate else None
    checked = [f"{len(listed.sums)} files have the sums of the list, and no other is there"]
    checked.append(f"the signature of {LIST_FILE} was made with the key of {CERTIFICATE_FILE}")
    own = _keys_of(path, present, findings)
    if inside and expected and expected not in _fingerprints(inside, own, newest):
        text = f"the certificate inside has the fingerprint {inside}, not the one given"
        findings.append(Finding(FindingKind.WRONG_FINGERPRINT, CERTIFICATE_FILE, text))
    if certificate and all(f.kind is FindingKind.WRONG_FINGERPRINT for f in findings):
        found, more = check_contents(path, listed.sums, certificate, own, newest, held)
        findings += found
        checked += more
    return Verification(
        package=path,
        findings=tuple(findings),
        checked=() if findings else tuple(checked),
        fingerprint=inside,
        trust=_trust(expected) if not findings else "not verified",
    )


def _trust(expected: str | None) -> str:
    if expected is None:
        return "verified against the key inside the package only"
    return "verified against the fingerprint that was given"


def _keys_of(path: Path, present: Mapping[str, str], findings: list[Finding]) -> KeyList | None:
    """Read the list of release keys inside; packages of the first version have none."""
    if KEYS_FILE not in present or (path / KEYS_FILE).stat().st_size > LARGEST_LIST:
        return None
    try:
        return read_key_list((path / KEYS_FILE).read_bytes(), KEYS_FILE)
    except PackageError as error:
        findings.append(Finding(FindingKind.UNTRUSTED_KEY, KEYS_FILE, error.what))
        return None


def _fingerprints(inside: str, *lists: KeyList | None) -> set[str]:
    """Give the fingerprints that stand for the certificate: its own, and of roots that name it."""
    named = [
        known.root_fingerprint
        for known in lists
        if known and any(key.fingerprint == inside for key in known.keys)
    ]
    return {text.replace(" ", "") for text in (inside, *named)}


def _digits_of(fingerprint: str) -> str:
    digits = re.sub(r"[\s:]", "", fingerprint).upper()
    if not re.fullmatch("[0-9A-F]{64}", digits):
        raise PackageError(
            f"{len(digits)} characters are no fingerprint",
            where=f'the fingerprint "{fingerprint}"',
            mend="Give the 64 digits 0 to 9 and A to F that the shop told you, with or without"
            " spaces and colons.",
        )
    return digits


def _refuse_no_package(path: Path) -> None:
    if not path.is_dir():
        raise PackageError(
            "there is no such folder",
            where=str(path),
            mend="Name the folder that holds SHA256SUMS; unpack an archive first.",
        )
    if not any(os.path.lexists(path / name) for name in NECESSARY):
        raise PackageError(
            "the folder is no package: it has neither a list of sums nor a dossier",
            where=str(path),
            mend="Name the folder that holds SHA256SUMS.",
        )


def _entries(path: Path) -> tuple[list[str], list[Finding]]:
    """Give the regular files, and findings for all that is neither file nor folder of files."""
    files, odd = [], []
    with storage_errors(path):
        for name, entry in _walk(path, path):
            mode = entry.stat(follow_symlinks=False).st_mode
            if stat.S_ISREG(mode):
                files.append(name)
            else:
                odd.append(_odd(_printable(name), mode))
    return sorted(files), odd


def _odd(name: str, mode: int) -> Finding:
    if stat.S_ISDIR(mode):
        what = "is an empty folder"
    else:
        what = "is a link" if stat.S_ISLNK(mode) else "is neither file nor folder"
    return Finding(FindingKind.ODD_ENTRY, name, what)


def _walk(folder: Path, top: Path) -> Iterator[tuple[str, os.DirEntry[str]]]:
    """Yield files, odd entries and empty folders; links are never followed."""
    with os.scandir(folder) as entries:
        for entry in entries:
            inner = Path(entry.path)
            if entry.is_dir(follow_symlinks=False) and any(inner.iterdir()):
                yield from _walk(inner, top)
            else:
                yield inner.relative_to(top).as_posix(), entry


def _missing(present: Mapping[str, str], sums: Mapping[str, str]) -> Iterator[Finding]:
    """Yield necessary files that are not there; those of the list are told with the list."""
    for name in NECESSARY:
        if name not in present and name not in sums:
            yield Finding(FindingKind.REMOVED, name, "every package has this file")


def _list_of(path: Path, present: Mapping[str, str]) -> SumList:
    if LIST_FILE not in present:
        return SumList({}, ())
    if (path / LIST_FILE).stat().st_size > LARGEST_LIST:
        return SumList({}, ("the list is larger than any list",))
    return read_list((path / LIST_FILE).read_bytes())


def _against_list(present: Mapping[str, str], listed: SumList) -> Iterator[Finding]:
    for fault in listed.faults:
        yield Finding(FindingKind.MALFORMED_LIST, LIST_FILE, fault)
    for name in sorted(listed.sums):
        if name not in present:
            yield Finding(FindingKind.REMOVED, name, "is in the list and not in the package")
        elif present[name] != listed.sums[name]:
            yield Finding(FindingKind.CHANGED, name, "has another SHA-256 than in the list")
    for name in sorted(present.keys() - listed.sums.keys() - {LIST_FILE, SIGNATURE_FILE}):
        if LIST_FILE in present:
            yield Finding(FindingKind.ADDED, _printable(name), "is not in the list")


def _certificate_of(path: Path, present: Mapping[str, str]) -> x509.Certificate | None:
    if CERTIFICATE_FILE not in present:
        return None
    if (path / CERTIFICATE_FILE).stat().st_size > LARGEST_LIST:
        return None
    try:
        return x509.load_pem_x509_certificate((path / CERTIFICATE_FILE).read_bytes())
    except (ValueError, x509.InvalidVersion):
        return None


def _signature_findings(
    path: Path, present: Mapping[str, str], certificate: x509.Certificate | None
) -> Iterator[Finding]:
    if certificate is None:
        if CERTIFICATE_FILE in present:
            text = "cannot be read as a certificate"
            yield Finding(FindingKind.BAD_CERTIFICATE, CERTIFICATE_FILE, text)
        return
    if LIST_FILE in present and SIGNATURE_FILE in present:
        signature, data = (path / SIGNATURE_FILE).read_bytes(), (path / LIST_FILE).read_bytes()
        if not is_signed_by(certificate, signature, data):
            text = f"does not fit {LIST_FILE} and the key of {CERTIFICATE_FILE}"
            yield Finding(FindingKind.BAD_SIGNATURE, SIGNATURE_FILE, text)


def _printable(name: str) -> str:
    return name.encode("utf-8", "backslashreplace").decode("utf-8")
