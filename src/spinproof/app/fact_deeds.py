"""What people state about a head, each fact in one transaction."""

from spinproof.app.clock import utc_now
from spinproof.app.fact_views import FactSheet, fact_sheet, numeric_readings
from spinproof.app.part_deeds import Act, deed_of
from spinproof.ledger.ledger import Ledger
from spinproof.model.attestation import Attestation
from spinproof.model.check import Reading
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
        """State a fact about a unit; gives its number."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            deed = deed_of(records, records.unit(unit).job, act)
            return records.state_fact(fact, unit=unit, deed=deed).id
