"""A virtual stand in a process of its own, for tests and the demo.

The parent writes one line of JSON that says what to serve; the child answers with one line: its
port, or why it cannot. The child stops when the parent closes the line, or dies.
"""

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from types import TracebackType
from typing import Any, Self

from spinproof.model.errors import PortInUseError, SpinproofError, StandError
from spinproof.model.head import HeadSpec
from spinproof.virtualhead.server import serve_stand

START_LIMIT_S = 60.0
"""How long a stand may take to answer. [s]"""
STOP_LIMIT_S = 10.0
"""How long a stand may take to stop before it is ended. [s]"""


class StandProcess:
    """A stand that is served by a child process while the ``with`` block runs.

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
        self._order = {
            "heads": [spec.to_document() for spec in heads],
            "host": host,
            "port": port,
            "speed_up": speed_up,
        }
        self._child: subprocess.Popen[str] | None = None

    def __enter__(self) -> Self:
        """Start the stand and wait until it answers.

        Raises
        ------
        PortInUseError
            If another program listens on its port.
        StandError
            If it cannot listen there, dies, or is silent for too long.
        """
        self._child = subprocess.Popen(  # noqa: S603 - our own module, run by our own interpreter
            [sys.executable, "-m", __name__],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,  # Ctrl-C is for the parent, which then stops the child
        )
        answer = self._ask(self._child)
        if "port" in answer:
            self.port = int(answer["port"])
            return self
        self._stop()
        if answer.get("code") == PortInUseError.code:
            raise PortInUseError(answer["what"], where=answer["where"], mend=answer["mend"])
        raise StandError(
            answer.get("what", "the virtual stand did not start"),
            where=answer.get("where", f"{self.host}:{self._order['port']}"),
            mend=answer.get("mend", "Serve it by hand with `spinproof virtual-head` to see why."),
        )

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        """Stop the stand."""
        self._stop()

    @property
    def pid(self) -> int:
        """Id of the child process; 0 when there is none."""
        return 0 if self._child is None else self._child.pid

    def _ask(self, child: subprocess.Popen[str]) -> dict[str, Any]:
        """Say what to serve and read the answer; empty when none comes."""
        assert child.stdin is not None  # noqa: S101 - it was asked for
        assert child.stdout is not None  # noqa: S101 - it was asked for
        limit = threading.Timer(START_LIMIT_S, child.kill)
        limit.start()
        try:
            child.stdin.write(json.dumps(self._order) + "\n")
            child.stdin.flush()
            line = child.stdout.readline()
        except OSError:
            line = ""
        finally:
            limit.cancel()
        answer: dict[str, Any] = json.loads(line or "{}")
        return answer

    def _stop(self) -> None:
        """Close the line to the child, and end it if that does not stop it."""
        if self._child is None:
            return
        child, self._child = self._child, None
        try:
            child.communicate(timeout=STOP_LIMIT_S)
        except subprocess.TimeoutExpired:
            child.kill()
            child.communicate()


def _serve() -> None:
    """Serve in the child."""
    order = json.loads(sys.stdin.readline())
    threading.Thread(target=_stop_with_parent, daemon=True).start()
    try:
        serve_stand(
            [HeadSpec.from_document(spec) for spec in order["heads"]],
            order["host"],
            order["port"],
            speed_up=order["speed_up"],
            on_ready=lambda port: _answer({"port": port}),
        )
    except SpinproofError as error:
        _answer({"code": error.code, "what": error.what, "where": error.where, "mend": error.mend})


def _answer(answer: dict[str, object]) -> None:
    sys.stdout.write(json.dumps(answer) + "\n")
    sys.stdout.flush()


def _stop_with_parent() -> None:
    """Stop this process, cleanly, when the parent closes the line or dies."""
    sys.stdin.read()
    os.kill(os.getpid(), signal.SIGTERM)


if __name__ == "__main__":
    _serve()
