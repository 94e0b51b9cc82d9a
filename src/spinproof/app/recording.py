"""Record runs from a stand, take foreign traces in, and recover what a crash left behind."""

import contextlib
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from spinproof.app.clock import rfc3339, utc_now
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import DocumentError
from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.program import Program
from spinproof.model.recipe import Recipe
from spinproof.model.run import Purpose, RunHeader
from spinproof.model.software import SOFTWARE
from spinproof.model.stream import SourceKind, StreamSpec
from spinproof.model.trace import Trace
from spinproof.record.disk_room import require_room
from spinproof.record.imports import import_table, table_kind
from spinproof.record.journal import SUFFIX
from spinproof.record.recorder import Pace, record_run
from spinproof.record.recorder import Progress as Progress
from spinproof.record.recovery import Recovery, recover_journals
from spinproof.record.sources.factory import source_of
from spinproof.record.stand import ModbusStand
from spinproof.record.trace_file import seal_journal

OnProgress = Callable[[Progress], None]


@dataclass(frozen=True)
class StandAddress:
    """Where a test stand answers."""

    host: str
    port: int


@dataclass(frozen=True)
class RunOrder:
    """What is to be recorded."""

    run: str
    purpose: Purpose
    recipe: Recipe
    head: HeadSpec
    load: Load
    channels: ChannelMap
    configuration: str | None = None
    """Configuration fingerprint, when the ledger knows one."""
    keys: Path | None = None
    """Folder of our own certificate, for OPC UA servers that the map pins."""


def record(
    order: RunOrder,
    address: StandAddress | None,
    journals: Path,
    traces: Path,
    *,
    program: Program | None = None,
    on_progress: OnProgress | None = None,
    pace: Pace | None = None,
    stop: Callable[[], bool] | None = None,
) -> Trace:
    """Record one run and seal it; every live stream of the channel map is recorded with it.

    Parameters
    ----------
    order : RunOrder
        What is to be recorded.
    address : StandAddress or None
        The stand, or None when the map holds streams alone.
    journals, traces : Path
        Folders of the journal while recording, and of the sealed trace.
    program : Program, optional
        What a simulated stand is told to execute; a real one is only ever read.
    on_progress : callable, optional
        Is called with the state of the recording a few times a second.
    pace : Pace, optional
        How often and how patiently to ask.
    stop : callable, optional
        Tells that the run is over; needed where no stand and no channel of the step tells it.

    Returns
    -------
    Trace
        The sealed trace; its ending says whether the run came to its end.

    Raises
    ------
    StandError
        If the stand or a source cannot be reached, is another head, or refuses the program.
    DocumentError
        If there is neither a stand nor a live stream.
    """
    live = [s for s in order.channels.streams if s.source is not SourceKind.FILE]
    if address is None and not live:
        raise DocumentError(
            "without a stand the map names nothing to record",
            where=f"channel map {order.channels.name}",
            mend="Add a live stream to the map, or name the stand.",
        )
    journal = journals / f"{order.run}{SUFFIX}"
    with contextlib.ExitStack() as stack:
        stand = None
        source, identity, simulated = "streams", _names(live), False
        if address is not None:
            stand = stack.enter_context(ModbusStand(address.host, address.port, order.channels))
            source, identity, simulated = "modbus-tcp", stand.identity, stand.simulated
        header = _header(order, source=source, identity=identity, simulated=simulated)
        require_room(journals, header)
        record_run(
            stand,
            header,
            journal,
            sources=[source_of(stream, order.channels, keys=order.keys) for stream in live],
            stop=stop,
            program=program,
            on_progress=on_progress,
            pace=pace,
        )
    return seal_journal(journal, traces)


def _names(streams: Sequence[StreamSpec]) -> str:
    return "streams " + ", ".join(stream.name for stream in streams)


def patient(seconds: float) -> Pace:
    """Give the pace of a recorder that waits so long for a stand that went away."""
    pauses: list[float] = []
    for pause in itertools.chain((0.0, 0.5, 1.0, 2.0), itertools.repeat(5.0)):
        if sum(pauses) + pause > seconds:
            break
        pauses.append(pause)
    return Pace(reconnect_s=tuple(pauses))


def service_stand(address: StandAddress, channels: ChannelMap) -> None:
    """Put the wear of a simulated head back to new."""
    with ModbusStand(address.host, address.port, channels) as stand:
        stand.service()


def take_in_table(path: Path, order: RunOrder, traces: Path) -> Trace:
    """Take in a trace that was recorded elsewhere, as CSV, Parquet, TDMS or MDF 4.

    Raises
    ------
    TraceError
        If the file does not hold what the channel map promises.
    """
    header = _header(order, source=table_kind(path), identity=f"file {path.name}", simulated=False)
    return import_table(path, header, traces)


def recover(journals: Path, traces: Path) -> tuple[Recovery, ...]:
    """Seal every journal that a crash left behind; its run is marked interrupted."""
    return recover_journals(journals, traces)


def _header(order: RunOrder, *, source: str, identity: str, simulated: bool) -> RunHeader:
    return RunHeader(
        run=order.run,
        purpose=order.purpose,
        recipe=order.recipe,
        head=order.head,
        load=order.load,
        channel_map=order.channels,
        started_at=rfc3339(utc_now()),
        source=source,
        stand_identity=identity,
        simulated=simulated,
        recorder_version=SOFTWARE,
        configuration=order.configuration,
    )
