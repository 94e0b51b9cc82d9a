"""A form that is sent twice has one effect."""

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from spinproof.app.sending import KEPT, Sending
from spinproof.ledger.ledger import Ledger, open_ledger
from spinproof.model.errors import DocumentError, GateClosedError

AT = datetime(2031, 5, 6, 7, 8, 9, tzinfo=UTC)
KEY = "k" * 22


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(f"sqlite:///{tmp_path / 'ledger.db'}", at=AT)
    yield opened
    opened.close()


class Act:
    """Counts how often it was done."""

    def __init__(self) -> None:
        self.done = 0

    def __call__(self) -> str:
        """Do it."""
        self.done += 1
        return f"/done/{self.done}"


def test_a_double_tap_is_one_tap(ledger: Ledger):
    act, sending, gate = Act(), Sending(ledger), threading.Barrier(8)

    def tap(_: int) -> str:
        gate.wait()
        return sending.once(KEY, "/x", "TT-1", AT, act)

    with ThreadPoolExecutor(8) as pool:
        led_to = list(pool.map(tap, range(8)))

    assert act.done == 1
    assert led_to == ["/done/1"] * 8
    assert not sending._turns


def test_a_form_sent_again_after_a_restart_has_no_second_effect(ledger: Ledger):
    act = Act()
    for _ in range(3):
        assert Sending(ledger).once(KEY, "/x", "TT-1", AT, act) == "/done/1"
    assert act.done == 1


def test_a_form_that_failed_may_be_sent_again(ledger: Ledger):
    act, sending = Act(), Sending(ledger)

    def fails() -> str:
        raise GateClosedError("not yet", where="x", mend="Wait.")

    with pytest.raises(GateClosedError, match="not yet"):
        sending.once(KEY, "/x", "TT-1", AT, fails)
    assert sending.once(KEY, "/x", "TT-1", AT, act) == "/done/1"


def test_a_form_cut_off_in_the_middle_says_so_and_is_not_repeated(ledger: Ledger):
    with ledger.transaction("TT-1", AT) as records:
        records.claim_form(KEY, "/x")
    act = Act()
    with pytest.raises(GateClosedError, match="stopped before it said"):
        Sending(ledger).once(KEY, "/x", "TT-1", AT, act)
    assert act.done == 0


@pytest.mark.parametrize(("action", "who"), [("/y", "TT-1"), ("/x", "XX-9")])
def test_a_key_is_good_for_one_form_of_one_person(ledger: Ledger, action: str, who: str):
    act, sending = Act(), Sending(ledger)
    sending.once(KEY, "/x", "TT-1", AT, act)
    with pytest.raises(DocumentError, match="another form"):
        sending.once(KEY, action, who, AT, act)
    assert act.done == 1


@pytest.mark.parametrize("key", ["", "short", "k" * 65, "ключ" * 6, "k" * 21 + "\n"])
def test_a_form_without_a_key_of_its_own_is_refused(ledger: Ledger, key: str):
    act = Act()
    with pytest.raises(DocumentError, match="no key"):
        Sending(ledger).once(key, "/x", "TT-1", AT, act)
    assert act.done == 0


def test_forms_are_forgotten_in_the_end(ledger: Ledger):
    sending = Sending(ledger)
    sending.once(KEY, "/x", "TT-1", AT, Act())
    sending.once("n" * 22, "/x", "TT-1", AT + KEPT + timedelta(seconds=1), Act())
    with ledger.reading() as records:
        assert records.form(KEY) is None
