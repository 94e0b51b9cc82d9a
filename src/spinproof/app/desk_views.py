"""The first screen of each role: what to do next on each head, in a few lines."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from spinproof.app.floor_views import GateBoard, gate_board
from spinproof.ledger import standing
from spinproof.ledger.entries import UnitKind
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.rules import tally_of
from spinproof.ledger.states import FindingState, PartState
from spinproof.model.attestation import Direction
from spinproof.model.check import LETTERS, Checkpoint
from spinproof.model.instrument import calibration_on
from spinproof.model.matter import MatterKind
from spinproof.model.run import Outcome, Purpose

DUE_SOON = timedelta(days=30)


class Desk(StrEnum):
    """Where somebody works."""

    RECEIVING = "receiving"
    TEARDOWN = "teardown"
    INSPECTION = "inspection"
    TEST = "test"
    QUALITY = "quality"
    PRESENTER = "presenter"
    SERVICE = "service"
    OWNER = "owner"


@dataclass(frozen=True)
class Card:
    """One head at a desk."""

    head: str
    """Its designation; empty where no identity may be in the picture."""
    letter: str
    lead: str
    """The next step, large."""
    path: str | None = None
    """Where that step is made."""
    figures: tuple[tuple[str, str], ...] = ()
    """What and how much."""
    lines: tuple[str, ...] = ()
    calls: bool = False
    """Whether somebody has to act before anything else."""


@dataclass(frozen=True)
class DeskView:
    """One desk."""

    desk: Desk
    cards: tuple[Card, ...]
    notes: tuple[str, ...] = ()
    """What holds for the whole shop."""


@dataclass(frozen=True)
class AtDesk:
    """A head with all that a desk looks at."""

    file: HeadFile
    board: GateBoard | None
    """Absent for jobs of burn-in only."""

    @property
    def here(self) -> str:
        """The head as the beginning of an address."""
        return f"/heads/{self.file.unit.designation}"

    def is_at(self, *points: Checkpoint) -> bool:
        """Tell whether the head stands at one of some checkpoints."""
        return self.board is not None and self.board.present in points


def desk_view(ledger: Ledger, desk: Desk, today: date) -> DeskView:
    """Show a desk.

    Parameters
    ----------
    ledger : Ledger
        The records.
    desk : Desk
        Which.
    today : date
        The present day.

    Returns
    -------
    DeskView
        A card for each head that has something to do there.
    """
    with ledger.reading() as records:
        heads = tuple(_heads(records, today))
        instruments = records.instruments()
    found = (card for head in heads if (card := _CARDS[desk](head)) is not None)
    notes: tuple[str, ...] = ()
    if desk in {Desk.INSPECTION, Desk.TEST}:
        held = ((i.id, calibration_on(i, today)) for i in instruments if i.kind.needs_calibration)
        notes = tuple(
            f"{name}: its calibration {'ended' if last.due < today else 'ends'} on {last.due}."
            if last
            else f"{name}: not calibrated."
            for name, last in held
            if last is None or last.due <= today + DUE_SOON
        )
    return DeskView(desk, tuple(sorted(found, key=lambda card: not card.calls)), notes)


def _heads(records: HeadReading, today: date) -> list[AtDesk]:
    heads = [
        unit
        for job in records.jobs()
        for unit in records.units(job.name)
        if unit.kind is UnitKind.HEAD and unit.in_scope
    ]
    files = (records.head_file(unit.designation, today) for unit in heads)
    return [AtDesk(file, gate_board(file) if file.is_full else None) for file in files]


def _card(
    head: AtDesk,
    lead: str,
    path: str | None,
    *,
    figures: tuple[tuple[str, str], ...] = (),
    lines: tuple[str, ...] = (),
    calls: bool = False,
) -> Card:
    unit = head.file.unit
    return Card(unit.designation, unit.letter, lead, path, figures, lines, calls)


def _receiving(head: AtDesk) -> Card | None:
    if not head.is_at(Checkpoint.INCOMING):
        return None
    record = standing.decontamination(head.file, Direction.INCOMING)
    if record is None:
        word, lead = "not recorded", "Quarantine: is it cleared?"
    elif record[1].cleared:
        word, lead = "yes", "Cleared: complete the incoming inspection"
    else:
        word, lead = "no", "Quarantine: not cleared"
    figures = (
        ("decontamination cleared", word),
        ("locks that are on", str(len(head.file.open_lockouts))),
        ("open findings", str(_open_findings(head.file))),
    )
    path = f"{head.here}/gates/incoming-inspection"
    return _card(head, lead, path, figures=figures, calls=word != "yes")


def _teardown(head: AtDesk) -> Card | None:
    if not head.is_at(Checkpoint.TEARDOWN):
        return None
    file = head.file
    bare = [p for p in file.positions if not file.steps_at(p.code) and file.vacancy(p.code) is None]
    lead = f"Next: {bare[0].name} ({bare[0].code})" if bare else "Every position is on record"
    done = len(file.positions) - len(bare)
    figures = (
        ("positions on record", f"{done} of {len(file.positions)}"),
        ("open findings", str(_open_findings(file))),
    )
    return _card(head, lead, f"{head.here}/gates/teardown", figures=figures)


def _inspection(head: AtDesk) -> Card | None:
    parts = [p for p in head.file.parts if p.now.state is PartState.INSPECTION]
    findings = _open_findings(head.file)
    if not parts and not findings:
        return None
    lead = f"{len(parts)} under inspection, {findings} findings open"
    lines = tuple(f"{part.tag}: {part.words}" for part in parts)
    return _card(head, lead, head.here, lines=lines)


def _test(head: AtDesk) -> Card | None:
    points = (*LETTERS, Checkpoint.FINAL_TEST)
    if head.board is not None and not head.is_at(*points):
        return None
    lead, path = _next_test(head)
    burn_in = [a for a in head.file.attempts if a.purpose is Purpose.BURN_IN]
    stopped = [a for a in burn_in if a.outcome is not Outcome.COUNTED]
    figures = (("runs", str(tally_of(burn_in))),) if burn_in else ()
    lines = tuple(f"{a.run}: {a.outcome}. {' '.join(a.reasons[:1])}" for a in stopped[-1:])
    return _card(head, lead, path, figures=figures, lines=lines, calls=bool(head.file.blocking))


def _next_test(head: AtDesk) -> tuple[str, str]:
    line = None if head.board is None else head.board.now
    if line is not None and line.checks is not None:
        path = f"{head.here}/gates/{line.path}"
        check = line.checks.next_one
        if check is not None:
            return f"{check.id} {check.title}", f"{head.here}/checks/{check.id}"
        if line.outstanding is not None:
            return f'Sign the {line.checkpoint} as "{line.outstanding}"', path
        return f"Nothing of the {line.checkpoint} may be made now: see why", path
    faults = standing.burn_in_faults(head.file)
    return (faults[0] if faults else "The burn-in is complete"), head.here


def _quality(head: AtDesk) -> Card | None:
    board = head.board
    if board is None or not (board.red or board.blocking):
        return None
    lines = [*board.blocking]
    for line in board.red:
        outstanding = f': "{line.outstanding}" is outstanding' if line.outstanding else ""
        lines.append(f"{line.checkpoint}: {line.word}{outstanding}.")
        lines += [reason.text for reason in line.conflicts]
        lines += line.invalidated[:3]
    lead = f"{len(board.red)} gates and {len(board.blocking)} matters"
    return _card(head, lead, f"{head.here}/gates", lines=tuple(lines), calls=True)


def _presenter(head: AtDesk) -> Card | None:
    """Give the next step of a source inspection, and nothing that names machine or customer."""
    if not head.is_at(Checkpoint.SOURCE_INSPECTION) or head.board is None:
        return None
    line = head.board.now
    if line is None or line.checks is None:
        return None
    now = line.checks.next_one
    if now is None:
        return Card("", head.file.unit.letter, "No step may be made now")
    check = line.checks.sheet.check(now.id)
    figures = (("steps done", f"{line.checks.settled} of {len(line.checks.lines)}"),)
    lines = tuple(reading.name for reading in check.readings)
    return Card("", head.file.unit.letter, check.title, figures=figures, lines=(check.task, *lines))


def _service(head: AtDesk) -> Card | None:
    if standing.gate_signature(head.file, Checkpoint.RELEASE) is None:
        return None
    seats = sorted(head.file.occupants.items())
    lines = tuple(
        f"{position}: {part.tag}, {part.words}, {part.now.provenance}"
        for (_, position), parts in seats
        for part in parts
    )
    return _card(head, "As released", head.here, lines=lines)


def _owner(head: AtDesk) -> Card | None:
    if head.board is None:
        return _card(head, "Burn-in only", head.here)
    red = len(head.board.red) + len(head.board.blocking)
    signed = sum(line.word == "pass" for line in head.board.lines)
    figures = (
        ("gates passed", f"{signed} of {len(head.board.lines)}"),
        ("matters that need somebody", str(red)),
    )
    state = head.board.state
    lead = state[:1].upper() + state[1:]
    return _card(head, lead, f"{head.here}/gates", figures=figures, calls=red > 0)


def _open_findings(file: HeadFile) -> int:
    return sum(m.state is FindingState.OPEN for m in file.of_kind(MatterKind.FINDING))


_CARDS: Mapping[Desk, Callable[[AtDesk], Card | None]] = {
    Desk.RECEIVING: _receiving,
    Desk.TEARDOWN: _teardown,
    Desk.INSPECTION: _inspection,
    Desk.TEST: _test,
    Desk.QUALITY: _quality,
    Desk.PRESENTER: _presenter,
    Desk.SERVICE: _service,
    Desk.OWNER: _owner,
}
