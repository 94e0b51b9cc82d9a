"""Notes on the audit trail: which of its heads left the house, which state was put back."""

from spinproof.ledger import rules, tables
from spinproof.ledger.book import Book
from spinproof.ledger.heads import AnchorEntry, RestorationEntry, SignedHead, TreeHead, Way
from spinproof.model.errors import RecordError


class TrailRecords(Book):
    """Notes on the audit trail, told by the trail itself."""

    def note_anchor(self, signed: SignedHead, way: Way, place: str) -> AnchorEntry:
        """Note that a head of the trail left the house.

        Parameters
        ----------
        signed : SignedHead
            The head, signed by the station.
        way : Way
            How it left.
        place : str
            Where it went, for example "purchasing, with the scope agreed".

        Returns
        -------
        AnchorEntry
            The note.

        Raises
        ------
        RecordError
            If the head is not signed, or is none of this trail.
        """
        head = signed.head
        if signed.signature is None or signed.public_key is None or not signed.is_genuine:
            raise RecordError(
                "the head carries no signature that fits its key",
                where=f"head of {head.size} rows",
                mend="Sign it with the key of the station.",
            )
        if head != self.tree_head(head.size):
            raise RecordError(
                "this is no head of this audit trail",
                where=f"head of {head.size} rows",
                mend="Note heads of this ledger alone; to compare one, check the ledger with it.",
            )
        row = tables.Anchor(
            log=head.log,
            size=head.size,
            root=head.root,
            signature=signed.signature,
            public_key=signed.public_key,
            way=way.value,
            place=rules.plain_text(place, "place"),
            who=self._who,
            at=self._at,
        )
        self._add(row, "anchor.note", f"head of {head.size} rows")
        return self.anchors()[-1]

    def note_restoration(self, head: TreeHead, backed_up_at: str, why: str) -> RestorationEntry:
        """Note that this state of the ledger was put back from a backup.

        Parameters
        ----------
        head : TreeHead
            The head of the trail in the backup.
        backed_up_at : str
            When the backup was made.
        why : str
            The reason.

        Returns
        -------
        RestorationEntry
            The note.

        Raises
        ------
        RecordError
            If the trail is not just as long as the backup's, or not the same.
        """
        if head != self.tree_head():
            raise RecordError(
                "the ledger is not in the state of this backup",
                where=f"backup of {head.size} rows",
                mend="Restore into an empty folder, and let nobody work there before it is done.",
            )
        row = tables.Restoration(
            size=head.size,
            root=head.root,
            backed_up_at=backed_up_at,
            why=rules.plain_text(why, "reason"),
            who=self._who,
            at=self._at,
        )
        self._add(row, "ledger.restore", "ledger", row.why)
        return RestorationEntry(row.size, row.root, row.backed_up_at, row.why, row.who, row.at)
