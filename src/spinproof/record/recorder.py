"""Recording a run: from the stand's ring to the journal, block by block."""

import math
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from spinproof.files.lock import hold
from spinproof.model.channel import Role
from spinproof.model.errors import DocumentError, StandError
from spinproof.model.program import Program
from spinproof.model.recipe import Recipe
from spinproof.model.registers import StandState, Status
from spinproof.model.run import Ending, RunHeader
from spinproof.record.blocks import decode_signals, parse_block
from spinproof.record.journal import JournalWriter, Opening, SourceNotice
from spinproof.record.sources.source import Source
from spinproof.record.stand import ModbusStand, StandStatus
from spinproof.record.streams_inbox import StreamInbox

_RUN_TIME_FACTOR = 1.2
_STOP_TIME_S = 300.0
_START_S = 10.0
_BATCH = 100
_FAST_POLL_S = 0.002


@dataclass(frozen=True)
class Progress:
    """What a person sees while a run is recorded.

    Attributes
    ----------
    seconds : float
        Length of the trace so far. [s]
    step : int or None
        Step that the controller says it executes, if a channel tells it.
    speed_rpm : float or None
        Speed that the stand or the controller shows, if a channel tells it. [rpm]
    status : Status or None
        Digital inputs of the stand, if a channel tells them.
    blocks : int
        Blocks recorded so far.
    lost_blocks : int
        Blocks that the stand overwrote before they could be read.
    interruptions : int
        How often the connection was lost.
    stream_blocks, lost_stream_blocks : int
        Blocks of streams recorded so far, and left out because they came too fast.
    """

    seconds: float
    step: int | None
    speed_rpm: float | None
    status: Status | None
    blocks: int
    lost_blocks: int
    interruptions: int
    stream_blocks: int = 0
    lost_stream_blocks: int = 0


@dataclass(frozen=True)
class Pace:
    """How often the recorder asks and tells, and how long it is patient.

    Attributes
    ----------
    poll_s : float
        Pause between two questions when nothing new is there. [s]
    tell_s : float
        Pause between two progress reports. [s]
    silence_s : float
        How long a running stand may deliver nothing until it is given up. [s]
    start_within_s : float or None
        How long to wait for the run to begin, or None for as long as it takes. [s]
    reconnect_s : tuple of float
        Pauses before each attempt to reach a stand that went away. [s]
    """

    poll_s: float = 0.1
    tell_s: float = 0.25
    silence_s: float = 15.0
    start_within_s: float | None = None
    reconnect_s: tuple[float, ...] = (0.5, 1.0, 2.0, *[5.0] * 10)


def record_run(
    stand: ModbusStand | None,
    header: RunHeader,
    journal: Path,
    *,
    sources: Sequence[Source] = (),
    stop: Callable[[], bool] | None = None,
    program: Program | None = None,
    on_progress: Callable[[Progress], None] | None = None,
    pace: Pace | None = None,
) -> Ending:
    """Record one run into a journal.

    Parameters
    ----------
    stand : ModbusStand or None
        The connection to the head, or None when streams alone are recorded.
    header : RunHeader
        What is known about the run.
    journal : Path
        The journal to write; it must not hold anything yet.
    sources : sequence of Source
        What delivers the streams of the channel map; they are started and stopped here.
    stop : callable, optional
        Tells that the run is over. Without a stand, the run begins at once, or when a channel
        with the role of the step says that one is executed, and ends with it or by ``stop``.
    program : Program, optional
        What a simulated stand is told to do first; without it, the next run to begin, or the one
        that is going on, is followed.
    on_progress : callable, optional
        Is called with a `Progress` a few times a second.
    pace : Pace, optional
        How often and how patiently; sensible values when absent.

    Returns
    -------
    Ending
        How the recording ended; an interrupt (Ctrl-C) ends it tidily.

    Notes
    -----
    StandError says that the run could not be begun, StorageError that the disk failed: the
    journal then keeps what was recorded, and is sealed as interrupted at the next start.
    """
    pace = pace or Pace()
    inbox = StreamInbox(header.channel_map.streams)
    waits_for_step = stand is None and _tells_step(header)
    if stand is None and not waits_for_step:
        inbox.open()
    with _started(sources, header, inbox):
        if waits_for_step:
            _await_step(inbox, header, pace, stop)
        run_number = 0 if stand is None else _begin(stand, program, pace)
        inbox.open()
        layout = None if stand is None else stand.layout
        opening = Opening(header=header, run_number=run_number, layout=layout)
        with (
            hold(journal, f"run {header.run}"),
            JournalWriter(journal, opening, time.monotonic_ns()) as writer,
        ):
            inbox.write_to(writer)
            recording = _Recording(stand, opening, writer, pace, on_progress, inbox, stop)
            try:
                ending = recording.follow()
            except KeyboardInterrupt:
                ending = Ending.INTERRUPTED
            finally:
                _stop(sources)
                inbox.finish()
            inbox.raise_problem()
            writer.close(ending, time.monotonic_ns(), _notices(sources))
    return ending


def longest_run_s(recipe: Recipe) -> float:
    """Give the time after which a run can no longer be expected to end.

    Parameters
    ----------
    recipe : Recipe
        What the head executes.

    Returns
    -------
    float
        The recipe's own time with a margin, and time to coast, index and vent. [s]
    """
    return _RUN_TIME_FACTOR * recipe.process_time_s() + _STOP_TIME_S


class _Recording:
    """The state of a recording while it goes on."""

    def __init__(
        self,
        stand: ModbusStand | None,
        opening: Opening,
        writer: JournalWriter,
        pace: Pace,
        on_progress: Callable[[Progress], None] | None,
        inbox: StreamInbox,
        stop: Callable[[], bool] | None,
    ) -> None:
        self._stand = stand
        self._opening = opening
        self._writer = writer
        self._pace = pace
        self._on_progress = on_progress
        self._inbox = inbox
        self._stop = stop
        self._longest_s = longest_run_s(opening.header.recipe)
        self._next = 0
        self._blocks = 0
        self._lost = 0
        self._interruptions = 0
        self._latest: bytes | None = None
        self._began_s = self._told_s = self._heard_s = time.monotonic()

    def follow(self) -> Ending:
        """Read the run to its end, over interruptions of the connection."""
        pauses = iter(self._pace.reconnect_s)
        while True:
            self._inbox.raise_problem()
            try:
                ending = self._streams_alone() if self._stand is None else self._step(self._stand)
                pauses = iter(self._pace.reconnect_s)
            except StandError:
                self._interruptions += 1
                ending = None if self._reach_again(pauses) else Ending.STAND_LOST
            self._tell(always=ending is not None)
            if ending is not None:
                return ending

    def _step(self, stand: ModbusStand) -> Ending | None:
        if self._stop is not None and self._stop():
            return Ending.COMPLETE
        status = stand.status()
        if status.run_number != self._opening.run_number:
            return Ending.STAND_LOST  # it restarted, or another run has begun
        if status.blocks_written > self._next:
            return self._read_more(stand, status)
        if status.state is StandState.FINISHED:
            return Ending.COMPLETE
        return self._wait(fast=stand.wants_acknowledge)

    def _streams_alone(self) -> Ending | None:
        self._writer.keep_durable(time.monotonic_ns())
        over = self._stop is not None and self._stop()
        if over or self._inbox.latest().get(Role.STEP) == 0:
            return Ending.COMPLETE
        if self._seconds() > self._longest_s:
            return Ending.NEVER_FINISHED
        self._heard_s = max(self._heard_s, self._inbox.heard_ns / 1e9)
        return self._wait(fast=False)

    def _read_more(self, stand: ModbusStand, status: StandStatus) -> Ending | None:
        oldest = max(self._next, status.blocks_written - stand.ring_slots)
        self._lost += oldest - self._next
        self._next = oldest
        while self._next < min(status.blocks_written, oldest + _BATCH):
            self._take(stand.read_block(self._next))
        stand.acknowledge(self._next)
        self._heard_s = time.monotonic()
        running = status.state is StandState.RUNNING
        return Ending.NEVER_FINISHED if running and self._seconds() > self._longest_s else None

    def _take(self, payload: bytes | None) -> None:
        if payload is None:
            self._lost += 1
        else:
            self._writer.append_block(payload, time.monotonic_ns())
            self._blocks += 1
            self._latest = payload
        self._next += 1
        self._writer.keep_durable(time.monotonic_ns())
        self._tell()

    def _wait(self, *, fast: bool) -> Ending | None:
        self._writer.keep_durable(time.monotonic_ns())
        if time.monotonic() - self._heard_s > self._pace.silence_s:
            return Ending.STAND_LOST
        time.sleep(_FAST_POLL_S if fast else self._pace.poll_s)
        return None

    def _reach_again(self, pauses: Iterator[float]) -> bool:
        for pause_s in pauses:
            self._writer.keep_durable(time.monotonic_ns())
            self._tell()
            time.sleep(pause_s)
            try:
                if self._stand is not None:
                    self._stand.reconnect()
            except StandError:
                continue
            return True
        return False

    def _tell(self, *, always: bool = False) -> None:
        now_s = time.monotonic()
        if self._on_progress and (always or now_s - self._told_s >= self._pace.tell_s):
            self._told_s = now_s
            self._on_progress(self._progress())

    def _progress(self) -> Progress:
        shown = {r: v for r, v in self._inbox.latest().items() if math.isfinite(v)}
        shown |= _latest_values(self._latest, self._opening) if self._latest else {}
        step, status = shown.get(Role.STEP), shown.get(Role.STATUS)
        return Progress(
            seconds=self._seconds(),
            step=None if step is None else int(step),
            speed_rpm=shown.get(Role.SPEED, shown.get(Role.DISPLAY_SPEED)),
            status=None if status is None else Status(int(status)),
            blocks=self._blocks,
            lost_blocks=self._lost,
            interruptions=self._interruptions,
            stream_blocks=self._inbox.blocks,
            lost_stream_blocks=self._inbox.lost,
        )

    def _seconds(self) -> float:
        layout = self._opening.layout
        if layout is None:
            return time.monotonic() - self._began_s
        return self._next * layout.samples_per_block * layout.sample_period_us / 1e6


@contextmanager
def _started(sources: Sequence[Source], header: RunHeader, inbox: StreamInbox) -> Iterator[None]:
    known = {stream.name for stream in header.channel_map.streams}
    strangers = sorted({source.name for source in sources} - known)
    if strangers:
        raise DocumentError(
            f"no stream of the map is named {', '.join(strangers)}",
            where=f"channel map {header.channel_map.name}",
            mend="Give the map a stream of that name, or leave the source out.",
        )
    try:
        for source in sources:
            source.start(inbox.push)
        yield
    finally:
        _stop(sources)


def _stop(sources: Sequence[Source]) -> None:
    for source in sources:
        source.stop()


def _notices(sources: Sequence[Source]) -> list[SourceNotice]:
    return [
        SourceNotice(
            stream=source.name,
            channel=notice.channel,
            text=notice.text,
            first_ns=notice.first_ns,
            times=notice.times,
        )
        for source in sources
        for notice in source.notices
    ]


def _tells_step(header: RunHeader) -> bool:
    streams = header.channel_map.streams
    return any(c.role is Role.STEP for s in streams if not s.is_fast for c in s.channels)


def _await_step(
    inbox: StreamInbox, header: RunHeader, pace: Pace, stop: Callable[[], bool] | None
) -> None:
    since_s = time.monotonic()
    while not inbox.latest().get(Role.STEP, 0.0) > 0 and not (stop is not None and stop()):
        if pace.start_within_s is not None and time.monotonic() - since_s > pace.start_within_s:
            raise StandError(
                f"no run began within {pace.start_within_s:g} s",
                where=f"channel map {header.channel_map.name}",
                mend="Start the head at its controller while the recorder waits.",
            )
        time.sleep(pace.poll_s)


def _begin(stand: ModbusStand, program: Program | None, pace: Pace) -> int:
    # Waits for the run to begin, and gives its number on the stand.
    before = stand.status()
    if program is not None:
        stand.load_program(program)
        stand.start()
    elif before.state is StandState.RUNNING:
        return before.run_number
    patience_s = pace.start_within_s if program is None else _START_S
    since_s = time.monotonic()
    while (status := stand.status()).state is StandState.IDLE or (
        status.run_number == before.run_number and status.state is StandState.FINISHED
    ):
        if patience_s is not None and time.monotonic() - since_s > patience_s:
            raise StandError(
                f"no run began within {patience_s:g} s",
                where=stand.identity,
                mend="Start the head at its controller while the recorder waits.",
            )
        time.sleep(_FAST_POLL_S if program is not None else pace.poll_s)
    return status.run_number


def _latest_values(payload: bytes, opening: Opening) -> dict[Role, float]:
    if opening.layout is None:
        return {}
    block = parse_block(payload, opening.layout)
    numbers = np.arange(block.head.samples) + block.head.first_sample
    signals = decode_signals(
        opening.header.channel_map, opening.layout, numbers, block.records, block.head.first_sample
    )
    latest = {s.channel.role: float(s.values[-1]) for s in signals.values() if s.counts.size}
    return {role: value for role, value in latest.items() if math.isfinite(value)}
