"""The thread of a source: connect, deliver, and reach again what went away."""

import threading
from abc import ABC, abstractmethod

from spinproof.model.errors import SpinproofError, StandError
from spinproof.model.stream import StreamSpec
from spinproof.record.sources.source import Notice, NoticeBoard, NoticeKind, Push

RECONNECT_S = (0.5, 1.0, 2.0, 5.0)
"""Pauses before each attempt to reach a source that went away; the last one repeats. [s]"""
_JOIN_S = 20.0


class SourceThread(ABC):
    """The base of the sources: a thread that holds one connection after another.

    Parameters
    ----------
    stream : StreamSpec
        What is delivered.
    reconnect_s : tuple of float
        Pauses before each attempt to reach the source again. [s]
    """

    def __init__(self, stream: StreamSpec, *, reconnect_s: tuple[float, ...] = RECONNECT_S) -> None:
        self.name = stream.name
        self.stream = stream
        self.board = NoticeBoard()
        self.stopping = threading.Event()
        self._reconnect_s = reconnect_s
        self._failed_attempts = 0
        self._began = threading.Event()
        self._refusal: BaseException | None = None
        self._thread: threading.Thread | None = None

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What the source had to say so far, the oldest first."""
        return self.board.all()

    def start(self, push: Push) -> None:
        """Connect, and deliver from then on.

        Parameters
        ----------
        push : callable
            Takes each block, in the source's thread.

        Raises
        ------
        StandError
            If the source cannot be reached, or is not what the map says.
        """
        self._thread = threading.Thread(
            target=self._work, args=(push,), name=f"source {self.name}", daemon=True
        )
        self._thread.start()
        self._began.wait()
        if self._refusal is not None:
            self._thread.join(_JOIN_S)
            raise self._refusal

    def stop(self) -> None:
        """Deliver what is still held, and end the thread; a second call does nothing."""
        self.stopping.set()
        self.wake()
        if self._thread is not None:
            self._thread.join(_JOIN_S)

    def wake(self) -> None:  # noqa: B027 - a thread that waits on ``stopping`` needs no other call
        """Make a session look whether it should stop."""

    @abstractmethod
    def session(self, push: Push) -> None:
        """Hold one connection until ``stopping``; StandError says that it went away."""

    def connected(self) -> None:
        """Say that samples come from now on; a session calls it once."""
        if self._began.is_set():
            self.board.tell(NoticeKind.BACK, "the connection came back")
        self._failed_attempts = 0
        self._began.set()

    def _work(self, push: Push) -> None:
        while not self.stopping.is_set():
            try:
                self.session(push)
            except StandError as error:
                if self._is_refused(error):
                    return
                self.board.tell(NoticeKind.LOST, f"{error.what}, at {error.where}")
                self.stopping.wait(self._pause_s())
            except Exception as error:  # noqa: BLE001 - a thread's error must not vanish with it
                if not self._is_refused(error):
                    self.board.tell(NoticeKind.STOPPED, f"{type(error).__name__}: {error}")
                return

    def _is_refused(self, error: Exception) -> bool:
        """Whether the source never began; its starter then raises the error."""
        if self._began.is_set():
            return False
        self._refusal = (
            error
            if isinstance(error, SpinproofError)
            else StandError(
                f"the source cannot be read ({type(error).__name__}: {error})",
                where=f"stream {self.name}, {self.stream.address}",
                mend="Check address, node or topic in the map.",
            )
        )
        self._began.set()
        return True

    def _pause_s(self) -> float:
        place = min(self._failed_attempts, len(self._reconnect_s) - 1)
        self._failed_attempts += 1
        return self._reconnect_s[place]
