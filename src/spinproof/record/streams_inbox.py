"""Where sources leave their blocks: a bounded queue, emptied into the journal by its own thread.

A source never waits here. When the journal does not keep up, what no longer fits is left out and
counted; the numbers of the blocks then show the gap.
"""

import threading
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from spinproof.model.channel import Role
from spinproof.model.errors import SpinproofError
from spinproof.model.stream import StreamSpec
from spinproof.record.blocks import count_type
from spinproof.record.journal import JournalWriter
from spinproof.record.stream_block import StreamBlock
from spinproof.record.streams_seal import fits

ROOM_BYTES = 64 << 20
"""What may wait: more than a minute of six channels at 25.6 kHz. [byte]"""


class StreamInbox:
    """Takes blocks from the threads of sources, and has them written.

    Parameters
    ----------
    streams : sequence of StreamSpec
        The streams of the channel map.
    room : int
        How many bytes of samples may wait. [byte]
    """

    def __init__(self, streams: Sequence[StreamSpec], room: int = ROOM_BYTES) -> None:
        self.problem: Exception | None = None
        """Why nothing is written any more, if so."""
        self.blocks = 0
        """Blocks that were written."""
        self.lost = 0
        """Blocks that were left out because too many waited, or their counts do not fit."""
        self.heard_ns = 0
        """Monotonic time of the latest arrival. [ns]"""
        self._streams = {spec.name: spec for spec in streams}
        self._latest: dict[str, StreamBlock] = {}
        self._room = room
        self._held = 0
        self._waiting: deque[StreamBlock] = deque()
        self._changed = threading.Condition()
        self._is_open = False
        self._thread: threading.Thread | None = None

    def push(self, block: StreamBlock) -> None:
        """Take a block; until `open` was called it is only looked at.

        Parameters
        ----------
        block : StreamBlock
            A block of one of the streams; one without a sample is nothing.
        """
        spec = self._streams[block.stream]
        block = _timed(block, spec)
        fitted = _fitted(block, spec)
        with self._changed:
            self.heard_ns = max(self.heard_ns, block.arrival_ns)
            if not len(block.counts):
                return
            if not spec.is_fast:
                self._latest[block.stream] = block
            if not self._is_open:
                return
            if fitted is None or self._held + fitted.counts.nbytes > self._room:
                self.lost += 1
                return
            self._held += fitted.counts.nbytes
            self._waiting.append(fitted)
            self._changed.notify()

    def open(self) -> None:
        """Keep every block from now on: the run has begun.

        The newest block of each slow stream is kept, too: what a subscription told last still
        holds, and a step that began the run is told by it.
        """
        with self._changed:
            if not self._is_open:
                self._waiting.extend(self._latest.values())
                self._held += sum(block.counts.nbytes for block in self._latest.values())
                self._is_open = True

    def write_to(self, journal: JournalWriter) -> None:
        """Write what is kept, and will be."""
        self._thread = threading.Thread(
            target=self._work, args=(journal,), name="stream journal", daemon=True
        )
        self._thread.start()

    def finish(self) -> None:
        """Take no more, write what waits, and end; a second call does nothing."""
        with self._changed:
            self._is_open = False
            self._changed.notify()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def raise_problem(self) -> None:
        """Raise what kept the thread from writing, if anything did."""
        if self.problem is not None:
            raise self.problem

    def latest(self) -> dict[Role, float]:
        """Give the newest readings of slow streams by their role; NaN where there is none."""
        with self._changed:
            blocks = list(self._latest.items())
        return {
            channel.role: float(value) * channel.scale + channel.offset
            for name, block in blocks
            for channel, value in zip(self._streams[name].channels, block.counts[-1], strict=True)
        }

    def _work(self, journal: JournalWriter) -> None:
        try:
            while (block := self._next()) is not None:
                journal.append_stream(block)
                journal.keep_durable(time.monotonic_ns())
                self.blocks += 1
        except (SpinproofError, OSError) as problem:
            self.problem = problem

    def _next(self) -> StreamBlock | None:
        with self._changed:
            self._changed.wait_for(lambda: self._waiting or not self._is_open)
            if not self._waiting:
                return None
            block = self._waiting.popleft()
            self._held -= block.counts.nbytes
            return block


def _timed(block: StreamBlock, spec: StreamSpec) -> StreamBlock:
    # A single sample of a stream that is not regular was taken when its block says.
    single = len(block.counts) == 1 and block.device_time_ns is not None
    if spec.is_regular or block.times_ns is not None or not single:
        return block
    return replace(block, times_ns=np.array([block.device_time_ns], dtype=np.int64))


def _fitted(block: StreamBlock, spec: StreamSpec) -> StreamBlock | None:
    # Counts of a fast stream in the type of its channels, or None when that would change them.
    if not spec.is_fast:
        return block
    kind = count_type(spec.channels[0])
    if block.counts.dtype == kind:
        return block
    if not fits(block.counts, kind).all():
        return None
    return replace(block, counts=block.counts.astype(kind))
