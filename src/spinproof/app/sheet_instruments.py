"""A row of instruments: what it will do, in words and as a value."""

from contextlib import suppress
from datetime import date

from pydantic import ValidationError

from spinproof.app.sheet_columns import RANGES
from spinproof.app.sheet_rows import RowReader
from spinproof.app.sheet_values import InstrumentValue
from spinproof.model.errors import UnitError
from spinproof.model.instrument import (
    Calibration,
    InstrumentKind,
    InstrumentRecord,
    MeasuringRange,
)
from spinproof.model.quantity import Dimension, parse_quantity, read_unit

_PARTS = ("from", "to", "step", "uncertainty")


def instrument_of(row: RowReader) -> tuple[str, InstrumentValue] | None:
    """Read a row of instruments.

    Parameters
    ----------
    row : RowReader
        The cells, and where problems are noted.

    Returns
    -------
    tuple or None
        What the row will do and its value; None when something is wrong.
    """
    mark, kind = row.needed("mark"), row.choice("kind", InstrumentKind)
    if mark.casefold() in {name.casefold() for name in row.known.instruments}:
        row.fail("mark", f"the shop has an instrument {mark}", "Add to it on its own page.")
    ranges = tuple(found for end in RANGES if (found := _range(row, end)) is not None)
    calibration = _calibration(row, kind)
    words = row.text("words")
    if row.problems or kind is None:
        return None
    if kind.needs_calibration and calibration is None:
        row.notices.append("no calibration: its readings are an indication only")
    if kind.needs_calibration and not ranges:
        row.notices.append("no range: every reading lies outside it")
    record = InstrumentRecord(
        id=mark,
        kind=kind,
        words=words or kind.value,
        ranges=ranges,
        calibrations=(calibration,) if calibration else (),
    )
    due = f", calibration due {calibration.due}" if calibration else ""
    return f"takes in {mark}, {kind}{due}", InstrumentValue(record)


def _range(row: RowReader, end: str) -> MeasuringRange | None:
    """Read a range; all its cells are filled, or only the unit, or none."""
    given = {part: row.text(f"{part}{end}") for part in _PARTS}
    if not any(given.values()):
        return None
    unit = row.needed(f"unit{end}")
    for part, text in given.items():
        if not text:
            row.fail(f"{part}{end}", f"{part}{end} is missing", "Fill in the cell.")
    if row.problems:
        return None
    symbol = _symbol(row, f"unit{end}", unit)
    low, high, step, uncertainty = (_number(row, f"{part}{end}") for part in _PARTS)
    if symbol is None or low is None or high is None or step is None or uncertainty is None:
        return None
    try:
        return MeasuringRange(
            unit=symbol, low=low, high=high, resolution=step, standard_uncertainty=uncertainty
        )
    except ValidationError as error:
        text = str(error.errors()[0]["msg"]).removeprefix("Value error, ")
        row.fail(f"to{end}", text, "Correct the range.")
        return None


def _symbol(row: RowReader, key: str, text: str) -> str | None:
    """Read a unit, whatever it is of."""
    for dimension in Dimension:
        with suppress(UnitError):
            return read_unit(text, dimension, where=row.place(key)).symbol
    row.fail(key, f'"{text}" is no unit that is known here', "Write it as the check does.")
    return None


def _number(row: RowReader, key: str) -> float | None:
    """Read a number alone; its unit stands in a cell of its own."""
    text = row.text(key)
    read = row.attempt(
        key, lambda: parse_quantity(f"{text} %", Dimension.RATIO, where=row.place(key))
    )
    return None if read is None else read.value


def _calibration(row: RowReader, kind: InstrumentKind | None) -> Calibration | None:
    at, due, certificate = (row.text(key) for key in ("calibrated", "due", "certificate"))
    if not (at or due or certificate) or (kind and not kind.needs_calibration and not at):
        return None
    days = _day(row, "calibrated"), _day(row, "due")
    named = row.needed("certificate")
    if days[0] is None or days[1] is None or not named:
        return None
    if days[0] > row.known.now.date():
        row.fail("calibrated", f"{at} lies in the future", "Correct the date.")
    if days[1] <= days[0]:
        row.fail("due", f"{due} is not after the calibration, {at}", "Correct the dates.")
        return None
    laboratory = row.text("laboratory") or None
    return Calibration(at=days[0], due=days[1], certificate=named, laboratory=laboratory)


def _day(row: RowReader, key: str) -> date | None:
    text = row.needed(key)
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        row.fail(key, f'"{text}" is no day as 2031-05-06', "Write year-month-day.")
        return None
