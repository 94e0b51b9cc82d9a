"""Opening a ledger: making, upgrading and refusing."""

from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Connection, event
from tests.demo_files import JOB
from tests.ledger.cases import AT, later, take_in

from spinproof.files.tree import EMPTY_ROOT
from spinproof.ledger import audit, database, tables
from spinproof.ledger.ledger import Ledger, open_ledger
from spinproof.model.errors import BusyError, RecordError, StorageError


def test_the_migrations_make_the_tables_that_the_code_expects(bare_url: str):
    open_ledger(bare_url, at=AT).close()
    engine = database.connect(bare_url, 5)

    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, tables.Base.metadata) == []
    engine.dispose()


def test_records_are_there_when_a_ledger_is_opened_again(bare_url: str):
    first = open_ledger(bare_url, at=AT)
    take_in(first)
    first.close()

    again = open_ledger(bare_url, at=later(60))
    with again.reading() as records:
        assert [job.name for job in records.jobs()] == ["QA-1041"]
    again.close()


def test_a_full_disk_loses_nothing_that_was_stored(tmp_path: Path):
    ledger = open_ledger(f"sqlite:///{tmp_path / 'ledger.db'}", at=AT)
    take_in(ledger)
    stored = 0

    @event.listens_for(ledger._engine, "begin")
    def fill(connection: Connection) -> None:
        if stored == 0:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
            connection.exec_driver_sql(f"PRAGMA max_page_count={pages + 20}")

    def write_on() -> None:
        nonlocal stored
        while True:
            with ledger.transaction("TT-1", later(stored)) as records:
                records.add_evidence("QA-1041", f"{stored:064x}", f"{stored}.txt", "a log" * 50)
            stored += 1

    with pytest.raises(StorageError, match="disk is full") as caught:
        write_on()
    event.remove(ledger._engine, "begin", fill)
    ledger.close()

    assert "Free space on that disk" in str(caught.value)
    again = open_ledger(f"sqlite:///{tmp_path / 'ledger.db'}", at=AT)
    with again.transaction("TT-1", later(9999)) as records:
        records.add_evidence("QA-1041", "f" * 64, "after.txt", "after space was freed")
    with again.reading() as records:
        assert len(records.evidence("QA-1041")) == stored + 1 > 10
        assert records.verify_audit().findings == ()
    again.close()


@pytest.mark.parametrize(
    ("url", "message"),
    [
        ("no address", "no database address"),
        ("sqlite://", "cannot be kept in this database"),
        ("mysql://somebody@nowhere/ledger", "cannot be kept in this database"),
        ("sqlite:////no/such/folder/ledger.db", "unable to open"),
        ("postgresql://somebody@/ledger?host=/no/such/folder", "connection"),
    ],
)
def test_an_address_that_leads_nowhere_is_refused_in_words(url: str, message: str):
    with pytest.raises(StorageError, match=message):
        open_ledger(url, at=AT)


def test_a_password_is_not_repeated_in_an_error():
    with pytest.raises(StorageError) as caught:
        open_ledger("postgresql://shop:s3cret@/ledger?host=/no/such/folder", at=AT)

    assert "s3cret" not in str(caught.value)


def test_a_file_that_is_no_ledger_is_refused_and_left_alone(tmp_path: Path):
    path = tmp_path / "ledger.db"
    path.write_text("notes about the job\n" * 100)

    with pytest.raises(StorageError, match="not a database"):
        open_ledger(f"sqlite:///{path}", at=AT)

    assert path.read_text() == "notes about the job\n" * 100


def test_a_file_is_kept_with_durable_settings(tmp_path: Path):
    engine = database.connect(f"sqlite:///{tmp_path / 'ledger.db'}", 5)

    with engine.connect() as connection:
        settings = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys", "secure_delete")
        }
    engine.dispose()
    full = 2
    assert settings == {
        "journal_mode": "wal",
        "synchronous": full,
        "foreign_keys": 1,
        "secure_delete": 1,
    }


def test_a_writer_that_waits_in_vain_says_that_the_ledger_is_busy(url: str):
    first = open_ledger(url, at=AT)
    second = open_ledger(url, at=AT, patience_s=0.05)

    with first.transaction("AS-2", AT) as records:
        records.jobs()
        with (
            pytest.raises(BusyError, match="another writer"),
            second.transaction("TT-1", AT) as blocked,
        ):
            blocked.jobs()
    first.close()
    second.close()


def fail_half_way(ledger: Ledger) -> None:
    with ledger.transaction("AS-2", AT) as records:
        records.add_job(JOB)
        raise RuntimeError("power")


def test_an_error_inside_a_transaction_rolls_all_of_it_back(ledger: Ledger):
    with pytest.raises(RuntimeError, match="power"):
        fail_half_way(ledger)

    with ledger.reading() as records:
        assert records.jobs() == ()
        assert records.audit() == ()


def test_nobody_signs_as_the_judge_and_nobody_signs_without_a_name(ledger: Ledger):
    for who in ("Judge", "  "):
        with pytest.raises(RecordError), ledger.transaction(who, AT):
            pass


def test_a_time_without_an_offset_is_refused(ledger: Ledger):
    with (
        pytest.raises(RecordError, match="offset from UTC"),
        ledger.transaction("AS-2", AT.replace(tzinfo=None)),
    ):
        pass


def test_reading_sees_one_state_while_another_writes(ledger: Ledger):
    with ledger.reading() as before:
        assert before.jobs() == ()
        take_in(ledger)
        assert before.jobs() == ()
    with ledger.reading() as after:
        assert len(after.jobs()) == 1


def test_a_ledger_without_records_has_an_empty_trail(ledger: Ledger):
    with ledger.reading() as records:
        check = records.verify_audit()
        with pytest.raises(RecordError, match="nothing was recorded yet"):
            records.tree_head()

    assert (check.entries, check.head, check.broken) == (0, audit.BEGINNING, None)
    assert check.root == EMPTY_ROOT.hex()
