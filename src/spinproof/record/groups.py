"""Channels that were sampled at different rates, brought onto the rows of one table."""

import logging
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spinproof.model.errors import SpinproofError, TraceError, UnitError
from spinproof.record.tables import TIME, Column, Table, check_names, check_rises, split_cell

_ON_ROW = 0.05
"""Part of the rows' distance by which a sample may lie beside its row."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Group:
    """Channels of one file that were sampled together.

    Attributes
    ----------
    name : str
        What the file calls it.
    time_s : ndarray
        When. [s]
    columns : sequence of pairs
        Header cell "name [unit]" and values of each channel.
    """

    name: str
    time_s: Floats
    columns: Sequence[tuple[str, Floats]]


@contextmanager
def reading(path: Path, kind: str) -> Iterator[None]:
    """Turn whatever a library raises over a damaged file into a TraceError.

    Raises
    ------
    TraceError
        If the file is damaged.
    SpinproofError
        If the file was refused, as it was.
    """
    try:
        yield
    except SpinproofError:
        raise
    except Exception as error:  # a damaged file makes these libraries raise anything at all
        reason = str(error).partition("\n")[0] or type(error).__name__
        raise TraceError(
            f"the {kind} file cannot be read: {reason}",
            where=str(path),
            mend="Take the original file again.",
        ) from error


def load_reader(path: Path, kind: str, package: str) -> Any:
    """Import a package of the optional extra, once a file needs it.

    Raises
    ------
    TraceError
        If it is not installed; the message says how to install it.
    """
    try:
        reader = import_module(package)
    except ImportError as error:
        raise TraceError(
            f"reading {kind} needs the package {package}, which is not installed",
            where=str(path),
            mend='Install it with: pip install "spinproof[sources]".',
        ) from error
    for name in list(logging.root.manager.loggerDict):
        if name.partition(".")[0] == package:
            logging.getLogger(name).setLevel(logging.CRITICAL)  # our own errors say it
    return reader


def header_cell(path: Path, name: str, unit: str | None) -> str:
    """Give "name [unit]" of a channel that states its unit in its name, beside it, or in both.

    Raises
    ------
    UnitError
        If the two contradict each other.
    """
    plain, stated = split_cell(name)
    if stated and unit and stated != unit:
        raise UnitError(
            f'the channel "{plain}" is in "{stated}" by its name, in "{unit}" by its properties',
            where=str(path),
            mend="Export it anew, with one unit.",
        )
    return f"{plain} [{stated or unit}]" if stated or unit else plain


def numbers(values: ArrayLike, cell: str, path: Path) -> Floats:
    """Give the values of a channel as numbers.

    Raises
    ------
    TraceError
        If they are none.
    """
    array = np.asarray(values)
    if array.ndim != 1 or array.dtype.kind not in "iuf":
        raise TraceError(
            f"the column {cell} holds {array.dtype}, not numbers",
            where=str(path),
            mend="Export that column as numbers.",
        )
    return np.asarray(array, dtype=np.float64)


def join_groups(path: Path, groups: Collection[Group]) -> Table:
    """Bring channels of different rates onto the rows of the fastest.

    Parameters
    ----------
    path : Path
        Where they come from.
    groups : collection of Group
        The channels.

    Returns
    -------
    Table
        One row for each instant of the fastest group, and for those of others where it has a gap;
        a cell is empty where its channel has no sample then.

    Raises
    ------
    TraceError
        If a time does not rise, a channel comes twice, or a sample lies between two rows.
    """
    time_cell = f"{TIME} [s]"
    check_names([cell for group in groups for cell, _ in group.columns], str(path))
    for group in groups:
        _check_rises(group, path)
    fastest_first = sorted(groups, key=lambda group: _step(group.time_s))
    rows = fastest_first[0].time_s if fastest_first else np.empty(0)
    step_s = _step(rows)
    for group in fastest_first[1:]:
        rows = _with_rows_of(group, rows, step_s, path)
    kept = {cell: (group.time_s, values) for group in groups for cell, values in group.columns}

    def read(name: str) -> Column:
        time_s, values = kept.get(name, (rows, rows))
        spread = np.full(rows.size, np.nan)
        empty = np.ones(rows.size, dtype=np.bool_)
        at = _nearest(rows, time_s) if time_s.size else np.empty(0, dtype=np.intp)
        spread[at], empty[at] = values, False
        return Column(spread, empty)

    return Table(path, [time_cell, *kept], [f"row {i + 1}" for i in range(rows.size)], read)


def _check_rises(group: Group, path: Path) -> None:
    check_rises(group.time_s, lambda at: f"{path}, {group.name}, sample {at + 1}")


def _step(time_s: Floats) -> float:
    return float(np.median(np.diff(time_s))) if time_s.size > 1 else np.inf


def _nearest(rows: Floats, time_s: Floats) -> NDArray[np.intp]:
    after = np.clip(np.searchsorted(rows, time_s), 1, max(rows.size - 1, 1))
    if rows.size == 1:
        return np.zeros(time_s.size, dtype=np.intp)
    return after - (time_s - rows[after - 1] < rows[after] - time_s)


def _with_rows_of(group: Group, rows: Floats, step_s: float, path: Path) -> Floats:
    """Add rows for samples in a gap of the rows, before or after them.

    Raises
    ------
    TraceError
        If a sample lies beside a row.
    """
    time_s = group.time_s
    if not time_s.size or np.array_equal(time_s, rows):
        return rows
    if not rows.size:
        return time_s
    at = _nearest(rows, time_s)
    beside = np.abs(time_s - rows[at]) / step_s
    outside = beside >= 1 - _ON_ROW
    astray = (beside > _ON_ROW) & ~outside
    astray |= ~outside & (np.diff(at, prepend=-1) == 0) & np.r_[False, ~outside[:-1]]
    if astray.any():
        first = int(np.argmax(astray))
        raise TraceError(
            f"a sample at {time_s[first]:g} s lies between the rows, which are {step_s:g} s apart",
            where=f"{path}, {group.name}, sample {first + 1}",
            mend="Export all channels on one clock, the slower ones at a whole part of the rate.",
        )
    return np.sort(np.concatenate((rows, time_s[outside])))
