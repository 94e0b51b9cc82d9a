"""A virtual stand in a process of its own, for tests and the demo."""

import multiprocessing
import os
import signal
import threading
from collections.abc import Sequence
from multiprocessing.connection import Connection
from types import TracebackType
from typing import Self

from spinproof.model.errors import SpinproofError, StandError
from spinproof.model.head import HeadSpec
from spinproof.virtualhead.server import serve_stand

START_LIMIT_S = 60.0
"""How long a stand may take to answer. [s]"""
STOP_LIMIT_S = 10.0
"""How long a stand may take to stop before it is ended. [s]"""


class StandProcess:
    """A stand that is served by a child process while the ``with`` block runs.

    The child stops when the block ends, and also when its parent dies.

    Parameters
    ----------
    heads : sequence of HeadSpec
        The heads; the first has unit id 1.
    host : str
        Address to listen on.
    port : int
        Port to listen on; 0 lets the system choose.
    speed_up : float or None
        1 for real time, N for N times real time, None for as fast as the reader acknowledges.
    """

    def __init__(
        self,
        heads: Sequence[HeadSpec],
        host: str = "127.0.0.1",
        port: int = 0,
        *,
        speed_up: float | None = None,
    ) -> None:
        self.host = host
        self.port = port
        """The port that the stand listens on, once it runs."""
        context = multiprocessing.get_context("spawn")
        self._ours, self._theirs = context.Pipe()
        self._process = context.Process(
            target=_serve,
            args=(tuple(heads), host, port, speed_up, self._theirs),
            name="virtual stand",
            daemon=True,
        )

    def __enter__(self) -> Self:
        """Start the stand and wait until it answers.

        Raises
        ------
        StandError
            If it dies or is silent for too long; a port in use comes as ``PortInUseError``.
        """
        self._process.start()
        self._theirs.close()
        answer: object = None
        if self._ours.poll(START_LIMIT_S):
            try:
                answer = self._ours.recv()
            except EOFError:
                answer = None
        if isinstance(answer, int):
            self.port = answer
            return self
        self.__exit__(None, None, None)
        if isinstance(answer, tuple):
            kind, what, where, mend = answer
            raise kind(what, where=where, mend=mend)
        raise StandError(
            "the virtual stand did not start",
            where=f"{self.host}:{self.port}",
            mend="Start it by hand with `spinproof virtual-head` to see why.",
        )

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        """Stop the stand."""
        self._ours.close()
        self._process.join(STOP_LIMIT_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        self._process.close()

    @property
    def pid(self) -> int | None:
        """Id of the child process."""
        return self._process.pid


def _serve(
    heads: Sequence[HeadSpec], host: str, port: int, speed_up: float | None, parent: Connection
) -> None:
    """Serve in the child; tell the parent the port, or why it cannot be."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the parent, which then stops us
    threading.Thread(target=_stop_with_parent, args=(parent,), daemon=True).start()
    try:
        serve_stand(heads, host, port, speed_up=speed_up, on_ready=parent.send)
    except SpinproofError as error:
        parent.send((type(error), error.what, error.where, error.mend))


def _stop_with_parent(parent: Connection) -> None:
    """End this process, cleanly, when the parent closes its end of the pipe or dies."""
    try:
        parent.recv()
    except (EOFError, OSError):
        os.kill(os.getpid(), signal.SIGTERM)
