"""Upgrading a ledger: its rows are kept, a failure changes nothing, a newer one is refused."""

import errno
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Engine, event, inspect, make_url
from tests.ledger.cases import AT, HEAD, later, open_burn_in, take_in
from tests.ledger.full_disk import no_file_beyond

from spinproof.ledger import database, upgrade
from spinproof.ledger.ledger import open_ledger
from spinproof.model.errors import StorageError
from spinproof.model.job import Process

PRESENT = max(file.name for file in (upgrade.MIGRATIONS / "versions").glob("r*.py"))[1:5]
FIRST_RECORDS = (
    "INSERT INTO job VALUES ('QA-7', 'PO-1', 'Shop', '2031-05-01T00:00:00.000Z')",
    "INSERT INTO audit VALUES (1, '2031-05-01T00:00:00.000Z', 'RT-1', 'job.add', 'job QA-7', NULL,"
    """'{"name":"QA-7","opened_at":"2031-05-01T00:00:00.000Z","order_token":"PO-1","shop":"Shop"}',"""
    "NULL, '" + "0" * 64 + "', '0f365571203aeade8ccc6e0c66400cf6d3663be7c89c0ee73cf69f1a6f288235')",
)
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


@pytest.fixture
def first_release(bare_url: str) -> str:
    """Give the address of a ledger with the tables and the records of the first release."""
    engine = database.connect(bare_url, 5)
    with database.writer(engine).begin() as connection:
        config = Config()
        config.set_main_option("script_location", str(upgrade.MIGRATIONS))
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
        for statement in FIRST_RECORDS:
            connection.exec_driver_sql(statement)
    engine.dispose()
    return bare_url


def test_the_first_release_is_upgraded_with_its_unsalted_rows(first_release: str):
    ledger = open_ledger(first_release, at=AT)
    with ledger.transaction("TT-1", later(60)) as records:
        records.add_evidence("QA-7", "ab" * 32, "note.txt", "what was seen")

    with ledger.reading() as records:
        check, rows = records.verify_audit(), records.audit()
    ledger.close()
    assert check.findings == ()
    assert [row.salt is None for row in rows] == [True, False]
    assert rows[1].previous == rows[0].sha256


class Failing:
    """Let the n-th statement of an upgrade fail, as a full disk or a power cut would."""

    def __init__(self, engine: Engine) -> None:
        self.left = 10_000
        event.listen(engine, "before_cursor_execute", self.before)

    def before(self, *_: object) -> None:
        """Count down to the statement that fails."""
        self.left -= 1
        if self.left < 0:
            raise OSError(errno.EIO, "the disk is gone")


def statements_of_an_upgrade(url: str) -> int:
    engine = database.connect(url, 5)
    counter = Failing(engine)
    upgrade.bring_up_to_date(engine, "2031-06-01T00:00:00.000Z")
    engine.dispose()
    return 10_000 - counter.left


def test_an_upgrade_that_fails_at_any_statement_leaves_the_first_release_as_it_was(
    first_release: str, backend: str, tmp_path: Path, request: pytest.FixtureRequest
):
    path = tmp_path / "ledger.db"
    if backend == "sqlite":
        before = path.read_bytes()
        count = statements_of_an_upgrade(first_release)
        path.write_bytes(before)
    else:
        server = request.getfixturevalue("server")
        twin = server.new_database(make_url(first_release).database)
        count = statements_of_an_upgrade(server.url(twin))
    engine = database.connect(first_release, 5)
    failing = Failing(engine)
    for n in range(3, count, 6):  # the first statements belong to the connection
        failing.left = n
        with pytest.raises(OSError, match="the disk is gone"):
            upgrade.bring_up_to_date(engine, "2031-06-01T00:00:00.000Z")
        failing.left = 10_000
        with engine.connect() as connection:
            assert MigrationContext.configure(connection).get_current_revision() == "0001"
            assert connection.exec_driver_sql("SELECT name FROM job").fetchall() == [("QA-7",)]
            assert not inspect(connection).has_table("release")

    upgrade.bring_up_to_date(engine, "2031-06-01T00:00:00.000Z")
    engine.dispose()
    open_ledger(first_release, at=AT).close()


def test_an_upgrade_without_room_for_the_copy_changes_nothing(
    tmp_path: Path, later_migrations: Path
):
    path = tmp_path / "ledger.db"
    ledger = open_ledger(f"sqlite:///{path}", at=AT)
    take_in(ledger)
    ledger.close()
    engine = database.connect(f"sqlite:///{path}", 5)

    with no_file_beyond(100_000), pytest.raises(StorageError, match="cannot be read or copied"):
        upgrade.bring_up_to_date(engine, "2031-06-01T00:00:00.000Z", later_migrations)

    engine.dispose()
    assert list(tmp_path.glob("*before-upgrade*")) == []
    again = open_ledger(f"sqlite:///{path}", at=AT)
    with again.reading() as records:
        assert [job.name for job in records.jobs()] == ["QA-1041"]
    again.close()


def test_a_ledger_of_a_newer_release_is_refused_and_the_release_named(
    bare_url: str, later_migrations: Path, monkeypatch: pytest.MonkeyPatch
):
    open_ledger(bare_url, at=AT).close()
    engine = database.connect(bare_url, 5)
    monkeypatch.setattr(upgrade, "SOFTWARE", "spinproof 7.2.0")
    upgrade.bring_up_to_date(engine, "2031-06-01T00:00:00.000Z", later_migrations)
    engine.dispose()
    monkeypatch.undo()

    with pytest.raises(StorageError, match=r"written by spinproof 7\.2\.0, and this is") as caught:
        open_ledger(bare_url, at=AT)

    assert "Install spinproof 7.2.0 or a later one; nothing was changed." in str(caught.value)


def test_a_ledger_of_an_unknown_release_is_refused(first_release: str):
    engine = database.connect(first_release, 5)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    engine.dispose()

    with pytest.raises(StorageError, match="a newer version of spinproof"):
        open_ledger(first_release, at=AT)


def test_a_job_of_the_first_release_is_burn_in_only(first_release: str):
    ledger = open_ledger(first_release, at=AT)
    with ledger.reading() as records:
        terms = records.terms("QA-7")
    ledger.close()

    assert terms.process is Process.BURN_IN_ONLY
    assert (terms.rules_sha256, terms.required_runs) == (None, None)
