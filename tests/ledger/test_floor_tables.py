"""The tables of the shop floor: they only grow, and what is changed behind their back is named."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, exc
from tests.ledger.floor import START, Stages

from spinproof.ledger import database, shop_tables
from spinproof.ledger.ledger import open_ledger

TABLES = sorted(
    {table.__tablename__ for table in shop_tables.ACTS.values()}
    - {"vacancy", "scope_step", "terms"}
)
"""Those that hold a row when a head is built; the others are made the same way."""


@pytest.fixture(
    scope="module", params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]
)
def grown(
    request: pytest.FixtureRequest, stages: Stages, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Engine]:
    """Give the database of a head at its bonding check."""
    if request.param == "sqlite":
        path: Path = tmp_path_factory.mktemp("grown") / "ledger.db"
        path.write_bytes(stages.file("bonding").read_bytes())
        engine = database.connect(f"sqlite:///{path}", 5)
    else:
        server = request.getfixturevalue("server")
        empty = request.getfixturevalue("empty_database")
        name = server.new_database(stages.database("bonding", server, empty))
        engine = database.connect(server.url(name), 5)
    yield engine
    engine.dispose()


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("act", ["UPDATE {} SET who = 'XX-9'", "DELETE FROM {}"])
def test_the_database_refuses_to_change_what_was_recorded(grown: Engine, table: str, act: str):
    with pytest.raises(exc.DBAPIError, match="append-only"), grown.begin() as connection:
        connection.exec_driver_sql(act.format(table))


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE measurement SET verdict = 'pass', value = 0.01 WHERE id = 1", "measurement 1"),
        ("UPDATE part_step SET position = 'VN2' WHERE id = 3", "part_step 3"),
        ("UPDATE signature SET who = 'QI-9' WHERE id = 2", "signature 2"),
        ("DELETE FROM check_result WHERE id = 1", "check_result 1 is in the trail, and gone"),
        ("UPDATE matter_step SET state = 'removed' WHERE id = 3", "matter_step 3"),
    ],
)
def test_what_was_changed_behind_the_trail_is_named(
    stages: Stages, tmp_path: Path, statement: str, told: str
):
    path = tmp_path / "ledger.db"
    path.write_bytes(stages.file("bonding").read_bytes())
    engine = database.connect(f"sqlite:///{path}", 5)
    with engine.begin() as connection:
        rows = connection.exec_driver_sql(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall()
        for (name,) in rows:
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
        connection.exec_driver_sql(statement)
    engine.dispose()
    ledger = open_ledger(f"sqlite:///{path}", at=START)
    with ledger.reading() as records:
        broken = records.verify_audit().broken
    ledger.close()

    assert broken is not None
    assert told in broken
