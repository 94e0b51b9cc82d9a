"""A program killed in the middle of a change: all of it is stored, or nothing."""

import os
import signal

import pytest
from sqlalchemy import event
from tests.demo_files import JOB
from tests.ledger.cases import AT, later, take_in

from spinproof.ledger.ledger import Ledger, open_ledger

NOTES = 4
"""Changes of one transaction."""


def change_and_be_killed(url: str, n: int) -> None:
    """Change the ledger in one transaction, and be killed before its n-th statement."""
    ledger = open_ledger(url, at=AT)
    left = n

    @event.listens_for(ledger._engine, "before_cursor_execute")
    def count(*_: object) -> None:
        nonlocal left
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        left -= 1

    with ledger.transaction("TT-1", later(60)) as records:
        for i in range(NOTES):
            records.add_evidence(JOB.job, f"{i:064x}", f"{i}.txt", "one of four")
    event.remove(ledger._engine, "before_cursor_execute", count)
    ledger.close()


def outcome_of_a_child(url: str, n: int) -> int:
    """Let a child of this process make the change; give the signal that ended it."""
    child = os.fork()
    if child == 0:
        try:
            change_and_be_killed(url, n)
        finally:
            os._exit(0)
    return os.WTERMSIG(os.waitpid(child, 0)[1])


def test_a_change_that_was_killed_at_any_statement_left_nothing(ledger: Ledger, url: str):
    take_in(ledger)
    with ledger.reading() as records:
        before = records.tree_head()
    killed, n = 0, 0
    while outcome_of_a_child(url, n) == signal.SIGKILL:
        with ledger.reading() as records:
            assert records.tree_head() == before
            assert records.evidence(JOB.job) == ()
        killed, n = killed + 1, n + 1

    with ledger.reading() as records:
        assert len(records.evidence(JOB.job)) == NOTES
        assert records.tree_head().size == before.size + NOTES
        assert records.verify_audit().findings == ()
    assert killed > 3 * NOTES


@pytest.mark.parametrize("n", [0, 3, 9])
def test_a_ledger_goes_on_at_once_after_a_writer_was_killed(ledger: Ledger, url: str, n: int):
    take_in(ledger)
    assert outcome_of_a_child(url, n) == signal.SIGKILL

    with ledger.transaction("QI-2", later(61)) as records:
        records.add_evidence(JOB.job, "f" * 64, "after.txt", "right after")
    with ledger.reading() as records:
        assert [item.name for item in records.evidence(JOB.job)] == ["after.txt"]
