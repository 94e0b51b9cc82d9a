"""Sheets against the ledger: what it knows, and how it stores what they say."""

from collections.abc import Callable
from datetime import datetime, tzinfo
from pathlib import Path

from spinproof.app.clock import utc_now
from spinproof.app.part_views import scope_refusal
from spinproof.app.sheet_columns import SheetKind
from spinproof.app.sheet_values import (
    FindingValue,
    InstrumentValue,
    Known,
    MeasurementValue,
    Occupant,
    PartValue,
    UnitFacts,
    Value,
)
from spinproof.app.sheets import SheetPreview, apply, preview
from spinproof.ledger.entries import UnitEntry, UnitKind
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.measuring import Answered
from spinproof.ledger.records import Records
from spinproof.ledger.shop_entries import Deed, PartEntry, Piece
from spinproof.ledger.states import PartState
from spinproof.model.errors import GateClosedError
from spinproof.model.matter import Finding, MatterKind
from spinproof.model.part import Belongs, Provenance
from spinproof.model.shop_rules import ShopRules


def preview_sheet(
    ledger: Ledger,
    job: str,
    path: Path,
    kind: SheetKind,
    *,
    zone: tzinfo,
    name: str | None = None,
    sheet: str | None = None,
) -> SheetPreview:
    """Show what a sheet would do in a job. Nothing is written.

    Parameters
    ----------
    ledger : Ledger
        The ledger.
    job : str
        The job that its rows are of.
    path : Path
        The file, CSV or XLSX.
    kind : SheetKind
        What its rows are.
    zone : tzinfo
        Zone of times that state none.
    name : str or None
        What to call the file in messages.
    sheet : str or None
        Which sheet of a workbook is meant, when several hold rows.

    Returns
    -------
    SheetPreview
        Every row with what it will do, or what is wrong with it, where, and how to mend it.
    """
    with ledger.reading() as reading:
        known = known_of(reading, job, now=utc_now(), zone=zone)
    return preview(path, kind, known, name=name, sheet=sheet)


def import_sheet(
    ledger: Ledger,
    job: str,
    path: Path,
    kind: SheetKind,
    *,
    by: str,
    zone: tzinfo,
    name: str | None = None,
    sheet: str | None = None,
) -> SheetPreview:
    """Import a sheet in one transaction: all of it, or nothing.

    Parameters
    ----------
    ledger : Ledger
        The ledger.
    job : str
        The job that its rows are of.
    path : Path
        The file, CSV or XLSX.
    kind : SheetKind
        What its rows are.
    by : str
        Who imports it.
    zone : tzinfo
        Zone of times that state none.
    name : str or None
        What to call the file in messages.
    sheet : str or None
        Which sheet of a workbook is meant, when several hold rows.

    Returns
    -------
    SheetPreview
        What was imported, row by row.

    Notes
    -----
    SheetError names the row that is wrong, or that the ledger refused. The preview is made anew
    inside the transaction, so that what others recorded meanwhile is taken into account.
    """
    now = utc_now()
    with ledger.transaction(by, now) as records:
        known = known_of(records, job, now=now, zone=zone)
        shown = preview(path, kind, known, name=name, sheet=sheet)
        apply(shown, _keeper(records, job))
    return shown


def known_of(reading: HeadReading, job: str, *, now: datetime, zone: tzinfo) -> Known:
    """Copy what rows are compared with out of the ledger.

    Parameters
    ----------
    reading : HeadReading
        The ledger, at one moment.
    job : str
        The job.
    now : datetime
        That moment.
    zone : tzinfo
        Zone of times that state none.

    Returns
    -------
    Known
        The copy.

    Raises
    ------
    GateClosedError
        If the job is burn-in only: it has no positions and no checks.
    """
    rules = reading.shop_rules(job)
    if rules is None:
        raise GateClosedError(
            "the job is burn-in only, so that it has no parts, findings and checks to import",
            where=f"job {job}",
            mend="Take in a job of the full process.",
        )
    units = reading.units(job)
    names = [unit.designation for unit in units]
    seated = [part for name in names for part in reading.parts_of(name) if _is_seated(part)]
    matters = reading.matters(job, MatterKind.FINDING)
    return Known(
        now=now,
        opened=datetime.fromisoformat(reading.job(job).opened_at),
        zone=zone,
        rules=rules,
        units={
            unit.designation: UnitFacts(
                _belongs(unit.kind), in_scope=unit.in_scope, refused=_refused(reading, unit, rules)
            )
            for unit in units
        },
        parts=dict.fromkeys(reading.tags(), "it is given to another part")
        | {part.tag: _whereabouts(part) for part in reading.parts(job)},
        occupants={
            (part.now.unit or "", part.now.position or ""): Occupant(
                part.tag, datetime.fromisoformat(part.now.done_at)
            )
            for part in seated
        },
        instruments={instrument.id: instrument for instrument in reading.instruments()},
        answered={
            (name, answer.check, answer.reading)
            for name in names
            for answer in reading.measurements(name)
            if not answer.is_withdrawn
        },
        findings={
            (matter.unit or "", matter.content.text)
            for matter in matters
            if isinstance(matter.content, Finding)
        },
    )


def _refused(reading: HeadReading, unit: UnitEntry, rules: ShopRules) -> dict[str, str]:
    lines = reading.scope_items(unit.job)
    found = {
        place.code: scope_refusal(
            unit, tuple(x for x in lines if (x.unit, x.position) == (unit.designation, place.code))
        )
        for place in rules.positions.of(_belongs(unit.kind))
    }
    return {code: word for code, word in found.items() if word is not None}


def _belongs(kind: UnitKind) -> Belongs:
    return Belongs.SHARED if kind is UnitKind.SHARED_MODULE else Belongs.HEAD


def _is_seated(part: PartEntry) -> bool:
    return part.now.state is PartState.IN_POSITION


def _whereabouts(part: PartEntry) -> str:
    if _is_seated(part):
        return f"{part.words}, in {part.now.position} of {part.now.unit}"
    return f"{part.words}, {part.now.state}"


def _keeper(records: Records, job: str) -> Callable[[Value], object]:
    """Give what stores a row by the ledger's own rules."""

    def keep(value: Value) -> object:
        match value:
            case PartValue():
                return _keep_part(records, job, value)
            case FindingValue():
                deed = Deed("imported from a sheet", done_at=value.done_at)
                return records.open_matter(job, value.content, deed, unit=value.unit)
            case MeasurementValue():
                return _keep_measurement(records, value)
            case InstrumentValue():
                return records.add_instrument(value.record)

    return keep


def _keep_part(records: Records, job: str, value: PartValue) -> PartEntry:
    """Record a part that came with the head as found; take any other in and fit it."""
    deed = Deed(value.why, done_at=value.done_at)
    piece = Piece(value.tag, value.words, value.serial, value.lot, value.material)
    if value.provenance is Provenance.KEPT:
        return records.record_as_found(value.unit, value.position, piece, deed)
    records.add_part(job, value.position, piece, value.provenance, deed)
    return records.install_part(value.unit, value.position, value.tag, deed)


def _keep_measurement(records: Records, value: MeasurementValue) -> object:
    answered = Answered(
        reading=value.reading,
        quantity=value.value,
        yes=value.yes,
        words=value.words,
        instrument=value.instrument,
        uncertainty=value.uncertainty,
        conditions=value.conditions or "not noted",
    )
    deed = Deed("imported from a sheet", done_at=value.done_at)
    return records.answer_reading(value.unit, value.check, answered, deed)
