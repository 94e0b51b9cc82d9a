"""Rows of a stream out of readings that come one by one, each with its own source time."""

import math
import time

import numpy as np

from spinproof.record.sources.source import NoticeBoard, NoticeKind
from spinproof.record.stream_block import StreamBlock


class RowBuilder:
    """Gathers readings, and gives rows in the order of the source's clock.

    A subscription tells changes: what it does not tell again still holds, so a row carries the
    last reading of every channel.

    Parameters
    ----------
    stream : str
        Name of the stream.
    channels : tuple of str
        Names of its channels.
    board : NoticeBoard
        Is told what came too late.
    """

    def __init__(self, stream: str, channels: tuple[str, ...], board: NoticeBoard) -> None:
        self._stream = stream
        self._channels = channels
        self._board = board
        self._held = [math.nan] * len(channels)
        self._pending: list[tuple[int, int, int, float]] = []  # source, arrival, column, value
        self._last_ns = -1
        self._samples = self._blocks = 0

    def add(self, column: int, value: float, source_ns: int) -> None:
        """Take a reading; one that is not a number says that there is none."""
        self._pending.append((source_ns, time.monotonic_ns(), column, value))

    def block(self, arrived_before_ns: int | None = None) -> StreamBlock | None:
        """Give the rows of all readings that arrived before some time, or of all.

        Parameters
        ----------
        arrived_before_ns : int, optional
            Monotonic time of the host; younger readings wait for others of the same instant. [ns]

        Returns
        -------
        StreamBlock or None
            The rows; None when there are none.
        """
        limit = math.inf if arrived_before_ns is None else arrived_before_ns
        if not any(arrival < limit for _, arrival, _, _ in self._pending):
            return None
        newest = max(source for source, arrival, _, _ in self._pending if arrival < limit)
        ready = sorted(each for each in self._pending if each[0] <= newest)
        self._pending = [each for each in self._pending if each[0] > newest]
        times, rows = self._rows(ready)
        if not rows:
            return None
        block = StreamBlock(
            stream=self._stream,
            sequence=self._blocks,
            first_sample=self._samples,
            arrival_ns=max(arrival for _, arrival, _, _ in ready),
            counts=np.array(rows),
            device_time_ns=times[0],
            times_ns=np.array(times, dtype=np.int64),
        )
        self._blocks += 1
        self._samples += len(rows)
        return block

    def _rows(
        self, ready: list[tuple[int, int, int, float]]
    ) -> tuple[list[int], list[list[float]]]:
        times: list[int] = []
        rows: list[list[float]] = []
        for source_ns, _, column, value in ready:
            if source_ns < self._last_ns:
                text = "readings came after younger ones had been passed on"
                self._board.tell(NoticeKind.LATE, text, channel=self._channels[column])
                continue
            self._held[column] = value
            if times and source_ns == times[-1]:
                rows[-1] = list(self._held)
                continue
            self._last_ns = max(source_ns, self._last_ns + 1)  # times rise from block to block
            times.append(self._last_ns)
            rows.append(list(self._held))
        return times, rows
