"""Parts by themselves: tags that are used once, and what becomes of a part outside a head."""

from spinproof.ledger import rules
from spinproof.ledger import shop_tables as shop
from spinproof.ledger.campaigns import CampaignRecords
from spinproof.ledger.shop_entries import Deed, PartEntry, Piece
from spinproof.ledger.states import PART, PartState, require_allowed
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.part import Provenance
from spinproof.model.tag import parse_tag


class StockRecords(CampaignRecords):
    """Changes to parts outside heads."""

    def add_part(
        self,
        job: str,
        code: str,
        piece: Piece,
        provenance: Provenance,
        deed: Deed | None = None,
    ) -> PartEntry:
        """Record a part that came into the shop; it lies in stock.

        Parameters
        ----------
        job : str
            The job that it is for.
        code : str
            Position that it is made for.
        piece : Piece
            Its tag, and what is marked on it.
        provenance : Provenance
            Where it comes from.
        deed : Deed, optional
            Why, on what evidence, and when.

        Returns
        -------
        PartEntry
            The part.

        Raises
        ------
        TagError
            If the tag is mistyped.
        RecordError
            If the tag was used before: tags are never used again.
        """
        self._require_full(job)
        with self._keeping(None, job):
            return self._add_piece(
                job, code, piece, PartState.STOCK, None, provenance, deed or Deed("came in")
            )

    def move_part(
        self, tag: str, state: PartState, deed: Deed, provenance: Provenance | None = None
    ) -> PartEntry:
        """Record what becomes of a part outside a head.

        Parameters
        ----------
        tag : str
            Tag of the part.
        state : PartState
            Where it goes: inspection, cleaning, repair, stock, scrap, back to the customer.
        deed : Deed
            What was done and why, on what evidence, and when.
        provenance : Provenance, optional
            What may be claimed of it from now on; as before when left out.

        Returns
        -------
        PartEntry
            The part.

        Raises
        ------
        GateClosedError
            If the step is not allowed from where it is.
        """
        part = self.part(parse_tag(tag, self.tags()))
        if PartState.IN_POSITION in {state, part.now.state}:
            raise GateClosedError(
                "a part comes into a position, or out of one, on a head",
                where=f"part {part.tag}",
                mend="Fit it or remove it there.",
            )
        with self._keeping(None, part.job):
            return self._step_part(part, state, None, provenance, deed)

    def _add_piece(
        self,
        job: str,
        code: str,
        piece: Piece,
        state: PartState,
        seat: tuple[str, str] | None,
        provenance: Provenance,
        deed: Deed,
    ) -> PartEntry:
        tag = parse_tag(piece.tag, self.tags())
        if self._session.get(shop.Part, tag) is not None:
            raise RecordError(
                "this tag was given to another part before",
                where=f"part {tag}",
                mend="A tag is never used again: give the part a new one.",
            )
        shop_rules = self.shop_rules(job)
        row = shop.Part(
            tag=tag,
            job=job,
            code=code if shop_rules is None else shop_rules.positions.find(code).code,
            words=rules.plain_text(piece.words, "description of the part"),
            serial=piece.serial,
            lot=piece.lot,
            material=piece.material,
            donor_job=piece.donor_job,
            who=self._who,
            at=self._at,
        )
        self._add(row, "part.add", f"part {tag}")
        self._require_evidence(job, deed.evidence)
        self._write_step(tag, state, seat, provenance, deed, self._moment(deed.done_at, job))
        return self.part(tag)

    def _step_part(
        self,
        part: PartEntry,
        state: PartState,
        seat: tuple[str, str] | None,
        provenance: Provenance | None,
        deed: Deed,
    ) -> PartEntry:
        where = f"part {part.tag}"
        require_allowed(PART, part.now.state, state, where=where)
        self._require_evidence(part.job, deed.evidence)
        moment = self._moment(deed.done_at, part.job)
        if moment < part.now.done_at:
            raise RecordError(
                f"{moment} lies before the last step of the part ({part.now.done_at})",
                where=where,
                mend="Check the date: the part was elsewhere then.",
            )
        claimed = provenance or part.now.provenance
        self._write_step(part.tag, state, seat, claimed, deed, moment)
        return self.part(part.tag)

    def _write_step(
        self,
        tag: str,
        state: PartState,
        seat: tuple[str, str] | None,
        provenance: Provenance,
        deed: Deed,
        moment: str,
    ) -> None:
        reason = rules.plain_text(deed.why, "reason")
        row = shop.PartStep(
            tag=tag,
            state=state.value,
            unit=seat[0] if seat else None,
            position=seat[1] if seat else None,
            provenance=provenance.value,
            why=reason,
            evidence=list(deed.evidence),
            done_at=moment,
            who=self._who,
            at=self._at,
        )
        self._add(row, "part.step", f"part {tag}", reason)
