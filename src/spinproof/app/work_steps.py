"""What is usually done at a checkpoint, how far it is, and on which page it is done."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from urllib.parse import quote

from spinproof.ledger import standing
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.rulebook.identity import UNDECIDED
from spinproof.ledger.rulebook.passage import ROTOR, SPINDLE
from spinproof.ledger.states import FindingState
from spinproof.model.attestation import (
    AgreedLimit,
    Balance,
    Direction,
    EvidenceDetail,
    RoomAir,
)
from spinproof.model.check import Checkpoint, EvidenceKind, LimitFrom
from spinproof.model.matter import Lockout, MatterKind

BY_TABLE = "/as-found/"
"""Where the positions of a unit are answered in one table."""


@dataclass(frozen=True)
class WorkStep:
    """A piece of work at a checkpoint."""

    text: str
    done: bool | None
    """None for what is done only where there is reason to."""
    said: str
    """How far it is."""
    path: str
    """The page on which it is done."""
    link: str
    """What the way there is called."""


def work_steps(file: HeadFile, point: Checkpoint) -> tuple[WorkStep, ...]:
    """Say what is usually done at a checkpoint.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    point : Checkpoint
        The checkpoint.

    Returns
    -------
    tuple of WorkStep
        In the order in which it is usually done; the rules alone decide whether it may be signed.
    """
    steps = _STEPS.get(point, ())
    return tuple(step(file) for step in steps)


def _here(file: HeadFile) -> str:
    return f"/heads/{quote(file.unit.designation)}"


def _positions(file: HeadFile) -> str:
    return f"/positions/{quote(file.unit.designation)}"


def _decontamination(file: HeadFile) -> WorkStep:
    stated = standing.decontamination(file, Direction.INCOMING)
    said = "not stated yet"
    if stated is not None:
        said = "cleared" if stated[1].cleared else "not cleared: nobody works on it"
    return WorkStep(
        "State the decontamination record that came with the machine",
        stated is not None and stated[1].cleared,
        said,
        f"{_here(file)}/facts#decontamination",
        "State the decontamination",
    )


def _photographs(file: HeadFile) -> WorkStep:
    pictures = [
        entry
        for entry, fact in file.stated(EvidenceDetail)
        if fact.shows is EvidenceKind.PHOTO and entry.unit == file.unit.designation
    ]
    return WorkStep(
        "Photograph it as it came: nameplates, the crate and its shock marks, each damage",
        bool(pictures),
        _count(len(pictures), "photograph"),
        f"{_here(file)}/gates/incoming-inspection#evidence",
        "Add a photograph",
    )


def _findings(file: HeadFile) -> WorkStep:
    still = [m for m in file.of_kind(MatterKind.FINDING) if m.state is FindingState.OPEN]
    return WorkStep(
        "Write down each damage at its position",
        None,
        f"{_count(len(still), 'finding')} open",
        _positions(file),
        "Positions and findings",
    )


def _lockout(file: HeadFile) -> WorkStep:
    locks = [m for m in file.open_lockouts if isinstance(m.content, Lockout)]
    names = ", ".join(lock.name for lock in locks)
    return WorkStep(
        "Lock out, verify, and put the lockout on record before a hand goes in",
        bool(locks),
        f"{names} on" if locks else "none is on",
        f"{_positions(file)}#lockouts",
        "Lockouts",
    )


def _unlocked(file: HeadFile) -> WorkStep:
    locks = ", ".join(lock.name for lock in file.open_lockouts)
    return WorkStep(
        "Lock on for checks with hands in the head, off (and recorded) before it is energised",
        None,
        f"{locks} on" if locks else "none is on",
        f"{_positions(file)}#lockouts",
        "Lockouts",
    )


def _recorded(file: HeadFile) -> WorkStep:
    bare = [p for p in file.positions if not file.steps_at(p.code) and file.vacancy(p.code) is None]
    whole = len(file.positions)
    return WorkStep(
        "Say for each position what came in it: all in one table, by a spreadsheet, or one by one",
        not bare,
        f"{whole - len(bare)} of {whole} positions on record",
        BY_TABLE + quote(file.unit.designation),
        "All positions in one table",
    )


def _built(file: HeadFile) -> WorkStep:
    bare = [
        p for p in file.positions if file.occupant(p.code) is None and file.vacancy(p.code) is None
    ]
    whole = len(file.positions)
    return WorkStep(
        "Fit every part, each under an open lockout; an empty position has its reason",
        not bare,
        f"{whole - len(bare)} of {whole} positions hold a part or a reason",
        BY_TABLE + quote(file.unit.designation),
        "All positions in one table",
    )


def _scope(file: HeadFile) -> WorkStep:
    waiting = [
        line
        for line in file.scope
        if line.unit == file.unit.designation and line.state in UNDECIDED
    ]
    return _agreed(file, "Have the customer answer each line of the scope", len(waiting))


def _shared_scope(file: HeadFile) -> WorkStep:
    own = file.shared.designation if file.shared else ""
    lines = [line for line in file.scope if line.unit == own]
    waiting = sum(line.state in UNDECIDED for line in lines)
    text = "Decide what is done about the module that the heads share"
    return _agreed(file, text, waiting if lines or not own else 1)


def _agreed(file: HeadFile, text: str, waiting: int) -> WorkStep:
    return WorkStep(
        text,
        not waiting,
        f"{_count(waiting, 'line')} without an answer" if waiting else "agreed",
        f"/jobs/{quote(file.unit.job)}/scope",
        "Scope",
    )


def _papers(file: HeadFile) -> WorkStep:
    return WorkStep(
        "State the papers behind parts that are new, refurbished or from a donor",
        None,
        "the gate names each that is missing",
        f"{_here(file)}/facts#paper",
        "State a paper",
    )


def _balance(file: HeadFile) -> WorkStep:
    rotor, spindle = file.occupant(ROTOR), file.occupant(SPINDLE)
    pair = (rotor.tag if rotor else None, spindle.tag if spindle else None)
    done = any((fact.rotor, fact.spindle) == pair for _, fact in file.stated(Balance))
    return WorkStep(
        "State the balance of the rotor in its spindle, needed above 300 rpm",
        done,
        "on record" if done else "not stated for this rotor and spindle",
        f"{_here(file)}/facts#balance",
        "State the balance",
    )


def _instruments(file: HeadFile, point: Checkpoint) -> WorkStep:
    held = {record.kind for record in file.instruments.values()}
    wanted = {
        " or ".join(reading.instruments)
        for check in standing.required_checks(file, point)
        for reading in check.readings
        if reading.instruments and not held & set(reading.instruments)
    }
    return WorkStep(
        "Have each instrument on record, with its calibration",
        not wanted,
        f"none of kind: {', '.join(sorted(wanted))}" if wanted else "every kind is there",
        f"/jobs/{quote(file.unit.job)}/import?unit={quote(file.unit.designation)}#sheets",
        "Instruments by a spreadsheet",
    )


def _limits(file: HeadFile, point: Checkpoint) -> WorkStep:
    stated = {(fact.check, fact.reading) for _, fact in file.stated(AgreedLimit)}
    waiting = [
        f"{check.id} {reading.name}"
        for check in standing.required_checks(file, point)
        for reading in check.readings
        if reading.limit_from is LimitFrom.HEAD_SPEC and (check.id, reading.name) not in stated
    ]
    return WorkStep(
        "State the limits that are the head's own, before anything is measured against them",
        not waiting,
        f"still to be stated: {'; '.join(waiting)}" if waiting else "every one is stated",
        f"{_here(file)}/facts#agreed-limit",
        "State a limit",
    )


def _dry_limits(file: HeadFile) -> WorkStep:
    return _limits(file, Checkpoint.DRY_TEST)


def _wet_limits(file: HeadFile) -> WorkStep:
    return _limits(file, Checkpoint.WET_TEST)


def _dry_instruments(file: HeadFile) -> WorkStep:
    return _instruments(file, Checkpoint.DRY_TEST)


def _wet_instruments(file: HeadFile) -> WorkStep:
    return _instruments(file, Checkpoint.WET_TEST)


def _air(file: HeadFile) -> WorkStep:
    stated = file.stated(RoomAir)
    return WorkStep(
        "State the air of the room before nitrogen flows",
        bool(stated),
        "on record" if stated else "not stated yet",
        f"{_here(file)}/facts#room-air",
        "State the air of the room",
    )


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


_STEPS: Mapping[Checkpoint, tuple[Callable[[HeadFile], WorkStep], ...]] = {
    Checkpoint.INCOMING: (_decontamination, _photographs, _findings),
    Checkpoint.TEARDOWN: (_lockout, _recorded, _findings),
    Checkpoint.RESTORATION: (_scope, _findings),
    Checkpoint.BUILD: (_lockout, _built, _papers, _balance),
    Checkpoint.DRY_TEST: (_shared_scope, _dry_instruments, _dry_limits, _unlocked),
    Checkpoint.WET_TEST: (_balance, _wet_instruments, _wet_limits, _air),
}
