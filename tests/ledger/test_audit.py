"""The audit trail: its chain, its guards, and what happens when somebody goes round them."""

import json
import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from sqlalchemy import Connection, Engine, exc
from tests.ledger.cases import (
    AT,
    CORRECTED,
    HEAD,
    add_supply_log,
    attempt,
    later,
    open_burn_in,
    start,
)
from tests.ledger.insider import check, head_of, insider, mended, rows_of, store

from spinproof.ledger import database, people_tables, shop_tables, tables
from spinproof.ledger.acts import ACTS
from spinproof.ledger.heads import Anchor, Way
from spinproof.ledger.ledger import Ledger, open_ledger
from spinproof.model.run import Outcome, Purpose


@pytest.fixture(
    scope="module", params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]
)
def url(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Give the address of a ledger that all tests here share."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path_factory.mktemp('audit') / 'ledger.db'}"
    server = request.getfixturevalue("server")
    return server.url(server.new_database())


@pytest.fixture(scope="module")
def lived(url: str) -> Iterator[Ledger]:
    """Give a ledger that has seen every kind of change."""
    ledger = open_ledger(url, at=AT)
    open_burn_in(ledger)
    with ledger.transaction("TT-1", later(10)) as records:
        attempt(records, Outcome.COUNTED)
        dipped = attempt(records, Outcome.RELEVANT_FAILURE)
        records.classify(
            dipped.name,
            Outcome.INVALID_OUTSIDE,
            reasons=("supply fell",),
            evidence=(add_supply_log(records),),
            second="QI-2",
        )
        attempt(records, Outcome.RELEVANT_FAILURE)
        records.set_configuration(HEAD, CORRECTED, "lock-nut torqued")
        start(records, purpose=Purpose.TRIAL)
    head = head_of(ledger)
    with ledger.transaction("QI-2", later(20)) as records:
        records.note_anchor(head, Way.LETTER, "purchasing, with the scope")
    yield ledger
    ledger.close()


@pytest.fixture(scope="module")
def engine(url: str, lived: Ledger) -> Iterator[Engine]:
    opened = database.connect(url, 5)
    yield opened
    opened.dispose()


def finding(connection: Connection, *anchors: Anchor) -> str | None:
    return check(connection, *anchors).broken


def rewrite(connection: Connection, **changes: object) -> None:
    """Change row 40 and mend every hash after it, as an insider with time would."""
    rows = rows_of(connection)
    store(connection, mended([*rows[:39], replace(rows[39], **changes), *rows[40:]]))


def test_every_change_tells_who_when_what_and_why(lived: Ledger):
    with lived.reading() as records:
        (entry,) = [e for e in records.audit() if e.act == "campaign.close"]

    assert (entry.who, entry.at) == ("TT-1", "2031-05-06T07:08:19.123Z")
    assert (entry.object, entry.why) == (f"head {HEAD}", "lock-nut torqued")
    assert entry.before is not None
    assert json.loads(entry.before)["closing"] is None
    assert json.loads(entry.after)["closing"] == "configuration changed"


def test_the_trail_of_one_run_tells_its_life(lived: Ledger):
    with lived.reading() as records:
        acts = [entry.act for entry in records.audit("run QA-1041-L-002")]

    assert acts == ["run.start", "run.finish", "run.judge", "run.classify", "run.classify"]


def test_the_trail_of_a_whole_life_holds_together(lived: Ledger):
    with lived.reading() as records:
        check, entries = records.verify_audit(), records.audit()

    assert check.broken is None
    assert (check.entries, check.head) == (len(entries), entries[-1].sha256)
    assert {entry.act for entry in entries} == set(ACTS) - {
        "scope.change",
        "ledger.restore",
        *people_tables.ACTS,
        *shop_tables.ACTS,
    }
    assert [entry.seq for entry in entries] == list(range(1, len(entries) + 1))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE audit SET who = who",
        "UPDATE document SET canonical = canonical",
        "UPDATE configuration SET what = what",
        "UPDATE evidence SET name = name",
        "UPDATE judgement SET outcome = outcome",
        "UPDATE classification SET outcome = outcome",
        "UPDATE run SET number = number",
        "UPDATE run SET recipe_sha256 = head_sha256",
        "DELETE FROM audit",
        "DELETE FROM document",
        "DELETE FROM configuration",
        "DELETE FROM evidence",
        "DELETE FROM judgement",
        "DELETE FROM classification",
        "DELETE FROM run",
        "DELETE FROM campaign",
        "DELETE FROM scope_item",
    ],
)
def test_the_database_itself_refuses_to_change_what_was_recorded(engine: Engine, statement: str):
    with pytest.raises(exc.DBAPIError, match="append-only"), engine.begin() as connection:
        connection.exec_driver_sql(statement)


@pytest.mark.parametrize("table", [t for t in tables.APPEND_ONLY if t != "restoration"])
def test_a_row_cannot_be_replaced_or_truncated_away(engine: Engine, table: str):
    replace = f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}"  # noqa: S608 - our own names
    statement = replace if engine.dialect.name == "sqlite" else f"TRUNCATE {table} CASCADE"
    with pytest.raises(exc.DBAPIError, match="append-only"), engine.begin() as connection:
        connection.exec_driver_sql(statement)


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE audit SET who = 'XX-9' WHERE seq = 40", "row 40 was changed"),
        ("UPDATE audit SET after = '{}' WHERE seq = 40", "row 40 was changed"),
        ("DELETE FROM audit WHERE seq = 40", "row 40 is missing: row 41 follows row 39"),
        (
            "UPDATE audit SET previous = (SELECT sha256 FROM audit WHERE seq = 38) WHERE seq = 40",
            "row 40 does not follow",
        ),
        (
            "UPDATE classification SET outcome = 'counted' WHERE outcome = 'relevant failure'",
            "classification 2 is not what the trail tells: outcome differs",
        ),
        ("DELETE FROM classification WHERE id = 4", "classification 4 is in the trail, and gone"),
        ("DELETE FROM run WHERE number = 4", "run QA-1041-L-004 is in the trail, and gone"),
        ("UPDATE run SET number = 9 WHERE number = 3", "run QA-1041-L-003 is not what the trail"),
        ("UPDATE judgement SET canonical = '{}' WHERE id = 2", "judgement .* was changed after"),
        (
            "UPDATE document SET canonical = replace(canonical, '450', '451') WHERE kind = 'plan'",
            "document .* was changed after",
        ),
        ("UPDATE unit SET in_scope = true WHERE letter = 'U'", "unit QM-207-U is not what"),
        (
            "INSERT INTO evidence SELECT 'ab', job, name, what, who, at FROM evidence",
            "evidence ab is not in the trail",
        ),
    ],
)
def test_what_was_changed_behind_the_trail_is_named(engine: Engine, statement: str, told: str):
    with insider(engine) as connection:
        assert finding(connection) is None
        connection.exec_driver_sql(statement)

        assert re.match(told, finding(connection) or "")


def test_an_act_that_the_ledger_does_not_know_is_named(engine: Engine):
    with insider(engine) as connection:
        rewrite(connection, act="run.bless")

        assert finding(connection) == "row 40 tells of run.bless, which is no act of the ledger"


def test_everything_that_does_not_hold_is_named_not_the_first_alone(engine: Engine):
    with insider(engine) as connection:
        connection.exec_driver_sql("UPDATE audit SET who = 'XX-9' WHERE seq IN (20, 40)")
        connection.exec_driver_sql("DELETE FROM audit WHERE seq BETWEEN 50 AND 52")
        connection.exec_driver_sql("UPDATE unit SET in_scope = true WHERE letter = 'U'")

        findings = check(connection).findings

    assert findings[:2] == (
        "row 20 was changed after it was written",
        "row 40 was changed after it was written",
    )
    assert "rows 50 to 52 are missing: row 53 follows row 49" in findings
    assert "unit QM-207-U is not what the trail tells: in_scope differs" in findings


def test_an_edit_that_a_later_change_would_launder_is_named(engine: Engine, lived: Ledger):
    with lived.reading() as records:
        number = next(e.seq for e in records.audit() if e.act == "run.finish")
    with insider(engine) as connection:
        rows = rows_of(connection)
        was = rows[number - 1]
        before = (was.before or "").replace('"wafer_count":13', '"wafer_count":25')
        laundered = replace(was, before=before)
        assert laundered != was
        store(connection, mended([*rows[: number - 1], laundered, *rows[number:]]))

        assert f"row {number} begins from another state of run QA-1041-L-001" in str(
            finding(connection)
        )
