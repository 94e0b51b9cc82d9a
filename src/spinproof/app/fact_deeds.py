"""What people state about a head, each fact in one transaction."""

from spinproof.app.clock import utc_now
from spinproof.app.fact_views import FactSheet, fact_sheet, numeric_readings
from spinproof.app.part_deeds import Act, deed_of
from spinproof.ledger.entries import UnitKind
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.standing import present_checkpoint
from spinproof.model.attestation import Attestation, RoomAir
from spinproof.model.check import Checkpoint, Reading
from spinproof.model.errors import RecordError
from spinproof.model.tag import parse_tag


class FactDesk:
    """Shows and records facts.

    Parameters
    ----------
    ledger : Ledger
        Where they are recorded.
    """

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger

    def sheet(self, unit: str) -> FactSheet:
        """Show what is stated about a unit."""
        with self._ledger.reading() as records:
            return fact_sheet(records, unit)

    def present(self, unit: str) -> Checkpoint | None:
        """Give the checkpoint that a head stands at, when its job keeps gates."""
        with self._ledger.reading() as records:
            file = records.head_file(unit, utc_now().date())
        kept = file.unit.kind is UnitKind.HEAD and file.unit.in_scope and file.is_full
        return present_checkpoint(file) if kept else None

    def tag(self, text: str) -> str:
        """Give the tag that was typed, in the program's spelling.

        Raises
        ------
        TagError
            If it is none.
        """
        with self._ledger.reading() as records:
            tag = parse_tag(text, records.tags())
            records.part(tag)
            return tag

    def reading(self, unit: str, words: str) -> tuple[str, Reading]:
        """Give the check and the reading that a form offered.

        Raises
        ------
        RecordError
            If the shop's rules have no such reading.
        """
        with self._ledger.reading() as records:
            known = numeric_readings(records.shop_rules(records.unit(unit).job))
        if words not in known:
            raise RecordError(
                "there is no such reading",
                where=f"reading {words}",
                mend="Choose one of those that the form offers.",
            )
        return known[words]

    def state(self, unit: str, fact: Attestation, act: Act) -> int:
        """State a fact about a unit; gives its number.

        The air of a room is stated for every head of the job: a machine stands in one room.
        """
        with self._ledger.transaction(act.by, utc_now()) as records:
            job = records.unit(unit).job
            about = None if isinstance(fact, RoomAir) else unit
            return records.state_fact(fact, job=job, unit=about, deed=deed_of(records, job, act)).id
