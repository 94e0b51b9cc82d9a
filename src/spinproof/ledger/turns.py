"""Taking turns in the order of coming."""

import threading
from collections import deque
from types import TracebackType


class Turns:
    """A lock that is handed on to whoever waits longest; a plain lock lets latecomers pass."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._taken = False
        self._waiting: deque[threading.Lock] = deque()

    def __enter__(self) -> None:
        with self._guard:
            if not self._taken:
                self._taken = True
                return
            gate = threading.Lock()
            gate.acquire()
            self._waiting.append(gate)
        try:
            gate.acquire()  # opens when the turn is handed on
        except BaseException:
            self._give_up(gate)
            raise

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._hand_on()

    def _hand_on(self) -> None:
        with self._guard:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._taken = False

    def _give_up(self, gate: threading.Lock) -> None:
        with self._guard:
            waits = gate in self._waiting
            if waits:
                self._waiting.remove(gate)
        if not waits:  # the turn came just now
            self._hand_on()
