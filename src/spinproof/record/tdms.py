"""TDMS files, read by the channel map's names; needs the optional extra ``sources``."""

from collections.abc import Collection, Iterator
from pathlib import Path
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

_KIND = "TDMS"
_UNIT = "unit_string"


def is_tdms(path: Path) -> bool:
    """Tell whether a file is TDMS, by its first bytes."""
    with storage_errors(path), path.open("rb") as file:
        return file.read(4) == b"TDSm"


def read_tdms(path: Path, names: Collection[str]) -> Table:
    """Read the named channels of a TDMS file.

    Parameters
    ----------
    path : Path
        The file.
    names : collection of str
        Channels that are wanted, without units; others are left out unread.

    Returns
    -------
    Table
        Their columns; see `join_groups` for channels of different rates.

    Raises
    ------
    TraceError
        If it cannot be read, is cut off, states no time, or nptdms is not installed.

    Notes
    -----
    The time is a channel "time [s]" of the same group, else each channel's waveform properties.
    """
    nptdms = load_reader(path, _KIND, "nptdms")
    with reading(path, _KIND), path.open("rb") as data, nptdms.TdmsFile(data) as file:
        if file.file_status.incomplete_final_segment:
            raise TraceError(
                "the TDMS file is cut off: its last segment is not whole",
                where=str(path),
                mend="Take the original file again, or end the recording before copying it.",
            )
        groups = [each for group in file.groups() for each in _groups(group, names, path)]
        return join_groups(path, _on_one_start(groups, path))


def _groups(group: Any, names: Collection[str], path: Path) -> Iterator[tuple[Group, Any]]:
    chosen = [c for c in group.channels() if split_cell(c.name)[0] in names]
    times = [c for c in group.channels() if split_cell(c.name)[0] == TIME]
    shared = _time_channel(times[0], path) if chosen and times else None
    for channel in chosen:
        cell = header_cell(path, channel.name, channel.properties.get(_UNIT))
        values = numbers(channel[:], cell, path)
        time_s, start = _waveform(channel, path) if shared is None else (shared, None)
        if time_s.size != values.size:
            raise TraceError(
                f"the column {cell} has {values.size} samples, its time {time_s.size}",
                where=f"{path}, {group.name}",
                mend="Export each group with one time for all its channels.",
            )
        yield Group(group.name, time_s, [(cell, values)]), start


def _time_channel(channel: Any, path: Path) -> Floats:
    cell = header_cell(path, channel.name, channel.properties.get(_UNIT))
    check_unit(path, *split_cell(cell), "s")
    return numbers(channel[:], cell, path)


def _waveform(channel: Any, path: Path) -> tuple[Floats, Any]:
    said = channel.properties
    if "wf_increment" not in said:
        raise TraceError(
            f"{channel.name} states no time",
            where=f"{path}, {channel.group_name}",
            mend='Export it as a waveform, or with a channel "time [s]" in its group.',
        )
    check_unit(path, TIME, said.get("wf_xunit_string") or "s", "s")
    time_s = said.get("wf_start_offset", 0.0) + said["wf_increment"] * np.arange(len(channel))
    return time_s, said.get("wf_start_time")


def _on_one_start(groups: Collection[tuple[Group, Any]], path: Path) -> list[Group]:
    starts = [start for _, start in groups if start is not None]
    if not starts:
        return [group for group, _ in groups]
    if len(starts) < len(groups):
        raise TraceError(
            "some channels state when they start, others do not",
            where=str(path),
            mend="Export all channels as waveforms, each with its start.",
        )
    first = min(starts)
    return [
        Group(
            group.name,
            group.time_s + float((start - first) / np.timedelta64(1, "ns")) * 1e-9,
            group.columns,
        )
        for group, start in groups
    ]
