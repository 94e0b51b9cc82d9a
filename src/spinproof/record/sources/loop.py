"""A source whose library wants an event loop: the loop runs in the source's own thread."""

import asyncio
from abc import abstractmethod
from collections.abc import Sequence

from spinproof.record.sources.source import Push
from spinproof.record.sources.thread import SourceThread
from spinproof.record.stream_block import StreamBlock


class LoopThread(SourceThread):
    """The base of such sources."""

    _loop: asyncio.AbstractEventLoop | None = None
    _asleep: asyncio.Event

    @abstractmethod
    async def converse(self, push: Push) -> None:
        """Hold one connection until ``stopping``; StandError says that it went away."""

    def session(self, push: Push) -> None:
        """Run one connection in a loop of its own."""
        asyncio.run(self._begin(push))

    def wake(self) -> None:
        """Make the session look whether it should stop."""
        loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self._asleep.set)

    async def pause(self, seconds: float) -> None:
        """Wait, unless the source should stop."""
        try:
            await asyncio.wait_for(self._asleep.wait(), seconds)
        except TimeoutError:
            return

    async def deliver(self, push: Push, blocks: Sequence[StreamBlock]) -> None:
        """Pass blocks on without holding up the connection, however slow their taker is."""
        if blocks:
            await asyncio.to_thread(_push_all, push, blocks)

    async def _begin(self, push: Push) -> None:
        self._asleep = asyncio.Event()
        self._loop = asyncio.get_running_loop()
        if not self.stopping.is_set():
            await self.converse(push)


def _push_all(push: Push, blocks: Sequence[StreamBlock]) -> None:
    for block in blocks:
        push(block)
