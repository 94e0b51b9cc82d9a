"""``evidence.json``: the facts of a dossier, its statements, and the SHA-256 of every record."""

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field

from spinproof.dossier.statements import Statement
from spinproof.model.handover import (
    Attempt,
    Claim,
    ConfigurationEntry,
    EvidenceItem,
    Handover,
    ScopeLine,
    Tally,
)
from spinproof.model.noun import Noun

EVIDENCE_FILE = "evidence.json"
DOSSIER_FILE = "dossier.pdf"
INSTRUCTIONS_FILE = "VERIFY.txt"
PAGE_FILE = "verify.html"
WITHOUT_SUM = frozenset({EVIDENCE_FILE, DOSSIER_FILE, INSTRUCTIONS_FILE})
"""Files whose sum stands in the list alone: they carry the sum of evidence.json, or are it."""

Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class StatementEntry(Noun):
    """A statement of the dossier."""

    id: str
    rule: str
    text: str
    verdict: str | None
    evidence: Annotated[tuple[Sha256, ...], Field(strict=False)]


class EvidenceDocument(Noun):
    """All that ``evidence.json`` holds."""

    schema_version: Literal["spinproof.evidence.v1"] = "spinproof.evidence.v1"
    job: str
    order: str
    shop: str
    machine: str
    head: str
    head_in_words: str
    other_heads: Annotated[tuple[str, ...], Field(strict=False)]
    issued_at: str
    software: str
    simulated: bool
    certificate: str
    """Fingerprint of the certificate, SHA-256 in groups."""
    scope: Annotated[tuple[ScopeLine, ...], Field(strict=False)]
    configurations: Annotated[tuple[ConfigurationEntry, ...], Field(strict=False)]
    limits_name: str
    tally: Tally
    claims: Annotated[tuple[Claim, ...], Field(strict=False)]
    attempts: Annotated[tuple[Attempt, ...], Field(strict=False)]
    witness: Attempt | None
    evidence: Annotated[tuple[EvidenceItem, ...], Field(strict=False)]
    instruments: Annotated[tuple[tuple[str, str, str], ...], Field(strict=False)]
    audit_entries: int
    audit_head: str
    statements: Annotated[tuple[StatementEntry, ...], Field(strict=False)]
    files: dict[str, Sha256]


def evidence_document(
    handover: Handover,
    statements: tuple[Statement, ...],
    files: Mapping[str, str],
    certificate: str,
) -> EvidenceDocument:
    """Gather what ``evidence.json`` holds.

    Parameters
    ----------
    handover : Handover
        The records.
    statements : tuple of Statement
        The statements made from them.
    files : mapping of str to str
        SHA-256 of each record by its path in the package.
    certificate : str
        Fingerprint of the certificate.

    Returns
    -------
    EvidenceDocument
        The document; its statements are numbered S-01 onwards.
    """
    copied = {
        name: getattr(handover, name)
        for name in EvidenceDocument.model_fields
        if hasattr(handover, name)
    }
    witness = handover.witness.attempt if handover.witness else None
    entries = tuple(
        StatementEntry(
            id=statement_id(number),
            rule=statement.rule,
            text=statement.text,
            verdict=statement.verdict,
            evidence=statement.evidence,
        )
        for number, statement in enumerate(statements, 1)
    )
    return EvidenceDocument(
        **{**copied, "witness": witness},
        statements=entries,
        files=dict(files),
        certificate=certificate,
    )


def statement_id(number: int) -> str:
    """Give the name of a statement by its place.

    >>> statement_id(7)
    'S-07'
    """
    return f"S-{number:02d}"
