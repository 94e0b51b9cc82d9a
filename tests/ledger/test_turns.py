"""Turns are taken in the order of coming, whatever becomes of those who wait."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from spinproof.ledger.turns import Turns


def waiting(turns: Turns) -> int:
    with turns._guard:
        return len(turns._waiting)


def until_waiting(turns: Turns, count: int) -> None:
    while waiting(turns) < count:
        threading.Event().wait(0.0001)


def test_who_comes_first_goes_first():
    turns, order = Turns(), []

    def take(name: int) -> None:
        with turns:
            order.append(name)

    with ThreadPoolExecutor(20) as pool, turns:
        for name in range(20):
            pool.submit(take, name)
            until_waiting(turns, name + 1)
    assert order == list(range(20))


def test_one_at_a_time_among_many():
    turns, inside, seen = Turns(), 0, []

    def take(_: int) -> None:
        nonlocal inside
        for _ in range(200):
            with turns:
                inside += 1
                seen.append(inside)
                inside -= 1

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(take, range(8)))

    assert seen == [1] * 1600


def test_an_error_hands_the_turn_on():
    turns = Turns()
    with pytest.raises(RuntimeError, match="oops"), turns:
        raise RuntimeError("oops")

    with turns:
        pass
    assert not turns._taken


@pytest.mark.parametrize("when", ["while it waits", "just as its turn comes"])
def test_one_who_gives_up_keeps_nobody_waiting(monkeypatch: pytest.MonkeyPatch, when: str):
    turns, taken = Turns(), threading.Event()
    gate = InterruptedGate(turns, came=when == "just as its turn comes")

    def take() -> None:
        with turns:
            taken.set()

    with turns:
        monkeypatch.setattr(threading, "Lock", lambda: gate)
        with pytest.raises(KeyboardInterrupt):
            turns.__enter__()
        monkeypatch.undo()
        other = threading.Thread(target=take)
        if when == "while it waits":
            other.start()
            until_waiting(turns, 1)
    if when != "while it waits":
        other.start()
    other.join(10)

    assert taken.is_set()
    assert waiting(turns) == 0


class InterruptedGate:
    """A gate at which the one who waits is interrupted."""

    def __init__(self, turns: Turns, *, came: bool) -> None:
        self.turns, self.came, self.calls = turns, came, 0

    def acquire(self) -> None:
        """Shut the gate, then be interrupted at it."""
        self.calls += 1
        if self.calls == 2:
            if self.came:
                self.turns._waiting.remove(self)
            raise KeyboardInterrupt

    def release(self) -> None:
        """Open the gate."""
