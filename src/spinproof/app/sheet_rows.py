"""One row of a sheet to what it will do, or to what is wrong with it and where."""

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime, tzinfo
from enum import StrEnum
from typing import TypeVar

from spinproof.app.sheet_columns import FoundColumn
from spinproof.app.sheet_values import FindingValue, Known, MeasurementValue, PartValue, Problem
from spinproof.files.sheet import SheetRow, cell_name
from spinproof.model.check import Answer, CheckTemplate, Reading
from spinproof.model.errors import SheetError, SpinproofError
from spinproof.model.instrument import InstrumentRecord, standing_on
from spinproof.model.matter import Finding
from spinproof.model.part import Belongs, Position, Provenance, Severity, missing_papers
from spinproof.model.quantity import Dimension, Quantity, parse_quantity
from spinproof.model.tag import parse_tag

T = TypeVar("T")
E = TypeVar("E", bound=StrEnum)

NAME, TEXT = 80, 600
"""Longest names and texts. [characters]"""

_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_MOMENT = re.compile(rf"{_DAY.pattern}[ T]\d\d:\d\d(:\d\d)?(Z|[+-]\d\d:\d\d)?")
_OTHER_DAY = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})(?!\d).*")
_YES = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}


class RowReader:
    """The cells of one row, and the problems found in them."""

    def __init__(
        self, row: SheetRow, columns: Mapping[str, FoundColumn], where: str, known: Known
    ) -> None:
        self._row = row
        self._columns = columns
        self._where = where
        self.known = known
        self.problems: list[Problem] = []
        self.notices: list[str] = []

    def text(self, key: str, longest: int = NAME) -> str:
        """Give the text of a cell, or "" when it is blank or there is no such column."""
        column = self._columns.get(key)
        if column is None or column.place >= len(self._row.cells):
            return ""
        text = self._row.cells[column.place].strip()
        if len(text) > longest:
            self.fail(key, f"the text has {len(text)} characters", f"Use {longest} at most.")
        return text

    def needed(self, key: str, longest: int = NAME) -> str:
        """Give the text of a cell that must not be blank."""
        text = self.text(key, longest)
        if not text:
            self.fail(key, f"{key} is missing", "Fill in the cell.")
        return text

    def unit_in_head(self, key: str) -> str | None:
        """Give the unit that stands in the head of a column."""
        column = self._columns.get(key)
        return None if column is None else column.unit

    def fail(self, key: str | None, what: str, mend: str) -> None:
        """Note that something is wrong with a cell, or with the row."""
        self.problems.append(Problem(what, self.place(key), mend))

    def place(self, key: str | None) -> str:
        """Say where a cell stands, or the row."""
        column = None if key is None else self._columns.get(key)
        if column is None:
            return f"{self._where}, row {self._row.number}"
        cell = cell_name(self._row.number, column.place)
        return f'{self._where}, cell {cell} (column "{column.head}")'

    def attempt(self, key: str, read: Callable[[], T]) -> T | None:
        """Read something from a cell; what is wrong with it is noted."""
        try:
            return read()
        except SpinproofError as error:
            self.fail(key, error.what, error.mend)
            return None

    def choice(self, key: str, kind: type[E]) -> E | None:
        """Give one of some words, however its blanks, dashes and letters are written."""
        text = self.needed(key)
        words = {_plain(word): word for word in kind}
        if text and _plain(text) not in words:
            self.fail(key, f'"{text}" is not known', f"Write one of: {', '.join(kind)}.")
        return words.get(_plain(text))

    def head(self) -> str | None:
        """Give the head or shared module of the row."""
        text = self.needed("head")
        named = {designation.casefold(): designation for designation in self.known.units}
        if text and text.casefold() not in named:
            units = ", ".join(self.known.units)
            self.fail("head", f'"{text}" is not of this job', f"Write one of: {units}.")
        return named.get(text.casefold())

    def position(self, unit: str | None) -> Position | None:
        """Give the position of the row, which must belong to its head or module."""
        text = self.text("position")
        if not text:
            return None
        found = self.attempt("position", lambda: self.known.rules.positions.find(text))
        if found and unit and found.belongs is not self.known.units[unit].belongs:
            place = "the shared module" if found.belongs is Belongs.SHARED else "a head"
            self.fail("position", f"{found.name} belongs to {place}", "Correct head or position.")
        return found

    def moment(self, key: str) -> datetime | None:
        """Give the moment in a cell; a day alone counts from its beginning."""
        text = self.needed(key)
        if not text:
            return None
        at = self.attempt(key, lambda: read_moment(text, self.known.zone, self.place(key)))
        if at and at > self.known.now:
            self.fail(key, f"{text} lies in the future", "Correct the date.")
        if at and at < self.known.opened:
            opened = _shown(self.known.opened.astimezone(self.known.zone))
            what = f"{text} lies before the job was taken in, {opened}"
            self.fail(key, what, "Correct the date; if it was the same day, give the time as well.")
        return at


def read_moment(text: str, zone: tzinfo, where: str) -> datetime:
    """Read a date, with or without a time, in the one order that cannot be mistaken.

    Parameters
    ----------
    text : str
        For example "2030-04-03", "2030-04-03 14:05" or "2030-04-03T14:05:00+02:00".
    zone : tzinfo
        Zone of a time that states none.
    where : str
        The cell, for the message.

    Returns
    -------
    datetime
        The moment; a day alone counts from its beginning.

    Raises
    ------
    SheetError
        If day and month could be mistaken, or it is no date.
    """
    mend = "Write year-month-day, for example 2030-04-03, with a time after it if it is known."
    if _DAY.fullmatch(text) or _MOMENT.fullmatch(text):
        try:
            at = datetime.fromisoformat(text)
        except ValueError as error:
            raise SheetError(
                f'"{text}" is no day of the calendar', where=where, mend=mend
            ) from error
        return at if at.tzinfo else at.replace(tzinfo=zone)
    if other := _OTHER_DAY.fullmatch(text):
        first, second, year = other.groups()
        if int(first) <= 12 and int(second) <= 12 and first != second:
            ways = " or as ".join(
                f"{year}-{int(month):02d}-{int(day):02d}"
                for day, month in ((first, second), (second, first))
            )
            raise SheetError(f'"{text}" can be read as {ways}', where=where, mend=mend)
    raise SheetError(f'"{text}" is not written as year-month-day', where=where, mend=mend)


def part_of(row: RowReader) -> tuple[str, PartValue] | None:
    """Read a row of parts: what it will do, in words and as a value."""
    known, unit = row.known, row.head()
    tag_text = row.needed("tag")
    tag = row.attempt("tag", lambda: parse_tag(tag_text, tuple(known.parts))) if tag_text else None
    if tag and tag in known.parts:
        row.fail("tag", f"the tag exists: {known.parts[tag]}", "Give this part a tag of its own.")
    row.needed("position")
    position = row.position(unit)
    holder = known.occupants.get((unit or "", position.code if position else ""))
    if holder and position:
        row.fail("position", f"{position.name} holds {holder.tag}", "Remove that part first.")
    provenance = row.choice("provenance", Provenance)
    if provenance is Provenance.MISSING:
        row.fail("provenance", "a missing part has no tag", "Record the position as empty instead.")
    _require_wanted(row, unit, position, provenance)
    done_at = row.moment("installed")
    words, why = row.text("part"), row.text("why", TEXT)
    serial, lot, material = (row.text(key) or None for key in ("serial", "lot", "material"))
    if row.problems or not (unit and tag and position and provenance and done_at):
        return None
    row.notices += [f"still needs: {paper}" for paper in missing_papers(provenance, ())]
    if position.always_replace and provenance in {Provenance.KEPT, Provenance.CLEANED}:
        row.notices.append(f"{position.name} is replaced whenever the head is opened")
    does = (
        f"takes in {tag}, {provenance}, as {position.name} ({position.code}) of {unit}"
        f" on {_shown(done_at)}"
    )
    return does, PartValue(
        tag,
        unit,
        position.code,
        words or position.name,
        provenance,
        serial,
        lot,
        material,
        why or "imported from a sheet",
        done_at,
    )


def _require_wanted(
    row: RowReader, unit: str | None, position: Position | None, provenance: Provenance | None
) -> None:
    """Refuse another part where the customer declined work, as the page of the position does."""
    refused = row.known.units[unit].refused.get(position.code) if unit and position else None
    if position and refused and provenance not in {Provenance.KEPT, None}:
        row.fail(
            "position",
            f"{position.name} is {refused}: only the part that came from there may go back",
            "To fit another one, have the customer accept a change order for it first.",
        )


def finding_of(row: RowReader) -> tuple[str, FindingValue] | None:
    """Read a row of findings: what it will do, in words and as a value."""
    known, unit = row.known, row.head()
    position = row.position(unit)
    tag_text = row.text("tag")
    tag = row.attempt("tag", lambda: parse_tag(tag_text, tuple(known.parts))) if tag_text else None
    if tag and tag not in known.parts:
        row.fail("tag", f"no part has the tag {tag}", "Take the part in first, or correct the tag.")
    severity = row.choice("severity", Severity)
    text, done_at = row.needed("finding", TEXT), row.moment("seen")
    if unit and (unit, text) in known.findings:
        row.fail("finding", "this finding is on record already", "Leave this row out.")
    recommendation = row.text("recommendation", TEXT) or None
    if row.problems or not (unit and severity and done_at):
        return None
    content = Finding(
        text=text,
        severity=severity,
        position=position.code if position else None,
        tag=tag,
        recommendation=recommendation,
    )
    place = f"{position.name} ({position.code}) of {unit}" if position else unit
    does = f"opens a finding ({severity}) at {place}, seen on {_shown(done_at)}"
    return does, FindingValue(unit, content, done_at)


def measurement_of(row: RowReader) -> tuple[str, MeasurementValue] | None:
    """Read a row of measurements: what it will do, in words and as a value."""
    known, unit, done_at = row.known, row.head(), row.moment("measured")
    check_id = row.needed("check").upper()
    check = row.attempt("check", lambda: known.rules.check(check_id)) if check_id else None
    reading = _reading_of(row, check) if check else None
    if reading is None or check is None:
        row.needed("value")
        return None
    if unit and (unit, check.id, reading.name) in known.answered:
        row.fail("reading", "it is answered already", "Correct it on the page of the check.")
    value, yes, words = _answer_of(row, reading)
    uncertainty = _uncertainty_of(row, reading, value)
    instrument = _instrument_of(row, reading, value, done_at)
    if unit and done_at:
        _require_after_installation(row, check, unit, done_at)
    conditions = row.text("conditions", TEXT)
    if row.problems or not (unit and done_at):
        return None
    if not known.units[unit].in_scope:
        row.notices.append(f"{unit} is not in scope: printed as observed, never as passed")
    shown = value or words or ("yes" if yes else "no")
    by = f" by {instrument}" if instrument else ""
    does = f'answers {check.id} "{reading.name}" of {unit}: {shown}{by} on {_shown(done_at)}'
    return does, MeasurementValue(
        unit,
        check.id,
        reading.name,
        value,
        yes,
        words,
        instrument,
        conditions,
        done_at,
        uncertainty,
    )


def _reading_of(row: RowReader, check: CheckTemplate) -> Reading | None:
    text = row.text("reading")
    if not text and len(check.readings) == 1:
        return check.readings[0]
    for reading in check.readings:
        if _plain(reading.name) == _plain(text):
            return reading
    names = ", ".join(f'"{reading.name}"' for reading in check.readings)
    what = f'{check.id} has no reading "{text}"' if text else f"{check.id} has several readings"
    row.fail("reading", what, f"Write one of: {names}.")
    return None


def _answer_of(row: RowReader, reading: Reading) -> tuple[Quantity | None, bool | None, str | None]:
    text = row.needed("value", TEXT)
    if not text:
        return None, None, None
    if reading.answer is Answer.TEXT:
        return None, None, text
    if (dimension := reading.dimension) is None:
        if text.casefold() not in _YES:
            row.fail("value", f'"{text}" is neither yes nor no', "Write yes or no.")
        return None, _YES.get(text.casefold()), None
    return row.attempt("value", lambda: _quantity_of(row, dimension, text)), None, None


def _quantity_of(row: RowReader, dimension: Dimension, text: str) -> Quantity:
    """Read a number whose unit stands in its cell, in the column of units or in the head.

    Raises
    ------
    SheetError
        If cell and column give two units.
    """
    place = row.place("value")
    bare = re.fullmatch(r"[+\-\N{MINUS SIGN}]?[\d.,]+(?:[eE][+-]?\d+)?", text)
    elsewhere = row.text("unit") or row.unit_in_head("value") or ""
    given = parse_quantity(f"{text} {elsewhere}" if bare else text, dimension, where=place)
    if elsewhere and not bare:
        other = parse_quantity(f"1 {elsewhere}", dimension, where=place)
        if other.unit != given.unit:
            raise SheetError(
                f"the cell says {given.unit}, and its column says {other.unit}",
                where=place,
                mend="Leave the unit that is right.",
            )
    return given


def _uncertainty_of(row: RowReader, reading: Reading, value: Quantity | None) -> Quantity | None:
    """Read what a number that was worked out needs beside it, in the unit of the number."""
    text = row.text("uncertainty")
    if value is None or reading.dimension is None:
        return None
    if not text:
        if reading.derived:
            what = "the number is worked out, so its uncertainty is not simply the instrument's"
            row.fail("uncertainty", what, "Give its standard uncertainty as well.")
        return None
    bare = re.fullmatch(r"[\d.,]+(?:[eE][+-]?\d+)?", text)
    given = f"{text} {value.unit}" if bare else text
    dimension = reading.dimension
    return row.attempt(
        "uncertainty", lambda: parse_quantity(given, dimension, where=row.place("uncertainty"))
    )


def _instrument_of(
    row: RowReader, reading: Reading, value: Quantity | None, done_at: datetime | None
) -> str | None:
    text = row.text("instrument")
    if not text:
        if reading.instruments:
            kinds = " or ".join(reading.instruments)
            row.fail("instrument", "the instrument is missing", f"Name the {kinds} that read it.")
        return None
    named = {name.casefold(): record for name, record in row.known.instruments.items()}
    record = named.get(text.casefold())
    if record is None:
        row.fail("instrument", f'there is no instrument "{text}"', "Enter it first, or correct it.")
        return None
    if reading.instruments and record.kind not in reading.instruments:
        kinds = " or ".join(reading.instruments)
        row.fail("instrument", f"{record.id} is a {record.kind}", f"Name the {kinds} that read it.")
    elif done_at:
        _tell_standing(row, record, None if reading.derived else value, done_at.date())
    return record.id


def _tell_standing(
    row: RowReader, record: InstrumentRecord, value: Quantity | None, on: date
) -> None:
    standing = row.attempt("instrument", lambda: standing_on(record, on, value))
    if standing and not standing.supports_a_verdict:
        row.notices.append(f"{record.id} on {on}: {standing}")


def _require_after_installation(
    row: RowReader, check: CheckTemplate, unit: str, done_at: datetime
) -> None:
    for (place, code), occupant in row.known.occupants.items():
        shared = row.known.units[place].belongs is Belongs.SHARED
        if code in check.depends_on and (place == unit or shared) and done_at < occupant.since:
            row.fail(
                "measured",
                f"{occupant.tag} in {code} was installed later, on {_shown(occupant.since)}",
                "A check holds for the parts that it was made on; correct date and time.",
            )


def _shown(at: datetime) -> str:
    whole_day = (at.hour, at.minute, at.second) == (0, 0, 0)
    return at.date().isoformat() if whole_day else at.isoformat(" ", "minutes")


def _plain(text: str) -> str:
    return re.sub(r"[\s_,-]+", " ", text).strip().casefold()
