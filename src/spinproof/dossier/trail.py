"""What a package shows of the shop's audit trail: its signed head, and proofs against it.

Who holds an earlier head, from a letter or a film, sees that the trail was only added to since.
The rows themselves stay in the shop; their salted hashes give nothing away, and a row that is laid
open later can be held against them.
"""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from spinproof.dossier.findings import Finding, FindingKind
from spinproof.files.canonical import canonical_json
from spinproof.files.signing import is_signed_by_pem
from spinproof.files.tree import grew, includes
from spinproof.model.noun import Noun

HEAD_FILE = "sth.json"
PROOFS_FILE = "proofs.json"

Hash = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Count = Annotated[int, Field(ge=1)]
Nodes = Annotated[tuple[Hash, ...], Field(strict=False)]


class TrailHead(Noun):
    """The audit trail at some length, in one hash."""

    log: Annotated[str, Field(pattern="^[0-9a-f]{16}$")]
    root: Hash
    size: Count
    type: Literal["spinproof.sth.v1"] = "spinproof.sth.v1"


class SignedTrailHead(Noun):
    """The head at the issue of a package, signed by the station's key."""

    head: TrailHead
    at: str
    software: str
    public_key: str
    signature: Annotated[str, Field(pattern="^([0-9a-f]{2})+$")]


class EarlierHead(Noun):
    """A head that left the house before, and the proof that the trail was only added to since."""

    size: Count
    root: Hash
    at: str
    """When it left; UTC, RFC 3339."""
    proof: Nodes


class RunRow(Noun):
    """The last row of the trail about a run, and the proof that it stands there."""

    run: str
    row: Count
    leaf: Hash
    proof: Nodes


class TrailProofs(Noun):
    """Proofs against the head of a package."""

    schema_version: Literal["spinproof.proofs.v1"] = "spinproof.proofs.v1"
    size: Count
    """Rows of the head that the proofs lead to."""
    earlier: Annotated[tuple[EarlierHead, ...], Field(strict=False)]
    runs: Annotated[tuple[RunRow, ...], Field(strict=False)]


def check_trail(
    package: Path, runs: Sequence[str], held: tuple[int, str] | None
) -> tuple[tuple[Finding, ...], tuple[str, ...]]:
    """Check the signed head of a package, and each proof against it.

    Parameters
    ----------
    package : Path
        Folder of the package; one of the first version has neither head nor proofs.
    runs : sequence of str
        The runs that the package reports.
    held : tuple of int and str, optional
        Rows and root of a head that the reader holds from elsewhere.

    Returns
    -------
    tuple
        Findings, and what was checked in words.
    """
    if not (package / HEAD_FILE).exists() and not (package / PROOFS_FILE).exists():
        missing = Finding(
            FindingKind.CONTRADICTION, HEAD_FILE, "the package has no head to compare"
        )
        return ((missing,) if held else ()), ()
    try:
        signed = SignedTrailHead.from_document(_read(package / HEAD_FILE))
        proofs = TrailProofs.from_document(_read(package / PROOFS_FILE))
    except (OSError, ValueError, ValidationError, RecursionError):
        text = "the head of the audit trail or its proofs cannot be read"
        return (Finding(FindingKind.CONTRADICTION, HEAD_FILE, text),), ()
    findings = (
        *_against_signature(signed),
        *_against_head(signed.head, proofs, runs),
        *_against_held(signed.head, proofs, held),
    )
    checked = [
        f"{len(proofs.runs)} runs stand in the audit trail of {signed.head.size} rows,"
        f" which only grew since {len(proofs.earlier)} earlier heads",
    ]
    if held:
        checked.append(f"the head of {held[0]} rows that you hold is one of them")
    return findings, tuple(checked)


def _read(path: Path) -> object:
    return json.loads(path.read_bytes())


def _wrong(file: str, text: str) -> Finding:
    return Finding(FindingKind.CONTRADICTION, file, text)


def _against_signature(signed: SignedTrailHead) -> Iterator[Finding]:
    data = canonical_json(signed.head.to_document())
    if not is_signed_by_pem(signed.public_key, bytes.fromhex(signed.signature), data):
        yield _wrong(HEAD_FILE, "the signature does not fit the head and the key beside it")


def _against_head(head: TrailHead, proofs: TrailProofs, runs: Sequence[str]) -> Iterator[Finding]:
    root = bytes.fromhex(head.root)
    if proofs.size != head.size:
        yield _wrong(
            PROOFS_FILE, f"its proofs lead to {proofs.size} rows, the head has {head.size}"
        )
    for earlier in proofs.earlier:
        older = bytes.fromhex(earlier.root)
        if not grew(earlier.size, older, head.size, root, _nodes(earlier.proof)):
            yield _wrong(
                PROOFS_FILE, f"the trail did not grow from the head of {earlier.size} rows"
            )
    for one in proofs.runs:
        leaf = bytes.fromhex(one.leaf)
        if not includes(leaf, one.row - 1, head.size, _nodes(one.proof), root):
            yield _wrong(PROOFS_FILE, f"row {one.row} about run {one.run} does not stand there")
    for run in sorted(set(runs) - {one.run for one in proofs.runs}):
        yield _wrong(PROOFS_FILE, f"no row of the trail is about run {run}")


def _against_held(
    head: TrailHead, proofs: TrailProofs, held: tuple[int, str] | None
) -> Iterator[Finding]:
    if held is None:
        return
    size, root = held
    known = {(head.size, head.root), *((one.size, one.root) for one in proofs.earlier)}
    if (size, root) not in known:
        same = any(size == each for each, _ in known)
        why = "has another root in this package" if same else "is none that the package names"
        yield _wrong(HEAD_FILE, f"the head of {size} rows that you hold {why}: ask the shop why")


def _nodes(proof: Sequence[str]) -> tuple[bytes, ...]:
    return tuple(bytes.fromhex(node) for node in proof)
