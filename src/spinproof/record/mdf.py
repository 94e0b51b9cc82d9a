"""MDF 4 files, read by the channel map's names; needs the optional extra ``sources``."""

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from traceback import walk_tb
from typing import Any

import numpy as np

from spinproof.files.durable import storage_errors
from spinproof.model.errors import TraceError
from spinproof.record.groups import (
    Floats,
    Group,
    header_cell,
    join_groups,
    load_reader,
    numbers,
    reading,
)
from spinproof.record.tables import TIME, Table, check_unit, split_cell

_KIND = "MDF"
_OPEN_ENDED = b"UnFinMF "
_START = 64 + 104
"""Bytes of the identification and header blocks (ASAM MDF 4)."""
_BY_TIME = 1
"""A master channel that counts time, in seconds (ASAM MDF 4, cn_sync_type)."""


def is_mdf(path: Path) -> bool:
    """Tell whether a file is MDF, of any version and finished or not, by its first bytes."""
    with storage_errors(path), path.open("rb") as file:
        return file.read(8) in {b"MDF     ", _OPEN_ENDED}


def read_mdf(path: Path, names: Collection[str]) -> Table:
    """Read the named channels of an MDF 4 file.

    Parameters
    ----------
    path : Path
        The file.
    names : collection of str
        Channels that are wanted, without units; others are left out unread.

    Returns
    -------
    Table
        Their columns; see `join_groups` for channels of different rates. Values that the file
        calls invalid are missing readings.

    Raises
    ------
    TraceError
        If it cannot be read, is of another version, is not finished, or asammdf is not installed.
    """
    _check_start(path)
    asammdf = load_reader(path, _KIND, "asammdf")
    with (
        reading(path, _KIND),
        path.open("rb") as data,
        _quiet_failure(),
        asammdf.MDF(data) as file,
    ):
        count = len(file.groups)
        groups = [each for at in range(count) for each in _groups(file, at, names, path)]
        return join_groups(path, groups)


@contextmanager
def _quiet_failure() -> Iterator[None]:
    """Close the half-built reader of a damaged file; its finalizer alone would fail, noisily."""
    try:
        yield
    except Exception as error:
        for frame, _ in walk_tb(error.__traceback__):
            reader: Any = frame.f_locals.get("self")
            if hasattr(reader, "_tempfile"):
                vars(reader).setdefault("header", None)  # its closing deletes these two
                vars(reader).setdefault("identification", None)
                reader.close()
        raise


def _check_start(path: Path) -> None:
    with storage_errors(path), path.open("rb") as file:
        start = file.read(_START)
    version = start[8:16].decode("ascii", "replace").strip("\0 ")
    if start[:8] == _OPEN_ENDED:
        what = "the MDF file was not finished by its recorder"
    elif not version.startswith("4."):
        what = f'the MDF file is of version "{version}", not 4'
    elif len(start) < _START or start[64:68] != b"##HD":
        what = "the MDF file is cut off or damaged at its start"
    else:
        return
    raise TraceError(
        what,
        where=str(path),
        mend="Take the original file again; if it is whole, finish or convert it to MDF 4 first.",
    )


def _groups(file: Any, at: int, names: Collection[str], path: Path) -> Iterator[Group]:
    channels, master = file.groups[at].channels, file.masters_db.get(at)
    chosen = [
        index
        for index, channel in enumerate(channels)
        if index != master and split_cell(channel.name)[0] in names
    ]
    if not chosen:
        return
    name = f"group {at + 1}"
    if master is None or channels[master].sync_type != _BY_TIME:
        raise TraceError(
            "the channels are not recorded over time",
            where=f"{path}, {name}",
            mend="Export them with time as their master channel.",
        )
    check_unit(path, TIME, channels[master].unit or "s", "s")
    time_s = numbers(file.get_master(at), TIME, path)
    yield Group(name, time_s, [_column(file, at, index, path) for index in chosen])


def _column(file: Any, at: int, index: int, path: Path) -> tuple[str, Floats]:
    signal = file.get(group=at, index=index, raw=True, ignore_invalidation_bits=True)
    signal = signal.physical(ignore_value2text_conversions=True)
    cell = header_cell(path, signal.name, signal.unit)
    values = numbers(signal.samples, cell, path)
    if signal.invalidation_bits is not None:
        values = np.where(signal.invalidation_bits, np.nan, values)
    return cell, values
