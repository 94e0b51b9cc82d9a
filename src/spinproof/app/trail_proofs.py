"""What a package shows of the audit trail: the signed head, and the proofs against it."""

from collections.abc import Sequence

from spinproof.app.anchoring import station_key
from spinproof.app.home import Home
from spinproof.dossier.trail import (
    HEAD_FILE,
    PROOFS_FILE,
    EarlierHead,
    RunRow,
    SignedTrailHead,
    TrailHead,
    TrailProofs,
)
from spinproof.files.canonical import canonical_json
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.heads import sign_head
from spinproof.model.errors import RecordError
from spinproof.model.software import SOFTWARE


def trail_files(
    home: Home, reading: HeadReading, runs: Sequence[str], issued_at: str
) -> dict[str, bytes]:
    """Give the signed head of the trail and its proofs, by file name.

    Parameters
    ----------
    home : Home
        The shop's folders, with the station's key.
    reading : HeadReading
        The records.
    runs : sequence of str
        Runs that the package reports.
    issued_at : str
        UTC, RFC 3339.

    Returns
    -------
    dict of str to bytes
        Two files of canonical JSON.

    Raises
    ------
    RecordError
        If the trail has no row about one of the runs.
    """
    head = reading.tree_head()
    signed = sign_head(head, station_key(home))
    filed = SignedTrailHead(
        head=TrailHead(log=head.log, root=head.root, size=head.size),
        at=issued_at,
        software=SOFTWARE,
        public_key=signed.public_key or "",
        signature=signed.signature or "",
    )
    proofs = TrailProofs(
        size=head.size,
        earlier=tuple(_earlier(reading, head.size)),
        runs=_rows(reading, runs, head.size),
    )
    return {
        HEAD_FILE: canonical_json(filed.to_document()),
        PROOFS_FILE: canonical_json(proofs.to_document()),
    }


def _earlier(reading: HeadReading, size: int) -> list[EarlierHead]:
    found = []
    for anchor in reading.anchors():
        older = anchor.signed.head
        if older.size <= size and older == reading.tree_head(older.size):
            proof = reading.consistency_proof(older.size, size)
            found.append(EarlierHead(size=older.size, root=older.root, at=anchor.at, proof=proof))
    return found


def _rows(reading: HeadReading, runs: Sequence[str], size: int) -> tuple[RunRow, ...]:
    last = []
    for run in runs:
        about = reading.audit(f"run {run}")
        if not about:
            raise RecordError(
                "the audit trail has no row about the run",
                where=f"run {run}",
                mend="`spinproof doctor` names everything that does not hold.",
            )
        last.append((run, about[-1]))
    proofs = reading.inclusion_proofs([row.seq for _, row in last], size)
    return tuple(
        RunRow(run=run, row=row.seq, leaf=row.sha256, proof=proof)
        for (run, row), proof in zip(last, proofs, strict=True)
    )
