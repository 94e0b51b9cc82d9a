"""A topic of an MQTT broker; samples come as named values or as blocks of counts."""

import asyncio
import time
from typing import Any

from spinproof.model.errors import SpinproofError, StandError
from spinproof.model.stream import StreamSpec
from spinproof.record.sources.address import host_and_port
from spinproof.record.sources.library import load_library
from spinproof.record.sources.loop import LoopThread
from spinproof.record.sources.messages import read_message
from spinproof.record.sources.sequence import SequenceBook
from spinproof.record.sources.source import NoticeKind, Push
from spinproof.record.sources.thread import RECONNECT_S
from spinproof.record.stream_block import StreamBlock

PACKAGE = "aiomqtt"
AT_LEAST_ONCE = 1
"""Quality of service that is asked for (OASIS MQTT 3.1.1, 4.3.2)."""
KEEP_ALIVE_S = 2
"""How often a silent broker is asked for a sign; without one it is lost at twice that. [s]"""
_ANSWER_S = 5.0
_MOST_WAITING = 200_000
_BATCH = 500
_GAP = "numbers of messages did not arrive"
_TWICE = "messages came a second time"


class MqttSource(LoopThread):
    """Delivers a block for each message of a topic; retained messages are thrown away.

    Parameters
    ----------
    stream : StreamSpec
        The broker's address and the topic.
    reconnect_s : tuple of float
        Pauses before each attempt to reach the broker again. [s]
    """

    def __init__(self, stream: StreamSpec, *, reconnect_s: tuple[float, ...] = RECONNECT_S) -> None:
        super().__init__(stream, reconnect_s=reconnect_s)
        self._where = f"stream {stream.name}, {stream.address}, topic {stream.topic}"
        self._host, self._port = host_and_port(stream.address, stream.name)
        self._numbers = SequenceBook()

    async def converse(self, push: Push) -> None:
        """Subscribe, and deliver until ``stopping``.

        Raises
        ------
        StandError
            If the broker cannot be reached, or went away.
        SpinproofError
            If whoever takes the blocks raises one.
        """
        library = load_library(PACKAGE, self._where)
        try:
            async with library.Client(
                self._host,
                self._port,
                keepalive=KEEP_ALIVE_S,
                timeout=_ANSWER_S,
                max_queued_incoming_messages=_MOST_WAITING,
            ) as client:
                await client.subscribe(self.stream.topic, qos=AT_LEAST_ONCE)
                self.connected()
                await self._follow(client, push)
        except SpinproofError:
            raise
        except (library.MqttError, OSError) as error:
            raise StandError(
                f"the broker cannot be reached, or went away ({error})",
                where=self._where,
                mend="Check the broker's address, and that it lets this machine subscribe.",
            ) from error

    async def _follow(self, client: Any, push: Push) -> None:
        messages = client.messages
        stopped = asyncio.create_task(self._asleep.wait())
        try:
            while not self.stopping.is_set() or len(messages):
                coming = asyncio.ensure_future(anext(messages))
                await asyncio.wait((coming, stopped), return_when=asyncio.FIRST_COMPLETED)
                if not coming.done() and not len(messages):
                    coming.cancel()
                    return
                batch = [await coming]
                while len(messages) and len(batch) < _BATCH:
                    batch.append(await anext(messages))
                await self.deliver(push, self._blocks(batch))
        finally:
            stopped.cancel()

    def _blocks(self, batch: list[Any]) -> list[StreamBlock]:
        blocks = [block for message in batch if (block := self._block(message)) is not None]
        self.board.count(NoticeKind.GAP, _GAP, self._numbers.missing)
        self.board.count(NoticeKind.TWICE, _TWICE, self._numbers.twice)
        return blocks

    def _block(self, message: Any) -> StreamBlock | None:
        if message.retain:
            self.board.tell(NoticeKind.STALE, "a retained message from before was thrown away")
            return None
        try:
            parcel = read_message(bytes(message.payload), self.stream)
        except ValueError as error:
            self.board.tell(NoticeKind.NONSENSE, str(error))
            return None
        self._numbers.note(parcel.sequence)
        for channel, reason in parcel.missing:
            self.board.tell(NoticeKind.MISSING, reason, channel=channel)
        return StreamBlock(
            stream=self.name,
            sequence=parcel.sequence,
            first_sample=parcel.first_sample,
            arrival_ns=time.monotonic_ns(),
            counts=parcel.counts,
            device_time_ns=parcel.time_ns,
        )
