"""Parts in positions: what sits where, and what an exchange changes on a head."""

import json

from spinproof.ledger import rules
from spinproof.ledger import shop_tables as shop
from spinproof.ledger.entries import UnitKind
from spinproof.ledger.rulebook.identity import came_from, is_exchange_agreed
from spinproof.ledger.shop_entries import Deed, PartEntry, Piece, VacancyEntry
from spinproof.ledger.states import PartState
from spinproof.ledger.stock import StockRecords
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.matter import Nonconformance
from spinproof.model.part import Position, Provenance, Severity
from spinproof.model.retest import Change, ChangeKind
from spinproof.model.tag import parse_tag


class PartRecords(StockRecords):
    """Changes to positions."""

    def record_as_found(
        self, unit: str, position: str, piece: Piece, deed: Deed | None = None
    ) -> PartEntry:
        """Record the part that a head came with, where it sits.

        Parameters
        ----------
        unit : str
            Head or shared module.
        position : str
            Code of the position, or its name.
        piece : Piece
            The tag that was put on it, and what is marked on it.
        deed : Deed, optional
            Evidence and time.

        Returns
        -------
        PartEntry
            The part, in position, kept as received.

        Raises
        ------
        TagError
            If the tag is mistyped.
        GateClosedError
            If the position was recorded already.
        """
        place = self._place(unit, position)
        if self._file(unit).steps_at(place.code):
            raise GateClosedError(
                "what came with the head was recorded there already",
                where=_at(unit, place),
                mend="Fit or remove parts from here on.",
            )
        how = deed or Deed("as received")
        with self._keeping(unit):
            return self._add_piece(
                self.unit(unit).job,
                place.code,
                piece,
                PartState.IN_POSITION,
                (unit, place.code),
                Provenance.KEPT,
                how,
            )

    def install_part(
        self,
        unit: str,
        position: str,
        tag: str,
        deed: Deed,
        provenance: Provenance | None = None,
    ) -> PartEntry:
        """Fit a part into an empty position.

        Parameters
        ----------
        unit : str
            Head or shared module.
        position : str
            Code of the position, or its name.
        tag : str
            Tag of the part.
        deed : Deed
            What was done and why, on what evidence, and when.
        provenance : Provenance, optional
            What may be claimed of it from now on; as before when left out.

        Returns
        -------
        PartEntry
            The part, in position.

        Raises
        ------
        TagError
            If the tag is mistyped.
        GateClosedError
            If the position is taken, the part sits elsewhere, or a rule is broken.
        """
        with self._keeping(unit):
            part = self._install(unit, position, tag, deed, provenance)
            self._follow_change(unit, position, deed, part.now.done_at)
        return part

    def remove_part(self, unit: str, position: str, deed: Deed) -> PartEntry:
        """Take a part out of its position.

        Parameters
        ----------
        unit : str
            Head or shared module.
        position : str
            Code of the position, or its name.
        deed : Deed
            What was done and why, on what evidence, and when.

        Returns
        -------
        PartEntry
            The part, removed.

        Raises
        ------
        RecordError
            If nothing is recorded to sit there.
        """
        with self._keeping(unit):
            part = self._remove(unit, position, deed)
            self._follow_change(unit, position, deed, part.now.done_at)
        return part

    def replace_part(
        self,
        unit: str,
        position: str,
        tag: str,
        deed: Deed,
        provenance: Provenance | None = None,
    ) -> PartEntry:
        """Take the part of a position out and fit another, as one change of the head.

        Parameters
        ----------
        unit : str
            Head or shared module.
        position : str
            Code of the position, or its name.
        tag : str
            Tag of the part that is fitted.
        deed : Deed
            What was done and why, on what evidence, and when.
        provenance : Provenance, optional
            What may be claimed of it from now on; as before when left out.

        Returns
        -------
        PartEntry
            The part that was fitted.
        """
        with self._keeping(unit):
            self._remove(unit, position, deed)
            part = self._install(unit, position, tag, deed, provenance)
            self._follow_change(unit, position, deed, part.now.done_at)
        return part

    def leave_empty(self, unit: str, position: str, deed: Deed) -> VacancyEntry:
        """Record that a position is empty, and why.

        Parameters
        ----------
        unit : str
            Head or shared module.
        position : str
            Code of the position, or its name.
        deed : Deed
            Why nothing sits there, and since when.

        Returns
        -------
        VacancyEntry
            The record.

        Raises
        ------
        GateClosedError
            If a part sits there.
        """
        place = self._place(unit, position)
        if (part := self._file(unit).occupant(place.code)) is not None:
            raise GateClosedError(
                f"{part.tag} sits there", where=_at(unit, place), mend="Remove it first."
            )
        reason = rules.plain_text(deed.why, "reason")
        row = shop.Vacancy(
            unit=unit,
            position=place.code,
            reason=reason,
            done_at=self._moment(deed.done_at, self.unit(unit).job),
            who=self._who,
            at=self._at,
        )
        with self._keeping(unit):
            self._add(row, "position.leave-empty", f"unit {unit}", reason)
        return self.vacancies(unit)[-1]

    def _install(
        self, unit: str, position: str, tag: str, deed: Deed, provenance: Provenance | None
    ) -> PartEntry:
        place = self._place(unit, position)
        part = self.part(parse_tag(tag, self.tags()))
        if part.now.state is PartState.IN_POSITION:
            raise GateClosedError(
                f"{part.tag} sits in {part.now.unit}, {part.now.position}",
                where=_at(unit, place),
                mend="A part is in one position at a time: remove it there first, or scan again.",
            )
        if (other := self._file(unit).occupant(place.code)) is not None:
            raise GateClosedError(
                f"{other.tag} sits there",
                where=_at(unit, place),
                mend="Remove it first, or replace it.",
            )
        if part.code != place.code:
            raise GateClosedError(
                f"{part.tag} is made for position {part.code}",
                where=_at(unit, place),
                mend="Scan the part again.",
            )
        seat = (unit, place.code)
        fitted = self._step_part(part, PartState.IN_POSITION, seat, provenance, deed)
        self._ask_about_scope(unit, place, fitted)
        return fitted

    def _remove(self, unit: str, position: str, deed: Deed) -> PartEntry:
        place = self._place(unit, position)
        part = self._file(unit).occupant(place.code)
        if part is None:
            raise RecordError(
                "nothing is recorded to sit there",
                where=_at(unit, place),
                mend="Record what came with the head first.",
            )
        return self._step_part(part, PartState.REMOVED, (unit, place.code), None, deed)

    def _ask_about_scope(self, unit: str, place: Position, part: PartEntry) -> None:
        """Raise a nonconformance when nobody accepted that a part is exchanged here."""
        lines = [
            line.state
            for line in self.scope_items(self.unit(unit).job)
            if (line.unit, line.position) == (unit, place.code)
        ]
        own = came_from(part, unit, place.code)
        if is_exchange_agreed(lines, part.now.provenance, came_from_here=own):
            return
        text = (
            f"{part.tag} was fitted as {part.now.provenance}, and no accepted line of the scope "
            f"covers the {place.name}."
        )
        about = Nonconformance(text=text, severity=Severity.FUNCTION, position=place.code)
        self.open_matter(self.unit(unit).job, about, unit=unit)

    def _follow_change(self, unit: str, position: str, deed: Deed, moment: str) -> None:
        """Write down the change, and what it makes of the configuration of a head."""
        change = Change(kind=ChangeKind.PART, name=self._place(unit, position).code)
        self._add_change(unit, change, deed.why, moment)
        history = self.configurations(unit)
        if self.unit(unit).kind is not UnitKind.HEAD or not history:
            return
        document = json.loads(self.document(history[-1].fingerprint))
        names = {p.code: p.name for p in self._file(unit).positions}
        configuration = document["configuration"]
        configuration["parts"] = {
            names[code]: tag for code, tag in self.parts_by_position(unit).items()
        }
        configuration["revision"] += 1
        configuration["what"] = deed.why
        self._require_idle(unit)
        self._store_configuration(unit, document, deed.why)

    def _place(self, unit: str, position: str) -> Position:
        file = self._file(unit)
        place = file.require_rules().positions.find(position)
        if place not in file.positions:
            raise RecordError(
                f"{place.name} is no position of a {file.unit.kind}",
                where=f"{unit}, {position}",
                mend=f"Choose one of: {', '.join(p.code for p in file.positions)}.",
            )
        return place


def _at(unit: str, place: Position) -> str:
    return f"{unit}, {place.code} ({place.name})"
