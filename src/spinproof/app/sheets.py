"""Import of a sheet of parts, findings, measurements or instruments, each row shown first."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from spinproof.app.sheet_columns import FoundColumn, SheetKind, find_columns
from spinproof.app.sheet_instruments import instrument_of
from spinproof.app.sheet_rows import RowReader, finding_of, measurement_of, part_of
from spinproof.app.sheet_values import (
    FindingValue,
    InstrumentValue,
    Known,
    MeasurementValue,
    PartValue,
    Problem,
    Value,
)
from spinproof.files.sheet import SheetRow
from spinproof.files.sheet_table import read_sheets
from spinproof.model.errors import SheetError, SpinproofError

_READERS: dict[SheetKind, Callable[[RowReader], tuple[str, Value] | None]] = {
    SheetKind.PARTS: part_of,
    SheetKind.FINDINGS: finding_of,
    SheetKind.MEASUREMENTS: measurement_of,
    SheetKind.INSTRUMENTS: instrument_of,
}


@dataclass(frozen=True)
class PreviewRow:
    """One row: what it will do, or what is wrong with it."""

    number: int
    """As the spreadsheet shows it."""
    cells: tuple[str, ...]
    """As they stand there."""
    does: str | None
    """In a clause; None when something is wrong."""
    value: Value | None
    problems: tuple[Problem, ...]
    notices: tuple[str, ...]
    """What is right, but should be known."""


@dataclass(frozen=True)
class SheetPreview:
    """A sheet before anything of it is imported."""

    kind: SheetKind
    file: str
    sheet: str
    header: tuple[str, ...]
    rows: tuple[PreviewRow, ...]
    notices: tuple[str, ...]
    """What the reader understood and left out."""

    @property
    def wrong(self) -> tuple[PreviewRow, ...]:
        """Rows with which something is wrong."""
        return tuple(row for row in self.rows if row.problems)

    @property
    def is_ready(self) -> bool:
        """Whether it can be imported: there are rows, and none is wrong."""
        return bool(self.rows) and not self.wrong


def preview(
    path: Path, kind: SheetKind, known: Known, *, name: str | None = None, sheet: str | None = None
) -> SheetPreview:
    """Show what a sheet would do. Nothing is written.

    Parameters
    ----------
    path : Path
        The file, CSV or XLSX.
    kind : SheetKind
        What its rows are.
    known : Known
        What the ledger knows.
    name : str or None
        What to call the file in messages.
    sheet : str or None
        Which sheet of a workbook is meant, when several hold rows.

    Returns
    -------
    SheetPreview
        Every row with what it will do, or what is wrong with it, where, and how to mend it.

    Raises
    ------
    SheetError
        If the file cannot be read as a sheet, or its columns are not clear.
    """
    file = read_sheets(path, name)
    chosen = file.only_sheet(sheet)
    where = f'{file.name}, sheet "{chosen.name}"' if chosen.name else file.name
    header = chosen.rows[0]
    columns, unused = find_columns(kind, header, where)
    rows = _without_doubles(
        tuple(_preview_row(row, header, kind, columns, where, known) for row in chosen.rows[1:]),
        where,
    )
    return SheetPreview(
        kind,
        file.name,
        chosen.name,
        header.cells,
        rows,
        (*file.notices, *chosen.notices, *unused),
    )


def apply(shown: SheetPreview, keep: Callable[[Value], object]) -> None:
    """Import a sheet, all of it or nothing; to be called inside one transaction.

    Parameters
    ----------
    shown : SheetPreview
        Its preview, made from what the ledger knows inside that transaction.
    keep : callable
        Stores one row. What it raises goes on, with the row named, and undoes the transaction.

    Raises
    ------
    SheetError
        If a row is wrong or was refused by the ledger, or there is none.
    """
    if not shown.rows:
        raise SheetError(
            "the sheet has a head and no rows", where=shown.file, mend="Choose the file again."
        )
    if shown.wrong:
        first = shown.wrong[0].problems[0]
        raise SheetError(
            f"{len(shown.wrong)} of {len(shown.rows)} rows are wrong, so nothing was imported;"
            f" the first: {first.what}",
            where=first.where,
            mend=first.mend,
        )
    for row in shown.rows:
        if row.value is not None:
            _keep_row(shown, row.number, row.value, keep)


def _keep_row(
    shown: SheetPreview, number: int, value: Value, keep: Callable[[Value], object]
) -> None:
    try:
        keep(value)
    except SpinproofError as error:
        raise SheetError(
            f"row {number} was refused, so nothing was imported: {error.what}",
            where=f"{shown.file}; {error.where}",
            mend=error.mend,
        ) from error


def _preview_row(
    row: SheetRow,
    header: SheetRow,
    kind: SheetKind,
    columns: Mapping[str, FoundColumn],
    where: str,
    known: Known,
) -> PreviewRow:
    reader = RowReader(row, columns, where, known)
    _require_heads(reader, row, header)
    read = _READERS[kind](reader)
    does, value = read if read and not reader.problems else (None, None)
    problems, notices = tuple(reader.problems), tuple(reader.notices)
    return PreviewRow(row.number, row.cells, does, value, problems, notices)


def _require_heads(reader: RowReader, row: SheetRow, header: SheetRow) -> None:
    """Note cells that stand under no head: a separator too many shifts all that follow."""
    heads = sum(1 for head in header.cells if head.strip())
    if len(row.cells) > len(header.cells):
        what = f"the row has {len(row.cells)} cells, the head {len(header.cells)}"
    elif any(
        text.strip() and not head.strip()
        for text, head in zip(row.cells, header.cells, strict=False)
    ):
        what = f"a cell stands under none of the {heads} heads"
    else:
        return
    reader.fail(None, what, "Head every column, and look for a comma too many in this row.")


def _without_doubles(rows: tuple[PreviewRow, ...], where: str) -> tuple[PreviewRow, ...]:
    """Mark rows that do what an earlier row does already."""
    seen: dict[tuple[object, ...], int] = {}
    marked = []
    for row in rows:
        place = f"{where}, row {row.number}"
        doubles = tuple(
            Problem(
                f"{key[0]} stands in row {earlier} already",
                place,
                f"Leave one of the rows {earlier} and {row.number}.",
            )
            for key in _keys_of(row.value)
            if (earlier := seen.setdefault(key, row.number)) != row.number
        )
        marked.append(replace(row, does=None, value=None, problems=doubles) if doubles else row)
    return tuple(marked)


def _keys_of(value: Value | None) -> list[tuple[object, ...]]:
    """Give what no two rows may share: each in words, and what tells it apart."""
    match value:
        case PartValue():
            return [(f"tag {value.tag}",), ("this position", value.unit, value.position)]
        case FindingValue():
            return [("the same finding", value.unit, value.content, value.done_at)]
        case MeasurementValue():
            return [
                ("the same reading", value.unit, value.check, value.reading, value.done_at),
            ]
        case InstrumentValue():
            return [(f"instrument {value.record.id}",)]
        case None:
            return []
