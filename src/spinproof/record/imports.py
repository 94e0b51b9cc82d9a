"""Traces that were recorded elsewhere: tables, measurement files, sealed traces of our own.

A column is called "name [unit]", by the channel map's own names and units; the time, "time [s]".
Further columns are left out. Readings are kept as they stand there; counters and bits stay whole.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from spinproof.files.durable import storage_errors, write_durably
from spinproof.model.channel import Channel, CountType, Role
from spinproof.model.errors import TraceError
from spinproof.model.run import Ending, Incident, IncidentKind, RunHeader
from spinproof.model.trace import Signal, Trace
from spinproof.record.blocks import count_type
from spinproof.record.incidents import find_channel_incidents, find_time_gaps
from spinproof.record.mdf import is_mdf, read_mdf
from spinproof.record.tables import (
    TIME,
    Column,
    Table,
    check_rises,
    check_unit,
    is_parquet,
    read_csv,
    read_parquet,
    split_cell,
)
from spinproof.record.tdms import is_tdms, read_tdms
from spinproof.record.trace_file import (
    SUFFIX,
    Summary,
    is_sealed,
    read_trace,
    write_trace,
)

_WHOLE = {
    Role.TACH_COUNT,
    Role.TACH_EDGE,
    Role.OPTICAL_COUNT,
    Role.OPTICAL_EDGE,
    Role.STEP,
    Role.STATUS,
}
_INTEGERS = {"u", "i"}
_RATE_TOLERANCE = 0.05


def import_table(path: Path, header: RunHeader, folder: Path) -> Trace:
    """Take in a trace that was recorded elsewhere, and seal it.

    Parameters
    ----------
    path : Path
        A CSV or Parquet table, a TDMS or MDF 4 file, or a sealed trace; told by content.
    header : RunHeader
        What is known about the run; its channel map names the columns and their units.
    folder : Path
        Where the sealed trace goes, under its own SHA-256.

    Returns
    -------
    Trace
        The sealed trace. One that was sealed before stays as it was, its ending included.

    Notes
    -----
    TraceError and UnitError name the column, and the line where there is one; nothing is stored
    then.
    """
    if is_parquet(path) and is_sealed(path):
        return _take_in(path, header, folder)
    return _seal_table(_read_table(path, header), header, folder)


def table_kind(path: Path) -> str:
    """Tell what a file is by its first bytes: tdms, mdf, parquet, else csv."""
    kinds = {"tdms": is_tdms, "mdf": is_mdf, "parquet": is_parquet}
    return next((kind for kind, fits in kinds.items() if fits(path)), "csv")


def _read_table(path: Path, header: RunHeader) -> Table:
    names = {channel.name for channel in header.channel_map.channels}
    match table_kind(path):
        case "tdms":
            return read_tdms(path, names)
        case "mdf":
            return read_mdf(path, names)
        case "parquet":
            return read_parquet(path)
        case _:
            return read_csv(path)


def _take_in(path: Path, header: RunHeader, folder: Path) -> Trace:
    trace = read_trace(path, named=False)
    for what, sealed, expected in (
        ("head", _head_of(trace.header), _head_of(header)),
        ("recipe", _recipe_of(trace.header), _recipe_of(header)),
    ):
        if sealed != expected:
            raise TraceError(
                f"the trace was sealed for {what} {sealed}, not for {expected}",
                where=str(path),
                mend=f"Import it for {sealed}, or take the file that belongs to {expected}.",
            )
    with storage_errors(path):
        data = path.read_bytes()
    write_durably(folder / (trace.sha256 + SUFFIX), data)
    return read_trace(folder / (trace.sha256 + SUFFIX))


def _head_of(header: RunHeader) -> str:
    return header.head.designation


def _recipe_of(header: RunHeader) -> str:
    return f"{header.recipe.name} revision {header.recipe.revision}"


def _seal_table(table: Table, header: RunHeader, folder: Path) -> Trace:
    channels = header.channel_map.channels
    cells = _match_columns(table, channels)
    fastest_hz = max(channel.sample_rate_hz for channel in channels)
    time_s = _read_time(table, cells[TIME], fastest_hz)
    signals: dict[str, Signal] = {}
    incidents = list(find_time_gaps(time_s, 1 / fastest_hz))
    for channel in channels:
        column, time = table.read(cells[channel.name]), time_s
        if channel.sample_rate_hz < fastest_hz:  # between its samples, its cells are empty
            time, column = time[~column.empty], column.where(~column.empty)
        if channel.role in _WHOLE and count_type(channel).kind in _INTEGERS:
            signals[channel.name] = _whole_signal(channel, time, column, table)
            incidents += _lost_counts(channel, time, column)
        else:
            signals[channel.name] = Signal(_engineering(channel), time, column.values)
    incidents += find_channel_incidents(signals, header.head)
    summary = Summary(
        header=_with_channels(header, signals),
        incidents=tuple(sorted(incidents, key=lambda incident: incident.time_s)),
        ending=Ending.IMPORTED,
    )
    return write_trace(summary, signals, folder)


def _with_channels(header: RunHeader, signals: Mapping[str, Signal]) -> RunHeader:
    channels = tuple(signal.channel for signal in signals.values())
    channel_map = header.channel_map.model_copy(update={"channels": channels})
    return header.model_copy(update={"channel_map": channel_map})


def _engineering(channel: Channel) -> Channel:
    """Describe a channel whose readings are stored in its unit, not as counts."""
    plain = {"type": CountType.F64, "scale": 1.0, "offset": 0.0, "missing": None}
    return channel.model_copy(update=plain)


def _match_columns(table: Table, channels: Sequence[Channel]) -> dict[str, str]:
    wanted = {TIME: "s"} | {channel.name: channel.unit for channel in channels}
    cells: dict[str, str] = {}
    for cell in table.names:
        name, unit = split_cell(cell)
        if name in wanted:
            check_unit(table.path, name, unit, wanted[name])
            cells[name] = cell
    absent = [f'"{name} [{unit}]"' for name, unit in wanted.items() if name not in cells]
    if absent:
        raise TraceError(
            f"the table lacks {', '.join(absent[:5])}{' and more' if len(absent) > 5 else ''}",
            where=f"{table.path}, header",
            mend="Export these columns too, or import with a channel map that does without them.",
        )
    return cells


def _read_time(table: Table, cell: str, rate_hz: float) -> NDArray[np.float64]:
    if len(table.places) < 2:
        raise TraceError(
            "the trace is empty: it has fewer than two rows",
            where=str(table.path),
            mend="Export the rows as well as the header.",
        )
    time_s = table.read(cell).values
    check_rises(time_s, lambda at: f"{table.path}, {table.places[at]}")
    step_s = float(np.median(np.diff(time_s)))
    if abs(step_s * rate_hz - 1) > _RATE_TOLERANCE:
        raise TraceError(
            f"the rows are {step_s:g} s apart, the channel map says {1 / rate_hz:g} s",
            where=str(table.path),
            mend="Correct sample_rate_hz in the channel map, or export at that rate.",
        )
    return np.asarray(time_s - time_s[0])


def _whole_signal(
    channel: Channel, time_s: NDArray[np.float64], column: Column, table: Table
) -> Signal:
    present = np.isfinite(column.values)
    counts = (column.values[present] - channel.offset) / channel.scale
    limits = np.iinfo(count_type(channel))
    wrong = (counts != np.rint(counts)) | (counts < limits.min) | (counts > limits.max)
    if wrong.any():
        value = column.values[present][wrong][0]
        raise TraceError(
            f"{channel.name} is {value:g}: a counter of type {channel.type} holds whole numbers "
            f"from {limits.min} to {limits.max}",
            where=f"{table.path}, at {time_s[present][wrong][0]:g} s",
            mend="Export the counter itself, not a value computed from it.",
        )
    return Signal(channel, time_s[present], counts.astype(limits.dtype))


def _lost_counts(channel: Channel, time_s: NDArray[np.float64], column: Column) -> list[Incident]:
    absent = ~np.isfinite(column.values)
    if not absent.any():
        return []
    count = int(np.count_nonzero(absent))
    return [
        Incident(
            kind=IncidentKind.MISSING,
            time_s=float(time_s[absent][0]),
            size=count,
            channel=channel.name,
            text=f"missing readings in {channel.name}: {count}",
        )
    ]
