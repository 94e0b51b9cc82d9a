"""All positions of a unit in one table: one answer for each, all taken in at once or none."""

from collections.abc import Callable, Collection, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from spinproof.app.clock import utc_now
from spinproof.app.part_deeds import Act, deed_of
from spinproof.app.part_views import PositionLine, UnitPositions, free_tag, positions_of
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.records import Records
from spinproof.ledger.shop_entries import Deed, PartEntry, Piece
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.part import Provenance


class Choice(StrEnum):
    """What may be said of a position in the table."""

    LATER = "no answer yet"
    FOUND = "sits here as received"
    ON_BENCH = "came with it, now on the bench"
    EMPTY = "nothing sits here"
    STAYS = "stays here"
    TAKE_OUT = "take it out"
    STAYS_OUT = "stays on the bench"
    PUT_BACK = "put back as it was"
    PUT_BACK_CLEANED = "put back, cleaned"
    PUT_BACK_REPAIRED = "put back, repaired"


UNANSWERED = (Choice.LATER, Choice.STAYS, Choice.STAYS_OUT)
"""Choices that change nothing."""
_CLAIMED = {
    Choice.PUT_BACK: None,
    Choice.PUT_BACK_CLEANED: Provenance.CLEANED,
    Choice.PUT_BACK_REPAIRED: Provenance.REPAIRED,
}


@dataclass(frozen=True)
class TableRow:
    """A position in the table."""

    line: PositionLine
    choices: tuple[Choice, ...]
    """The first one changes nothing."""
    tag: str
    """A free tag, or the one of the part that the choices are about."""
    is_new: bool
    """Whether nothing is recorded there yet."""

    @property
    def code(self) -> str:
        """Code of the position."""
        return self.line.place.code


@dataclass(frozen=True)
class PositionTable:
    """The positions of a unit, to be answered at once."""

    page: UnitPositions
    rows: tuple[TableRow, ...]

    @property
    def unrecorded(self) -> int:
        """How many positions nobody has said anything about."""
        return sum(row.is_new for row in self.rows)

    @property
    def on_bench(self) -> int:
        """How many positions wait for the part that came from there."""
        return sum(Choice.PUT_BACK in row.choices for row in self.rows)


@dataclass(frozen=True)
class RowAnswer:
    """What was said of one position."""

    choice: Choice
    tag: str = ""
    note: str = ""
    """Serial of what sits there, or why nothing does."""


def position_table(ledger: Ledger, unit: str, today: date) -> PositionTable:
    """Give the positions of a unit with what may be said of each.

    Parameters
    ----------
    ledger : Ledger
        The records.
    unit : str
        Head or shared module.
    today : date
        Day on which somebody looks.

    Returns
    -------
    PositionTable
        Every position in the order of the shop's rules.

    Raises
    ------
    GateClosedError
        If the job keeps no parts.
    RecordError
        If there is no such unit.
    """
    page = positions_of(ledger, unit, today)
    with ledger.reading() as records:
        tags = records.tags()
        ever = {code for _, code in _seats(records.parts(page.job), unit)}
        last = {code: part for part, code in _last_there(records.parts(page.job), page.loose, unit)}
    return PositionTable(page, tuple(_row(line, ever, last, tags) for line in page.lines))


def _seats(parts: tuple[PartEntry, ...], unit: str) -> list[tuple[str, str]]:
    return [
        (part.tag, step.position)
        for part in parts
        for step in part.steps
        if step.unit == unit and step.position
    ]


def _last_there(
    parts: tuple[PartEntry, ...], loose: tuple[PartEntry, ...], unit: str
) -> list[tuple[PartEntry, str]]:
    """Give the loose parts that came from a position of the unit, with that position."""
    free = {part.tag for part in loose}
    return [
        (part, part.code)
        for part in parts
        if part.tag in free and any(step.unit == unit for step in part.steps)
    ]


def _row(
    line: PositionLine,
    ever: Collection[str],
    last: Mapping[str, PartEntry],
    tags: Collection[str],
) -> TableRow:
    code = line.place.code
    free = free_tag(line.unit, code, tags)
    if line.part is not None:
        return TableRow(line, (Choice.STAYS, Choice.TAKE_OUT), line.part.tag, is_new=False)
    if code in last:
        back = (Choice.PUT_BACK,) if line.refused else tuple(_CLAIMED)
        return TableRow(line, (Choice.STAYS_OUT, *back), last[code].tag, is_new=False)
    if line.vacancy is not None:
        return TableRow(line, (Choice.LATER,), "", is_new=False)
    if code in ever:
        return TableRow(line, (Choice.LATER, Choice.EMPTY), "", is_new=False)
    found = (Choice.LATER, Choice.FOUND, Choice.ON_BENCH, Choice.EMPTY)
    return TableRow(line, found, free, is_new=True)


def answer_positions(
    ledger: Ledger,
    unit: str,
    answers: Mapping[str, RowAnswer],
    act: Act,
    at_row: Callable[[str], AbstractContextManager[None]],
) -> int:
    """Take in what was said of the positions of a unit, in one change: all of it, or nothing.

    Parameters
    ----------
    ledger : Ledger
        The records.
    unit : str
        Head or shared module.
    answers : mapping of str to RowAnswer
        By the code of the position.
    act : Act
        Who says it, on what evidence, and when.
    at_row : callable
        Gives what surrounds the work on a position, so that an error can be told beside it.

    Returns
    -------
    int
        How many positions were answered.

    Raises
    ------
    GateClosedError
        If a choice does not fit the position any more, or the ledger refuses it.
    RecordError
        If a reason is missing.
    """
    meant = {code: a for code, a in answers.items() if a.choice not in UNANSWERED}
    table = position_table(ledger, unit, utc_now().date())
    with ledger.transaction(act.by, utc_now()) as records:
        deed = deed_of(records, table.page.job, act)
        for row in table.rows:
            if (answer := meant.get(row.code)) is not None:
                with at_row(row.code):
                    _require_offered(row, answer)
                    _take(records, row, answer, deed)
    return len(meant)


def _require_offered(row: TableRow, answer: RowAnswer) -> None:
    if answer.choice not in row.choices:
        raise GateClosedError(
            f"{row.code} was changed meanwhile: {row.line.state}",
            where=f"{row.line.unit}, {row.code}",
            mend="Look at it again; the rest of the table stands as you left it.",
        )


def _take(records: Records, row: TableRow, answer: RowAnswer, deed: Deed) -> None:
    unit, code = row.line.unit, row.code
    match answer.choice:
        case Choice.FOUND | Choice.ON_BENCH:
            piece = Piece(answer.tag, row.line.place.name, answer.note or None)
            records.record_as_found(unit, code, piece, deed)
            if answer.choice is Choice.ON_BENCH:
                records.remove_part(unit, code, deed)
        case Choice.EMPTY:
            if not answer.note:
                raise RecordError(
                    "the reason is missing",
                    where=f"{unit}, {code}",
                    mend="Say why nothing sits there.",
                )
            records.leave_empty(unit, code, Deed(answer.note, deed.evidence, deed.done_at))
        case Choice.TAKE_OUT:
            records.remove_part(unit, code, deed)
        case _:
            records.install_part(unit, code, row.tag, deed, _CLAIMED[answer.choice])
