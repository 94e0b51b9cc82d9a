"""Nodes of an OPC UA server, subscribed to; each change keeps the source's own time."""

import asyncio
import math
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from spinproof.model.errors import StandError
from spinproof.model.stream import StreamSpec
from spinproof.record.sources.library import load_library
from spinproof.record.sources.loop import LoopThread
from spinproof.record.sources.opc_ua_session import PACKAGE, opc_ua_session
from spinproof.record.sources.rows import RowBuilder
from spinproof.record.sources.source import NoticeKind, Push
from spinproof.record.sources.thread import RECONNECT_S

PUBLISH_S = 0.1
"""How often the server is asked to send what changed. [s]"""
_HOLD_S = 1.5 * PUBLISH_S
_RESERVE_S = 10.0
"""For how long the server should keep what it could not send. [s]"""
_LOOK_S = 5.0
_RAN_OVER = 0x480
"""Info bits of a status code: the server's queue lost values (OPC 10000-4, 7.39.1)."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class OpcUaSource(LoopThread):
    """Delivers the changes of some nodes.

    Parameters
    ----------
    stream : StreamSpec
        The endpoint's URL, and the node id of each channel.
    keys : Path, optional
        Folder of our own certificate, for a server whose certificate the map pins.
    reconnect_s : tuple of float
        Pauses before each attempt to reach the server again. [s]
    look_s : float
        How often it is looked whether the nodes are still there. [s]
    """

    def __init__(
        self,
        stream: StreamSpec,
        *,
        keys: Path | None = None,
        reconnect_s: tuple[float, ...] = RECONNECT_S,
        look_s: float = _LOOK_S,
    ) -> None:
        super().__init__(stream, reconnect_s=reconnect_s)
        self._where = f"stream {stream.name}, {stream.address}"
        self._keys = keys
        self._look_s = look_s
        self._names = tuple(channel.name for channel in stream.channels)
        self._rows = RowBuilder(stream.name, self._names, self.board)
        self._since_ns = 0
        self._gone: set[int] = set()
        self._has_begun = False
        self._columns: dict[Any, int] = {}

    async def converse(self, push: Push) -> None:
        """Subscribe, and deliver until ``stopping``; StandError says that the server went away."""
        pinned = self.stream.server_sha256
        async with opc_ua_session(
            self.stream.address, self._where, pinned=pinned, keys=self._keys
        ) as client:
            lost = asyncio.Event()
            client.connection_lost_callback = _setter(lost, self._asleep)
            nodes = self._nodes(client)
            self._gone.clear()
            self._since_ns = await self._server_ns(client)
            await self._look(client, nodes)
            subscription = await self._subscribe(client, nodes)
            taking = asyncio.create_task(self._take(subscription))
            self.connected()
            self._has_begun = True
            try:
                await self._follow(client, nodes, lost, push)
            finally:
                taking.cancel()  # and is awaited by the end of the loop
                await self._flush(push, all_of_it=True)

    def _nodes(self, client: Any) -> list[Any]:
        nodes = []
        for channel in self.stream.channels:
            try:
                nodes.append(client.get_node(channel.node))
            except Exception as error:  # a library of many errors for a text that is no node id
                raise StandError(
                    f'"{channel.node}" is no node id',
                    where=f"{self._where}, channel {channel.name}",
                    mend="Write it as the server shows it, for example ns=2;s=Head.Seal.Pressure.",
                ) from error
        return nodes

    async def _subscribe(self, client: Any, nodes: list[Any]) -> Any:
        period_ms = 1000 / self.stream.sample_rate_hz
        subscription = await client.create_subscription(1000 * PUBLISH_S, queue_maxsize=0)
        there = [node for column, node in enumerate(nodes) if column not in self._gone]
        self._columns = {node.nodeid: column for column, node in enumerate(nodes)}
        results = await subscription.subscribe_data_change(
            there,
            queuesize=max(50, math.ceil(_RESERVE_S * 1000 / period_ms)),
            sampling_interval=period_ms / 2,
        )
        for node, result in zip(there, results, strict=True):
            if not isinstance(result, int):
                self._refuse(self._columns[node.nodeid], f"refused ({result.name})")
        return subscription

    async def _take(self, subscription: Any) -> None:
        async for event in subscription:
            column = self._columns.get(event.node.nodeid) if hasattr(event, "node") else None
            if column is not None:
                self._note(column, event.data.monitored_item.Value)

    def _note(self, column: int, reading: Any) -> None:
        name, status = self._names[column], reading.StatusCode
        stamp = reading.SourceTimestamp or reading.ServerTimestamp
        if stamp is None:
            self._missing(name, "the server gives no time for it")
            return
        source_ns = max(_nanoseconds(stamp), self._since_ns)  # what was there at first holds now
        if status is not None and status.value & _RAN_OVER == _RAN_OVER:
            self.board.tell(NoticeKind.GAP, "the server's queue lost values", channel=name)
        self._rows.add(column, self._number(name, reading), source_ns)

    def _number(self, name: str, reading: Any) -> float:
        status = reading.StatusCode
        if status is not None and not status.is_good():
            self._missing(name, f"its status is {status.name}")
            return math.nan
        value = None if reading.Value is None else reading.Value.Value
        if not isinstance(value, int | float):
            self._missing(name, f"its value is no number but {type(value).__name__}")
            return math.nan
        if not math.isfinite(value):
            self._missing(name, "its value is not a number")
            return math.nan
        sentinel = self.stream.channels[self._names.index(name)].missing
        if sentinel is not None and value == sentinel:
            self._missing(name, f"the device sends {sentinel}: no reading")
            return math.nan
        return float(value)

    def _missing(self, name: str, text: str) -> None:
        self.board.tell(NoticeKind.MISSING, text, channel=name)

    async def _follow(self, client: Any, nodes: list[Any], lost: asyncio.Event, push: Push) -> None:
        looked_s = time.monotonic()
        while not self.stopping.is_set():
            if lost.is_set():
                self._asleep.clear()
                raise StandError(
                    "the session with the server broke",
                    where=self._where,
                    mend="Check the network and the server.",
                )
            await self.pause(PUBLISH_S)
            await self._flush(push)
            if time.monotonic() - looked_s > self._look_s:
                looked_s = time.monotonic()
                await self._look(client, nodes)

    async def _flush(self, push: Push, *, all_of_it: bool = False) -> None:
        before_ns = None if all_of_it else time.monotonic_ns() - int(1e9 * _HOLD_S)
        block = self._rows.block(before_ns)
        if block is not None:
            await self.deliver(push, [block])

    async def _look(self, client: Any, nodes: list[Any]) -> None:
        """Look whether the nodes are there."""
        library = load_library(PACKAGE, self._where)
        seen = await client.read_attributes(nodes, library.ua.AttributeIds.NodeClass)
        for column, answer in enumerate(seen):
            if answer.StatusCode is None or answer.StatusCode.is_good():
                continue
            if column not in self._gone:
                self._refuse(column, f"is not there ({answer.StatusCode.name})")
                self._rows.add(column, math.nan, await self._server_ns(client))

    async def _server_ns(self, client: Any) -> int:
        """Ask for the server's clock."""
        library = load_library(PACKAGE, self._where)
        clock = client.get_node(library.ua.ObjectIds.Server_ServerStatus_CurrentTime)
        return _nanoseconds(await clock.read_value())

    def _refuse(self, column: int, why: str) -> None:
        """Refuse to begin without a node; while running, say that it vanished.

        Raises
        ------
        StandError
            If nothing has been delivered yet.
        """
        channel = self.stream.channels[column]
        if not self._has_begun:
            raise StandError(
                f"the node {channel.node} {why}",
                where=f"{self._where}, channel {channel.name}",
                mend="Look at what the server offers, with `spinproof sources look opc-ua`, and "
                "correct the map.",
            )
        self._gone.add(column)
        self.board.tell(NoticeKind.VANISHED, f"the node {channel.node} {why}", channel=channel.name)


def _setter(*events: asyncio.Event) -> Any:
    async def lost(_error: Exception) -> None:
        for event in events:
            event.set()

    return lost


def _nanoseconds(moment: datetime) -> int:
    """Give nanoseconds since 1970 in UTC; the library leaves the zone out, and means UTC."""
    aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return (aware - _EPOCH) // timedelta(microseconds=1) * 1000
