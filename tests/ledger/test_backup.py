"""Copies of a ledger in use, put back on either backend, and what spoils them."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.ledger.cases import AT, HEAD, attempt, later, open_burn_in, start, take_in
from tests.ledger.full_disk import no_file_beyond
from tests.ledger.insider import head_of, letter
from tests.ledger.test_export import contents

from spinproof.ledger.backup import head_of_copy, put_back
from spinproof.ledger.ledger import Ledger, open_ledger
from spinproof.model.errors import BusyError, StorageError
from spinproof.model.run import Ending, Outcome, Purpose

AT_TEXT = "2031-06-01T00:00:00.000Z"


@pytest.fixture
def lived(ledger: Ledger) -> Ledger:
    open_burn_in(ledger)
    with ledger.transaction("TT-1", later(10)) as records:
        attempt(records, Outcome.COUNTED)
        start(records, purpose=Purpose.TRIAL)
    return ledger


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def target(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Give the address of a place for a ledger, of either kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'restored.db'}"
    else:
        server = request.getfixturevalue("server")
        name = server.new_database()
        yield server.url(name)
        server.drop(name)


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(f"sqlite:///{tmp_path / 'ledger.db'}", at=AT)
    take_in(opened)
    yield opened
    opened.close()


def test_a_copy_put_back_on_either_backend_is_the_same_ledger_and_goes_on(
    lived: Ledger, url: str, target: str, tmp_path: Path
):
    copy = tmp_path / "copy.db"
    lived.save_copy(copy, AT)
    before = copy.read_bytes()
    head = head_of(lived)

    put_back(copy, target, AT_TEXT)

    assert contents(target) == contents(url)
    assert head_of_copy(copy) == head.head
    again = open_ledger(target, at=AT)
    with again.transaction("TT-1", later(99)) as records:
        running = records.runs(HEAD)[-1]
        records.finish_run(running.name, Ending.STAND_LOST, None)
        records.classify(running.name, Outcome.ABORTED, reasons=("after the move",))
    with again.reading() as records:
        assert records.verify_audit([letter(head)]).findings == ()
    again.close()
    assert copy.read_bytes() == before
    assert {path.name for path in tmp_path.glob("copy*")} == {"copy.db"}


def test_a_copy_made_while_others_write_is_one_state(ledger: Ledger, tmp_path: Path):
    take_in(ledger)
    stop = threading.Event()

    def write() -> None:
        for i in range(10_000):
            if stop.is_set():
                return
            with ledger.transaction("W-1", later(i)) as records:
                records.add_evidence("QA-1041", f"{i:064x}", f"{i}.txt", "one of many")

    writer = threading.Thread(target=write)
    writer.start()
    try:
        heads = []
        for i in range(5):
            ledger.save_copy(tmp_path / f"{i}.db", AT)
            heads.append(head_of_copy(tmp_path / f"{i}.db"))
    finally:
        stop.set()
        writer.join()

    with ledger.reading() as records:
        assert [records.tree_head(head.size) for head in heads if head] == heads
    copy = open_ledger(f"sqlite:///{tmp_path / '4.db'}", at=AT)
    with copy.reading() as records:
        assert records.verify_audit().findings == ()
    copy.close()


@pytest.mark.parametrize("beyond", [0, 4096, 100_000])
def test_no_part_of_a_copy_stays_on_a_full_disk(small: Ledger, tmp_path: Path, beyond: int):
    (tmp_path / "backup").mkdir()
    with no_file_beyond(beyond), pytest.raises(StorageError):
        small.save_copy(tmp_path / "backup" / "copy.db", AT)

    assert list((tmp_path / "backup").iterdir()) == []
    small.save_copy(tmp_path / "backup" / "copy.db", AT)


def test_an_earlier_copy_stays_when_the_next_fails(small: Ledger, tmp_path: Path):
    copy = tmp_path / "copy.db"
    small.save_copy(copy, AT)
    before = copy.read_bytes()
    with no_file_beyond(4096), pytest.raises(StorageError):
        small.save_copy(copy, AT)

    assert copy.read_bytes() == before


def test_a_ledger_that_is_there_is_not_replaced(small: Ledger, target: str, tmp_path: Path):
    copy = tmp_path / "copy.db"
    small.save_copy(copy, AT)
    put_back(copy, target, AT_TEXT)
    before = contents(target)
    with pytest.raises(BusyError, match="a ledger with records is there already"):
        put_back(copy, target, AT_TEXT)

    assert contents(target) == before


def test_a_damaged_copy_is_refused(small: Ledger, tmp_path: Path):
    copy = tmp_path / "copy.db"
    small.save_copy(copy, AT)
    data = bytearray(copy.read_bytes())
    for page in range(5, 60):
        data[page * 4096 : page * 4096 + 200] = b"\xff" * 200
    copy.write_bytes(data)

    with pytest.raises(StorageError, match=r"damaged|malformed"):
        head_of_copy(copy)


@pytest.mark.parametrize("data", [b"", b"notes about the job\n" * 500])
def test_what_is_no_ledger_is_refused(tmp_path: Path, data: bytes):
    file = tmp_path / "copy.db"
    file.write_bytes(data)

    with pytest.raises(StorageError, match="cannot be read or copied"):
        head_of_copy(file)
    with pytest.raises(StorageError, match="there is no such copy"):
        head_of_copy(tmp_path / "none.db")


def test_a_copy_of_a_ledger_without_records_has_no_head(ledger: Ledger, tmp_path: Path):
    ledger.save_copy(tmp_path / "copy.db", AT)

    assert head_of_copy(tmp_path / "copy.db") is None
