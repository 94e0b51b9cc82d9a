"""What people do with nonconformances, waivers and bridged interlocks, in one transaction each."""

from datetime import date

from spinproof.app.clock import utc_now
from spinproof.app.matter_views import MUST_DECIDE, MatterBoard, matter_board
from spinproof.app.part_deeds import Act, deed_of
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.states import MATTERS
from spinproof.model.errors import RecordError
from spinproof.model.matter import Bypass, MatterKind, Nonconformance, StepDetail, Waiver


class MatterDesk:
    """Shows and records nonconformances, waivers and bridged interlocks.

    Parameters
    ----------
    ledger : Ledger
        Where they are recorded.
    """

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger

    def board(self, unit: str, today: date) -> MatterBoard:
        """Show those of a head."""
        with self._ledger.reading() as records:
            return matter_board(records, unit, today)

    def open(self, unit: str, content: Nonconformance | Waiver | Bypass, act: Act) -> str:
        """Open a nonconformance, ask for a waiver, write down a bridge; gives its name."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            job = records.unit(unit).job
            return records.open_matter(job, content, deed_of(records, job, act), unit=unit).name

    def must_decide(self, name: str, state: str) -> bool:
        """Tell whether a step is only for who decides on gates."""
        return state in {each.value for each in MUST_DECIDE if each in MATTERS[self._kind(name)]}

    def step(self, name: str, state: str, detail: StepDetail, act: Act) -> None:
        """Take one of them a step further.

        Raises
        ------
        RecordError
            If it never has such a state.
        """
        machine = MATTERS[self._kind(name)]
        wanted = next((each for each in machine if each.value == state), None)
        if wanted is None:
            raise RecordError(
                f'it is never "{state}"', where=name, mend=f"Choose one of: {', '.join(machine)}."
            )
        with self._ledger.transaction(act.by, utc_now()) as records:
            deed = deed_of(records, records.matter(name).job, act)
            records.step_matter(name, wanted, deed, detail)

    def _kind(self, name: str) -> MatterKind:
        with self._ledger.reading() as records:
            kind = records.matter(name).kind
        if kind not in {MatterKind.NONCONFORMANCE, MatterKind.WAIVER, MatterKind.BYPASS}:
            raise RecordError(f"this is a {kind}", where=name, mend="Open its own page.")
        return kind
