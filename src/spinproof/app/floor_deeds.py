"""What people do at checks and gates: each deed in one transaction, in their own name."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from spinproof.app.check_views import CheckView, SheetView, check_view, sheet_view
from spinproof.app.clock import rfc3339, utc_now
from spinproof.app.evidence_desk import receive
from spinproof.app.floor_views import GateBoard, gate_board
from spinproof.app.home import Home
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.measuring import Answered
from spinproof.ledger.shop_entries import CheckEntry, Deed, Meaning, SignatureEntry
from spinproof.ledger.standing import answers_of
from spinproof.model.attestation import EvidenceDetail
from spinproof.model.check import Checkpoint, EvidenceKind
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.job import Process
from spinproof.model.quantity import Quantity
from spinproof.model.shop_rules import ShopRules

AT_ONCE = timedelta(seconds=30)
"""An answer may be taken back without a reason for so long after it was stored."""
WAITED_S = 5.0
"""An answer that waited longer for the network bears the time at which it was given. [s]"""
MISTYPED = "Taken back at once."


@dataclass(frozen=True)
class Answering:
    """An answer to one reading, as somebody gives it."""

    number: int
    """Place of the reading in its check, counted from 1."""
    quantity: Quantity | None = None
    yes: bool | None = None
    words: str | None = None
    instrument: str | None = None
    uncertainty: Quantity | None = None
    """Standard uncertainty of a number that was worked out."""
    conditions: str = ""
    why: str = ""
    """Why it takes the place of an answer in force."""
    age_s: float = 0.0
    """How long ago it was given; it waited for the network since. [s]"""


@dataclass(frozen=True)
class Sent:
    """A file that was sent as evidence."""

    name: str
    """What the sender calls it."""
    pieces: Iterator[bytes]
    shows: EvidenceKind
    what: str
    """What it shows, in words."""


class Floor:
    """Shows and records checks and gates.

    Parameters
    ----------
    home : Home
        Where evidence is held.
    ledger : Ledger
        Where they are recorded.
    """

    def __init__(self, home: Home, ledger: Ledger) -> None:
        self._home = home
        self._ledger = ledger

    def keeps_gates(self, head: str) -> bool:
        """Tell whether the job of a head keeps checks and gates at all."""
        with self._ledger.reading() as records:
            return records.terms(records.unit(head).job).process is Process.FULL

    def board(self, head: str, today: date) -> GateBoard:
        """Show the gates of a head."""
        with self._ledger.reading() as records:
            return gate_board(records.head_file(head, today))

    def sheet(self, head: str, checkpoint: Checkpoint, today: date) -> SheetView:
        """Show the checks of a checkpoint.

        Raises
        ------
        RecordError
            If the checkpoint has no checks.
        """
        with self._ledger.reading() as records:
            file = records.head_file(head, today)
        sheet = file.require_rules().sheet(checkpoint)
        if sheet is None:
            raise RecordError(
                "this checkpoint has no check sheet",
                where=f"{checkpoint} of head {head}",
                mend="Its gate says what it asks for.",
            )
        return sheet_view(file, sheet)

    def check(self, head: str, check: str, at: datetime) -> CheckView:
        """Show one check of a head."""
        with self._ledger.reading() as records:
            return check_view(records.head_file(head, at.date()), check, rfc3339(at))

    def answer(self, head: str, check: str, given: Answering, by: str) -> int:
        """Write an answer down; give its number.

        Parameters
        ----------
        head, check : str
            What was looked at.
        given : Answering
            The answer.
        by : str
            Whose it is.

        Returns
        -------
        int
            Number of the measurement.
        """
        now = utc_now()
        with self._ledger.transaction(by, now) as records:
            file = records.head_file(head, now.date())
            name = _reading(file.require_rules(), check, given.number)
            answered = Answered(
                reading=name,
                quantity=given.quantity,
                yes=given.yes,
                words=given.words or None,
                instrument=given.instrument or None,
                uncertainty=given.uncertainty,
                conditions=given.conditions or "not noted",
            )
            replaces = name in answers_of(file, check)
            waited = given.age_s > WAITED_S
            given_at = now - timedelta(seconds=given.age_s) if waited else None
            deed = Deed(given.why or "given", done_at=given_at)
            needs_reason = replaces and not given.why
            return records.answer_reading(head, check, answered, None if needs_reason else deed).id

    def take_back(self, head: str, check: str, number: int, why: str, by: str) -> None:
        """Take the answer to a reading back; it stays on record.

        Raises
        ------
        GateClosedError
            If no reason is given, and it was not stored just now.
        """
        now = utc_now()
        with self._ledger.transaction(by, now) as records:
            file = records.head_file(head, now.date())
            name = _reading(file.require_rules(), check, number)
            own = [m for m in file.measurements if (m.check, m.reading) == (check, name)]
            fresh = bool(own) and now - datetime.fromisoformat(own[-1].at) <= AT_ONCE
            if not why and not (fresh and own[-1].who == by):
                raise GateClosedError(
                    "the reason for taking it back is missing",
                    where=f"{head}, {check}, {name}",
                    mend="Say why; the answer stays on record beside it.",
                )
            records.withdraw_reading(head, check, name, why or MISTYPED)

    def finish(self, head: str, check: str, evidence: tuple[str, ...], by: str) -> CheckEntry:
        """Call a check finished, on evidence of the job."""
        with self._ledger.transaction(by, utc_now()) as records:
            return records.finish_check(head, check, Deed("finished", evidence))

    def attach(self, head: str, check: str, sent: Sent, by: str) -> None:
        """Hold a file as evidence of a head, made at a check.

        Raises
        ------
        EvidenceError
            If its content is of no kind that is taken, is too large, or its name tells too much.
        RecordError
            If the job holds it already, or there is no such check or checkpoint.
        """
        with self._ledger.reading() as records:
            file = records.head_file(head, utc_now().date())
            job = file.unit.job
            if check not in set(Checkpoint):
                file.require_rules().check(check)
        taken = receive(self._home, job, sent.pieces, sent.name)
        detail = EvidenceDetail(
            sha256=taken.sha256, shows=sent.shows, removed=taken.removed or None
        )
        with self._ledger.transaction(by, utc_now()) as records:
            records.add_evidence(job, taken.sha256, taken.name, f"{check}: {sent.what}")
            records.state_fact(detail, unit=head)

    def sign(
        self, head: str, checkpoint: Checkpoint, meaning: Meaning, by: str, role: str
    ) -> SignatureEntry:
        """Sign a gate."""
        with self._ledger.transaction(by, utc_now()) as records:
            return records.sign_gate(head, checkpoint, meaning, role=role)


def _reading(shop_rules: ShopRules, check: str, number: int) -> str:
    readings = shop_rules.check(check).readings
    if not 1 <= number <= len(readings):
        raise RecordError(
            f"there is no reading {number}",
            where=f"check {check}",
            mend=f"It has {len(readings)}; open its page anew.",
        )
    return readings[number - 1].name
