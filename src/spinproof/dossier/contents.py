"""What the files of an intact package say about one another."""

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from cryptography import x509
from pydantic import ValidationError

from spinproof.dossier.evidence import (
    DOSSIER_FILE,
    EVIDENCE_FILE,
    WITHOUT_SUM,
    EvidenceDocument,
)
from spinproof.dossier.findings import Finding, FindingKind
from spinproof.dossier.key_list import KEYS_FILE, KeyList, fault_of_key
from spinproof.dossier.keys import CERTIFICATE_FILE, fingerprint_of, is_valid_at
from spinproof.dossier.pdf_signature import fault_of_pdf
from spinproof.dossier.soundness import tally_of
from spinproof.dossier.trail import check_trail
from spinproof.files.canonical import canonical_json
from spinproof.model.errors import DocumentError
from spinproof.model.handover import Attempt
from spinproof.model.judgement import Judgement
from spinproof.model.noun import Noun
from spinproof.model.run import Outcome

N = TypeVar("N", bound=Noun)


class _UnreadableError(Exception):
    """A document of the package is not what it should be."""


def check_contents(
    package: Path,
    sums: Mapping[str, str],
    certificate: x509.Certificate,
    own: KeyList | None = None,
    newest: KeyList | None = None,
    held: tuple[int, str] | None = None,
) -> tuple[tuple[Finding, ...], tuple[str, ...]]:
    """Check what the files say about one another.

    Parameters
    ----------
    package : Path
        A package whose files all have the sums of its list.
    sums : mapping of str to str
        The list: SHA-256 by path.
    certificate : Certificate
        The certificate inside.
    own : KeyList, optional
        The list of release keys inside.
    newest : KeyList, optional
        The list that the reader was given.
    held : tuple of int and str, optional
        Rows and root of a head of the audit trail that the reader holds.

    Returns
    -------
    tuple
        The findings, and what was checked in words.
    """
    try:
        document = _read(package / EVIDENCE_FILE, EvidenceDocument)
    except _UnreadableError as error:
        return (Finding(FindingKind.CONTRADICTION, EVIDENCE_FILE, str(error)),), ()
    runs = [attempt.run for attempt in document.attempts if attempt.recorded]
    in_trail, said_of_trail = check_trail(package, runs, held)
    findings = (
        *in_trail,
        *_against_list(document, sums),
        *_against_itself(document),
        *_against_dossier(package, sums),
        *_against_judgements(package, document, sums),
        *_against_certificate(document, certificate),
        *_against_pdf_signature(package, document, certificate),
        *_against_keys(document, certificate, own, newest),
    )
    judged = len(document.attempts) + (document.witness is not None)
    checked = (
        f"{len(document.statements)} statements rest on records that are inside",
        f"{judged} judgements name the trace, recipe, head and limits that are inside",
        f"{document.tally}",
        f"{DOSSIER_FILE} carries the sum of {EVIDENCE_FILE}",
        f"{DOSSIER_FILE} is signed by the same certificate, over the whole file",
        *_said_of_keys(own, newest),
        *said_of_trail,
    )
    return findings, checked


def _against_keys(
    document: EvidenceDocument,
    certificate: x509.Certificate,
    own: KeyList | None,
    newest: KeyList | None,
) -> Iterator[Finding]:
    if own and newest:
        if own.root != newest.root:
            yield _distrust("is signed by another root key than the list that was given")
        elif newest.version < own.version:
            yield _distrust(
                f"is number {own.version}, and the list that was given is number "
                f"{newest.version}: ask the shop for its newest"
            )
    known = newest or own
    why = known and fault_of_key(known, certificate, document.issued_at)
    if why:
        yield Finding(FindingKind.UNTRUSTED_KEY, CERTIFICATE_FILE, why)


def _distrust(text: str) -> Finding:
    return Finding(FindingKind.UNTRUSTED_KEY, KEYS_FILE, text)


def _said_of_keys(own: KeyList | None, newest: KeyList | None) -> Iterator[str]:
    known = newest or own
    if known:
        which = "the list that was given" if newest else KEYS_FILE
        yield f"{which}, number {known.version}, names the release key and does not end it before"


def _wrong(file: str, text: str) -> Finding:
    return Finding(FindingKind.CONTRADICTION, file, text)


def _against_list(document: EvidenceDocument, sums: Mapping[str, str]) -> Iterator[Finding]:
    listed = {path: sum_ for path, sum_ in sums.items() if path not in WITHOUT_SUM}
    for path in sorted(listed.keys() | document.files.keys()):
        if listed.get(path) != document.files.get(path):
            yield _wrong(path, f"has another sum in {EVIDENCE_FILE} than in the list")


def _against_itself(document: EvidenceDocument) -> Iterator[Finding]:
    present = set(document.files.values())
    for statement in document.statements:
        if set(statement.evidence) - present:
            yield _wrong(EVIDENCE_FILE, f"statement {statement.id} rests on a record not inside")
    for attempt in _attempts(document):
        if not attempt.recorded and attempt.outcome is not Outcome.ABORTED:
            yield _wrong(EVIDENCE_FILE, f"nothing of run {attempt.run} was recorded")
        for path, sum_ in (
            (f"runs/{attempt.run}.parquet", attempt.trace_sha256),
            (f"judgements/{attempt.run}.json", attempt.judgement_sha256),
        ):
            if document.files.get(path, "") != sum_:
                yield _wrong(path, f"is not what {EVIDENCE_FILE} says of run {attempt.run}")
        if set(attempt.evidence) - present:
            yield _wrong(EVIDENCE_FILE, f"evidence of run {attempt.run} is not inside")
    if tally_of(document.attempts) != document.tally:
        yield _wrong(EVIDENCE_FILE, "the tally is not that of the attempts")


def _against_dossier(package: Path, sums: Mapping[str, str]) -> Iterator[Finding]:
    """Look for the sum of evidence.json among the dossier's keywords, which are not compressed."""
    if sums[EVIDENCE_FILE].encode("ascii") not in (package / DOSSIER_FILE).read_bytes():
        yield _wrong(DOSSIER_FILE, f"belongs to another {EVIDENCE_FILE}")


def _against_certificate(
    document: EvidenceDocument, certificate: x509.Certificate
) -> Iterator[Finding]:
    if document.certificate != fingerprint_of(certificate):
        yield _wrong(EVIDENCE_FILE, "names another certificate than the one inside")
    if not is_valid_at(certificate, document.issued_at):
        yield _wrong(CERTIFICATE_FILE, "was not valid when the dossier was issued")


def _against_pdf_signature(
    package: Path, document: EvidenceDocument, certificate: x509.Certificate
) -> Iterator[Finding]:
    if is_valid_at(certificate, document.issued_at):
        at = datetime.fromisoformat(document.issued_at)
        fault = fault_of_pdf((package / DOSSIER_FILE).read_bytes(), certificate, at)
        if fault is not None:
            yield Finding(FindingKind.BAD_SIGNATURE, DOSSIER_FILE, fault)


def _against_judgements(
    package: Path, document: EvidenceDocument, sums: Mapping[str, str]
) -> Iterator[Finding]:
    present = set(document.files.values())
    for attempt in _attempts(document):
        path = f"judgements/{attempt.run}.json"
        if path not in sums:
            continue
        try:
            judgement = _read(package / path, Judgement)
        except _UnreadableError as error:
            yield _wrong(path, str(error))
            continue
        if (judgement.run, judgement.trace_sha256) != (attempt.run, attempt.trace_sha256):
            yield _wrong(path, "is about another trace")
        inputs = {judgement.recipe_sha256, judgement.head_sha256, judgement.limits_sha256}
        if inputs - present:
            yield _wrong(path, "was made from a recipe, head or limits that are not inside")
        if judgement.simulated and not document.simulated:
            yield _wrong(EVIDENCE_FILE, f"is silent about run {attempt.run} being simulated")


def _attempts(document: EvidenceDocument) -> tuple[Attempt, ...]:
    return document.attempts + ((document.witness,) if document.witness else ())


def _read(path: Path, kind: type[N]) -> N:
    data = path.read_bytes()
    try:
        content = json.loads(data, object_pairs_hook=_without_twins)
        is_canonical = canonical_json(content) == data
        noun = kind.from_document(content)
    except (ValueError, RecursionError, ValidationError, DocumentError) as error:
        raise _UnreadableError("is not the document that it should be") from error
    if not is_canonical:
        raise _UnreadableError("is not canonical JSON")
    return noun


def _without_twins(pairs: list[tuple[str, object]]) -> dict[str, object]:
    if len({key for key, _ in pairs}) != len(pairs):
        msg = "a key stands twice"
        raise ValueError(msg)
    return dict(pairs)
