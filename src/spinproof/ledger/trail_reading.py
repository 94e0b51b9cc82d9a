"""Questions to the audit trail: its rows, its head, its proofs, and whether it holds."""

from collections.abc import Collection, Iterable, Iterator, Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from spinproof.files.tree import consistency_proof, inclusion_proof, inclusion_proofs, root_of
from spinproof.ledger import audit, exporting, tables, verification
from spinproof.ledger.entries import AuditCheck, AuditEntry
from spinproof.ledger.heads import LOG_DIGITS, Anchor, AnchorEntry, TreeHead
from spinproof.model.errors import RecordError


class TrailReading:
    """One consistent view of the audit trail."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def audit(self, about: str | None = None) -> tuple[AuditEntry, ...]:
        """Give the audit trail in order, of one object when asked ("run QA-1041-L-017")."""
        return tuple(audit.entries(self._session, about))

    def verify_audit(self, outside: Iterable[Anchor] = ()) -> AuditCheck:
        """Walk the audit trail and what it vouches for, and name everything that does not hold.

        Parameters
        ----------
        outside : iterable of Anchor
            Heads that came back from outside: the trail alone cannot show that its end was cut
            off, or that all of it was rewritten.

        Returns
        -------
        AuditCheck
            What was found, and what the check cannot show.
        """
        return verification.verify(self._session, outside)

    def anchors(self) -> tuple[AnchorEntry, ...]:
        """Give the heads that left the house, as far as they were noted, in order."""
        return verification.noted_anchors(self._session)

    def tree_head(self, size: int | None = None) -> TreeHead:
        """Give the head of the audit trail as it is, or as it was at some length.

        Parameters
        ----------
        size : int, optional
            Number of rows; all when left out.

        Returns
        -------
        TreeHead
            The head, not signed.

        Raises
        ------
        RecordError
            If the trail has no row, or not as many.
        """
        leaves = self._leaves(size)
        if not leaves:
            raise RecordError(
                "nothing was recorded yet, so there is nothing to vouch for",
                where="audit trail",
                mend="Take a job in first.",
            )
        return TreeHead(leaves[0].hex()[:LOG_DIGITS], len(leaves), root_of(leaves).hex())

    def inclusion_proof(self, seq: int, size: int) -> tuple[str, ...]:
        """Prove that a row stands in the trail, to somebody who holds a head and the row.

        Parameters
        ----------
        seq : int
            Number of the row.
        size : int
            Number of rows of the head.

        Returns
        -------
        tuple of str
            The nodes of the proof, in hexadecimal digits.

        Raises
        ------
        RecordError
            If the trail has no such row within that length.
        """
        leaves = self._leaves(size)
        if not 1 <= seq <= len(leaves):
            raise RecordError(
                f"the first {len(leaves)} rows of the audit trail hold no row {seq}",
                where=f"row {seq}",
                mend="Name a row and a head that is not older than it.",
            )
        return tuple(node.hex() for node in inclusion_proof(leaves, seq - 1))

    def inclusion_proofs(self, rows: Sequence[int], size: int) -> tuple[tuple[str, ...], ...]:
        """Prove for several rows that each stands in the trail; see `inclusion_proof`.

        Raises
        ------
        RecordError
            If the trail has no such row within that length.
        """
        leaves = self._leaves(size)
        if not all(1 <= seq <= len(leaves) for seq in rows):
            raise RecordError(
                f"the first {len(leaves)} rows of the audit trail do not hold all of these rows",
                where="audit trail",
                mend="Name rows and a head that is not older than them.",
            )
        proofs = inclusion_proofs(leaves, [seq - 1 for seq in rows])
        return tuple(tuple(node.hex() for node in proof) for proof in proofs)

    def consistency_proof(self, size: int, later_size: int) -> tuple[str, ...]:
        """Prove that the trail was only added to, to somebody who holds two of its heads.

        Parameters
        ----------
        size, later_size : int
            Number of rows of the older and of the newer head.

        Returns
        -------
        tuple of str
            The nodes of the proof, in hexadecimal digits.

        Raises
        ------
        RecordError
            If the older head is longer than the newer.
        """
        leaves = self._leaves(later_size)
        if not 0 <= size <= len(leaves):
            raise RecordError(
                f"a head of {size} rows is not older than one of {later_size}",
                where="audit trail",
                mend="Name the older head first.",
            )
        return tuple(node.hex() for node in consistency_proof(leaves, size))

    def rows_of_other_jobs(self, job: str) -> frozenset[int]:
        """Name the rows of the trail that an export of one job can leave out."""
        return exporting.rows_of_other_jobs(self._session, job)

    def export_lines(
        self, withheld: Collection[int] = (), *, salts_of_withheld: bool = False
    ) -> Iterator[bytes]:
        """Write the trail as text, line by line.

        Parameters
        ----------
        withheld : collection of int
            Numbers of the rows that ship as their leaf alone.
        salts_of_withheld : bool
            Whether their salts ship too.

        Returns
        -------
        iterator of bytes
            The lines; read them before this view of the ledger is closed.
        """
        return exporting.lines_of(self._session, withheld, salts_of_withheld=salts_of_withheld)

    def export_texts(self, withheld: Collection[int] = ()) -> Iterator[tuple[str, str]]:
        """Give SHA-256 and text of each document that the rows hold by hash."""
        return exporting.texts_of(self._session, withheld)

    def _leaves(self, size: int | None) -> list[bytes]:
        query = select(tables.Audit.sha256).order_by(tables.Audit.seq)
        if size is not None:
            query = query.limit(size)
        leaves = [bytes.fromhex(leaf) for leaf in self._session.scalars(query)]
        if size is not None and len(leaves) < size:
            raise RecordError(
                f"the audit trail has {len(leaves)} rows, not {size}",
                where="audit trail",
                mend="Name a number of rows that it has.",
            )
        return leaves
