"""A sheet as rows of text, and what no sheet may hold, whatever file it comes from."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from spinproof.model.errors import SheetError

ROW_LIMIT = 20_000
COLUMN_LIMIT = 200
CELL_LIMIT = 4_000
"""Characters in a cell."""
NAMED = 5
"""So many cells are named in a message; more are counted."""

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
_FORMULA = re.compile(r"\s*(?:[=@＝＠]|[+\-＋－](?:[A-Za-z(=@$'\"]|[^|]*\|))")
"""What a spreadsheet would run. A sign before a number or a blank is no formula."""
_COMMA = re.compile(r"[+-]?\d+,\d+(?!\d*[.,]\d)(\s*[^\d\s,.].*)?")
_POINT = re.compile(r"[+-]?\d+\.\d+(?!\d*[.,]\d)(\s*[^\d\s,.].*)?")


@dataclass(frozen=True)
class SheetRow:
    """A row with its number, as a spreadsheet shows it; blank cells at its end are left out."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """The rows of a sheet that hold something, in order."""

    name: str
    rows: tuple[SheetRow, ...]
    notices: tuple[str, ...] = ()
    """What the reader understood, for a person to see before anything is done with the rows."""


def column_name(column: int) -> str:
    """Name a column by its place, counted from 0.

    >>> column_name(0), column_name(26), column_name(701)
    ('A', 'AA', 'ZZ')
    """
    name, rest = "", column + 1
    while rest:
        rest, letter = divmod(rest - 1, 26)
        name = chr(ord("A") + letter) + name
    return name


def cell_name(row: int, column: int) -> str:
    """Name a cell by the number of its row and the place of its column.

    >>> cell_name(7, 2)
    'C7'
    """
    return f"{column_name(column)}{row}"


def build_sheet(
    name: str, rows: Iterable[SheetRow], where: str, notices: tuple[str, ...] = ()
) -> Sheet:
    """Check rows as they come and make a sheet of them.

    Parameters
    ----------
    name : str
        Name of the sheet.
    rows : iterable of SheetRow
        Its rows that hold something.
    where : str
        File and sheet, for messages.
    notices : tuple of str
        What the reader understood so far.

    Returns
    -------
    Sheet
        The sheet.

    Raises
    ------
    SheetError
        If it is too large, or a cell holds a formula or characters that are no text.
    """
    kept, formulas = [], []
    for row in rows:
        if row.number > ROW_LIMIT:
            raise SheetError(
                f"the sheet has more than {ROW_LIMIT} rows",
                where=where,
                mend="Cut it into several files.",
            )
        _require_size(row, where)
        formulas += [
            cell_name(row.number, column)
            for column, text in enumerate(row.cells)
            if _FORMULA.match(text)
        ]
        kept.append(row)
    refuse_formulas(formulas, where)
    return Sheet(name, tuple(kept), (*notices, *_decimal_marks(kept)))


def without_blank_end(texts: list[str]) -> tuple[str, ...]:
    """Leave out the blank cells at the end of a row.

    >>> without_blank_end(["", "T1", " ", ""])
    ('', 'T1')
    """
    end = len(texts)
    while end and not texts[end - 1].strip():
        end -= 1
    return tuple(texts[:end])


def refuse_formulas(cells: list[str], where: str) -> None:
    """Refuse a sheet with formulas.

    Parameters
    ----------
    cells : list of str
        Names of the cells that hold one.
    where : str
        File and sheet, for messages.

    Raises
    ------
    SheetError
        If there are any.
    """
    if cells:
        raise SheetError(
            f"formulas are not taken: {named(cells)}",
            where=where,
            mend="Copy the cells and paste them as values; begin text with another character.",
        )


def named(cells: list[str]) -> str:
    """Name the first cells of a list and count the rest.

    >>> named(["A1", "A2", "A3", "A4", "A5", "A6"])
    'A1, A2, A3, A4, A5 and 1 more'
    """
    rest = f" and {len(cells) - NAMED} more" if len(cells) > NAMED else ""
    return ", ".join(cells[:NAMED]) + rest


def _require_size(row: SheetRow, where: str) -> None:
    if len(row.cells) > COLUMN_LIMIT:
        raise SheetError(
            f"the row has {len(row.cells)} cells, more than {COLUMN_LIMIT}",
            where=f"{where}, row {row.number}",
            mend="Export the columns that are needed only.",
        )
    for column, text in enumerate(row.cells):
        if len(text) > CELL_LIMIT or _CONTROL.search(text):
            problem = "is longer than 4000 characters" if len(text) > CELL_LIMIT else "is no text"
            raise SheetError(
                f"the content of the cell {problem}",
                where=f"{where}, cell {cell_name(row.number, column)}",
                mend="Mend that cell, or leave it out.",
            )


def _decimal_marks(rows: list[SheetRow]) -> Iterator[str]:
    """Say how numbers are written, where that could be read in two ways."""
    commas = _first(rows, _COMMA)
    points = _first(rows, _POINT)
    if commas and points:
        yield f"numbers are written with a decimal comma ({commas}) and with a point ({points})"
    elif commas:
        yield f"numbers are written with a decimal comma ({commas})"


def _first(rows: list[SheetRow], pattern: re.Pattern[str]) -> str | None:
    for row in rows:
        for column, text in enumerate(row.cells):
            if pattern.fullmatch(text.strip()):
                return cell_name(row.number, column)
    return None
