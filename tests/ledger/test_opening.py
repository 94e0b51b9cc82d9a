"""Opening a ledger: making, upgrading and refusing."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from tests.demo_files import JOB
from tests.ledger.cases import AT, HEAD, later, open_burn_in, take_in

from spinproof.files.tree import EMPTY_ROOT
from spinproof.ledger import audit, database, tables, upgrade
from spinproof.ledger.ledger import Ledger, open_ledger
from spinproof.model.errors import BusyError, RecordError, StorageError

PRESENT = max(file.name for file in (upgrade.MIGRATIONS / "versions").glob("r*.py"))[1:5]
NEXT = f'''
"""One migration more, as a later version might bring it."""

import sqlalchemy as sa
from alembic import op

revision = "9000"
down_revision = "{PRESENT}"


def upgrade() -> None:
    with op.batch_alter_table("machine", recreate="auto") as table:
        table.add_column(sa.Column("year", sa.Integer))
        table.alter_column("job", existing_type=sa.Text, nullable=True)
'''


@pytest.fixture
def later_migrations(tmp_path: Path) -> Path:
    folder = tmp_path / "migrations"
    shutil.copytree(upgrade.MIGRATIONS, folder, ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "versions" / "r9000_year_of_build.py").write_text(NEXT)
    return folder


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


def test_an_older_ledger_is_upgraded_and_keeps_the_rows_that_refer_to_a_rebuilt_table(
    bare_url: str, later_migrations: Path
):
    ledger = open_ledger(bare_url, at=AT)
    open_burn_in(ledger)
    ledger.close()
    engine = database.connect(bare_url, 5)

    upgrade.bring_up_to_date(engine, "2031-06-01T00:00:00.000Z", later_migrations)

    with engine.connect() as connection:
        assert MigrationContext.configure(connection).get_current_revision() == "9000"
        rows = connection.exec_driver_sql("SELECT designation FROM unit ORDER BY 1").fetchall()
        assert [row[0] for row in rows] == [HEAD, "QM-207-S", "QM-207-U"]
        assert connection.exec_driver_sql("SELECT year FROM machine").fetchall() == [(None,)]
    engine.dispose()


def test_a_file_is_copied_before_it_is_upgraded(tmp_path: Path, later_migrations: Path):
    path = tmp_path / "ledger.db"
    ledger = open_ledger(f"sqlite:///{path}", at=AT)
    take_in(ledger)
    ledger.close()
    engine = database.connect(f"sqlite:///{path}", 5)

    upgrade.bring_up_to_date(engine, "2031-06-01T00:00:00.000Z", later_migrations)

    engine.dispose()
    copy = tmp_path / f"ledger-before-upgrade-from-{PRESENT}-20310601T000000.000Z.db"
    with closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchall() == [
            (PRESENT,)
        ]
        assert connection.execute("SELECT name FROM job").fetchall() == [("QA-1041",)]


def test_an_upgrade_that_fails_changes_nothing(bare_url: str, later_migrations: Path):
    open_ledger(bare_url, at=AT).close()
    broken = later_migrations / "versions" / "r9000_year_of_build.py"
    broken.write_text(NEXT + '    op.drop_table("no_such_table")\n')
    engine = database.connect(bare_url, 5)

    with pytest.raises(StorageError), database.database_errors(engine):
        upgrade.bring_up_to_date(engine, "2031-06-01T00:00:00.000Z", later_migrations)

    with engine.connect() as connection:
        context = MigrationContext.configure(connection)
        assert context.get_current_revision() == PRESENT
        assert compare_metadata(context, tables.Base.metadata) == []
    engine.dispose()


def test_a_ledger_of_a_newer_version_is_refused(bare_url: str):
    open_ledger(bare_url, at=AT).close()
    engine = database.connect(bare_url, 5)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    engine.dispose()

    with pytest.raises(StorageError, match="newer version of spinproof"):
        open_ledger(bare_url, at=AT)


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
