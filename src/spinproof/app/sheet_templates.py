"""Spreadsheets to fill in: a row for each thing that is still to be said, for the import."""

import csv
import io
from collections.abc import Iterable
from datetime import UTC, datetime

from spinproof.app.part_views import free_tag
from spinproof.app.sheet_columns import RANGES, SheetKind, heads_of
from spinproof.ledger import standing
from spinproof.ledger.gating import admissible_checks
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.ledger import Ledger
from spinproof.model.check import Reading
from spinproof.model.errors import RecordError
from spinproof.model.part import Provenance

Row = dict[str, str]


def sheet_template(ledger: Ledger, unit: str | None, kind: SheetKind, now: datetime) -> str:
    """Give a sheet with the rows that a head or shared module still lacks.

    Parameters
    ----------
    ledger : Ledger
        The records.
    unit : str or None
        Head or shared module; without one, the heads of the columns alone.
    kind : SheetKind
        Parts: every position that nothing is recorded of, with a free tag. Measurements: every
        open reading of the checks that may be made now. Instruments: each kind that the present
        checks ask for and the shop has not. Findings: the heads of the columns.
    now : datetime
        The present instant, offered as the time of each row.

    Returns
    -------
    str
        CSV as RFC 4180 has it, with the heads that the import reads.

    Raises
    ------
    RecordError
        If there is no such unit, or the job keeps none of this.
    """
    out = io.StringIO(newline="")
    sheet = csv.DictWriter(out, heads_of(kind), restval="")
    sheet.writeheader()
    if unit is not None:
        sheet.writerows(_missing(ledger, unit, kind, now))
    return out.getvalue()


def _missing(ledger: Ledger, unit: str, kind: SheetKind, now: datetime) -> list[Row]:
    with ledger.reading() as records:
        file = records.head_file(unit, now.date())
        tags = records.tags()
    if file.rules is None:
        raise RecordError(
            "the job is burn-in only, so that it has nothing to fill in",
            where=f"sheet for {unit}",
            mend="Take in a job of the full process.",
        )
    at = now.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S")
    match kind:
        case SheetKind.PARTS:
            return _parts(file, tags, at)
        case SheetKind.MEASUREMENTS:
            return _readings(file, at)
        case SheetKind.INSTRUMENTS:
            return _instruments(file)
        case SheetKind.FINDINGS:
            return []


def _parts(file: HeadFile, tags: Iterable[str], at: str) -> list[Row]:
    unit, taken = file.unit.designation, set(tags)
    return [
        {
            "tag": free_tag(unit, place.code, taken),
            "head": unit,
            "position": place.code,
            "provenance": Provenance.KEPT.value,
            "installed": at,
            "part": place.name,
            "why": "as received",
        }
        for place in file.positions
        if not file.steps_at(place.code) and file.vacancy(place.code) is None
    ]


def _readings(file: HeadFile, at: str) -> list[Row]:
    return [
        {
            "head": file.unit.designation,
            "check": check.id,
            "reading": reading.name,
            "unit": reading.unit or "",
            "instrument": _only_instrument(file, reading),
            "measured": at,
        }
        for check in admissible_checks(file)
        for reading in check.readings
        if reading.name not in standing.answers_of(file, check.id)
    ]


def _only_instrument(file: HeadFile, reading: Reading) -> str:
    """Give the instrument that can read it, where the shop has one alone."""
    able = [name for name, record in file.instruments.items() if record.kind in reading.instruments]
    return able[0] if len(able) == 1 else ""


def _instruments(file: HeadFile) -> list[Row]:
    """Give a row for each kind that is missing, with the units that it has to read."""
    point = standing.present_checkpoint(file)
    held = {record.kind for record in file.instruments.values()}
    asked = [
        reading
        for check in (standing.required_checks(file, point) if point else ())
        for reading in check.readings
        if reading.instruments and not held & set(reading.instruments)
    ]
    units: dict[str, list[str]] = {}
    for reading in sorted(asked, key=lambda each: len(each.instruments)):
        kinds = [kind.value for kind in reading.instruments]
        kind = next((each for each in kinds if each in units), kinds[0])
        own = units.setdefault(kind, [])
        if reading.unit and not reading.derived and reading.unit not in own:
            own.append(reading.unit)
    return [
        {"kind": kind, "words": kind}
        | {f"unit{end}": unit for end, unit in zip(RANGES, own, strict=False)}
        for kind, own in units.items()
    ]
