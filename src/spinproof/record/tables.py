"""Tables of other programs, read strictly: nothing is guessed, every refusal names its place."""

import csv
import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Self

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from spinproof.files.durable import storage_errors
from spinproof.model.errors import TraceError, UnitError

TIME = "time"
"""Name of the column that says when."""
_HEADER_CELL = re.compile(r"(?P<name>.*?)\s*(\[(?P<unit>[^\[\]]*)\])?\s*")
_EXPORT = "Export it anew: comma between cells, point in numbers, one header line, UTF-8."
_NUMBER = re.compile(
    r"([+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?(nan|inf))?", re.IGNORECASE | re.ASCII
)
"""Also an empty cell, and the two words by which instruments say that they have no reading."""


@dataclass(frozen=True, eq=False)
class Column:
    """One column of a table.

    Attributes
    ----------
    values : ndarray
        The numbers; NaN where the cell is empty or says so.
    empty : ndarray of bool
        Where the cell is empty.
    """

    values: NDArray[np.float64]
    empty: NDArray[np.bool_]

    def where(self, chosen: NDArray[np.bool_]) -> Self:
        """Give the chosen rows alone."""
        return type(self)(self.values[chosen], self.empty[chosen])


@dataclass(frozen=True, eq=False)
class Table:
    """A table of numbers.

    Attributes
    ----------
    path : Path
        Where it comes from.
    names : sequence of str
        The header cells, as they stand there.
    places : sequence of str
        What each row is called in messages, for example "line 2".
    read : callable
        Gives a column by its header cell; raises TraceError when a cell is no number.
    """

    path: Path
    names: Sequence[str]
    places: Sequence[str]
    read: Callable[[str], Column]


def split_cell(cell: str) -> tuple[str, str | None]:
    """Split "name [unit]" into both; the unit is None where none is stated."""
    match = _HEADER_CELL.fullmatch(cell)
    return (match["name"], match["unit"]) if match else (cell, None)


def check_unit(path: Path, name: str, unit: str | None, expected: str) -> None:
    """Refuse a column in another unit than expected, or in none.

    Raises
    ------
    UnitError
        Naming both units.
    """
    if unit != expected:
        found = "states no unit" if unit is None else f'is in "{unit}"'
        raise UnitError(
            f'the column "{name}" {found}; the channel map reads it in "{expected}"',
            where=f"{path}, header",
            mend=f'Export it as "{name} [{expected}]", or correct the unit in the channel map.',
        )


def check_rises(time_s: NDArray[np.float64], place: Callable[[int], str]) -> None:
    """Refuse a time that is missing or does not rise.

    Raises
    ------
    TraceError
        Naming the place.
    """
    wrong = ~np.isfinite(time_s) | (np.diff(time_s, prepend=-np.inf) <= 0)
    if wrong.any():
        at = int(np.argmax(wrong))
        raise TraceError(
            f"the time does not rise: {time_s[at]:g} s follows {time_s[at - 1]:g} s"
            if at and np.isfinite(time_s[at])
            else "the time is missing",
            where=place(at),
            mend="Export the rows in the order of their time, each with its own.",
        )


def is_parquet(path: Path) -> bool:
    """Tell whether a file is Parquet, by its first bytes.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    bool
        True for Parquet.
    """
    with storage_errors(path), path.open("rb") as file:
        return file.read(4) == b"PAR1"


def read_csv(path: Path) -> Table:
    """Read a table of comma-separated numbers.

    Parameters
    ----------
    path : Path
        A text file in UTF-8, with one header line.

    Returns
    -------
    Table
        Its columns.

    Raises
    ------
    TraceError
        If it is empty, or is not such a table; the message names the line.
    """
    lines = _split(_text(path), path)
    header = [cell.strip() for cell in lines[0][1]] if lines else []
    _check_header(header, path)
    for number, row in lines[1:]:
        if len(row) != len(header):
            raise TraceError(
                f"the line has {len(row)} cells, the header {len(header)}",
                where=f"{path}, line {number}",
                mend="Mend that line; a comma inside a number also splits it in two.",
            )
    places = [f"line {number}" for number, _ in lines[1:]]

    def read(name: str) -> Column:
        at = header.index(name)
        return _numbers([row[at].strip() for _, row in lines[1:]], places, path)

    return Table(path, header, places, read)


def read_parquet(path: Path) -> Table:
    """Read a Parquet table of numbers.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Table
        Its columns.

    Raises
    ------
    TraceError
        If it cannot be read, or two columns share a name.
    """
    try:
        with storage_errors(path):
            table = pq.read_table(pa.BufferReader(path.read_bytes()))
        names = list(table.column_names)
    except (pa.ArrowException, ValueError) as error:
        raise TraceError(
            f"the Parquet file cannot be read: {str(error).partition(chr(10))[0]}",
            where=str(path),
            mend="Take the original file again.",
        ) from error
    _check_header(names, path)

    def read(name: str) -> Column:
        column = table[name]
        if not (pa.types.is_integer(column.type) or pa.types.is_floating(column.type)):
            raise TraceError(
                f"the column {name} holds {column.type}, not numbers",
                where=str(path),
                mend="Export that column as numbers.",
            )
        numbers = column.cast(pa.float64(), safe=False)
        return Column(numbers.fill_null(np.nan).to_numpy(), column.is_null().to_numpy())

    return Table(path, names, [f"row {i + 1}" for i in range(table.num_rows)], read)


def _text(path: Path) -> str:
    with storage_errors(path):
        data = path.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise TraceError(
            "the file is not text in UTF-8", where=f"{path}, line {line}", mend=_EXPORT
        ) from error
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise TraceError(
            "the file holds zero bytes: it is no text", where=f"{path}, line {line}", mend=_EXPORT
        )
    return text


def _check_header(header: Sequence[str], path: Path) -> None:
    if not any(header):
        raise TraceError("the file has no header line", where=str(path), mend=_EXPORT)
    if len(header) == 1 and (";" in header[0] or "\t" in header[0]):
        raise TraceError(
            "the cells are not separated by commas", where=f"{path}, line 1", mend=_EXPORT
        )
    check_names(header, f"{path}, line 1")


def check_names(names: Sequence[str], where: str) -> None:
    """Refuse two columns of one name.

    Raises
    ------
    TraceError
        Naming the column.
    """
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise TraceError(
            f"two columns are called {twice[0]}",
            where=where,
            mend="Give each column a name of its own.",
        )


def _split(text: str, path: Path) -> list[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        return [(reader.line_num, row) for row in reader if row]
    except csv.Error as error:
        raise TraceError(
            f"the line cannot be split into cells: {error}",
            where=f"{path}, line {reader.line_num}",
            mend=_EXPORT,
        ) from error


def _numbers(cells: Sequence[str], places: Sequence[str], path: Path) -> Column:
    odd = next((i for i, cell in enumerate(cells) if not _NUMBER.fullmatch(cell)), None)
    if odd is not None:
        raise TraceError(
            f'"{cells[odd][:40]}" is no number', where=f"{path}, {places[odd]}", mend=_EXPORT
        )
    values = np.array([float(cell or "nan") for cell in cells], dtype=np.float64)
    return Column(values, np.array([not cell for cell in cells], dtype=np.bool_))
