"""A ledger as text, and a ledger built from it again: the same rows, tables and root."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import Engine, select
from tests.demo_files import JOB
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
from tests.ledger.floor import Floor
from tests.ledger.insider import head_of, letter

from spinproof.files.digest import sha256_of_bytes
from spinproof.files.tree import root_of
from spinproof.ledger import database, tables
from spinproof.ledger.heads import Anchor, Way
from spinproof.ledger.importing import build_ledger, read_line
from spinproof.ledger.ledger import Ledger, open_ledger
from spinproof.model.access import Role
from spinproof.model.errors import RecordError
from spinproof.model.run import Ending, Outcome, Purpose

OTHER_JOB = JOB.to_document() | {"job": "QA-1042", "machine": "QM-300"}


@pytest.fixture
def lived(ledger: Ledger) -> Ledger:
    """Give a ledger that has seen many kinds of change."""
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
        records.set_configuration(HEAD, CORRECTED, "lock-nut torqued")
        start(records, purpose=Purpose.TRIAL)
        records.add_person("RT-1", Role.OWNER)
    head = head_of(ledger)
    with ledger.transaction("QI-2", later(20)) as records:
        records.note_anchor(head, Way.LETTER, "purchasing")
    return ledger


ON_SQLITE = pytest.mark.parametrize("backend", ["sqlite"])
INTO_SQLITE = pytest.mark.parametrize(
    ("backend", "target"), [("sqlite", "sqlite")], indirect=["target"]
)


class Export:
    """What was exported, as files would hold it."""

    def __init__(self, ledger: Ledger, folder: Path, withheld: frozenset[int] = frozenset()):
        folder.mkdir()
        self.texts = folder
        self.head = letter(head_of(ledger))
        with ledger.reading() as records:
            self.lines = list(records.export_lines(withheld))
            for sha256, text in records.export_texts(withheld):
                (folder / f"{sha256}.json").write_text(text)

    def build(self, url: str, head: Anchor | None = None) -> None:
        """Build a ledger from it."""
        lines = (read_line(line, number) for number, line in enumerate(self.lines, 1))
        build_ledger(url, "2031-06-01T00:00:00.000Z", lines, self.texts, head or self.head)


@pytest.fixture
def export(lived: Ledger, tmp_path: Path) -> Export:
    return Export(lived, tmp_path / "documents")


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def target(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Give the address of an empty database of either kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'built.db'}"
    else:
        server = request.getfixturevalue("server")
        name = server.new_database()
        yield server.url(name)
        server.drop(name)


def contents(url: str) -> dict[str, list[tuple[object, ...]]]:
    engine: Engine = database.connect(url, 5)
    kept = [t for t in tables.Base.metadata.sorted_tables if t.name != "release"]
    with engine.connect() as connection:
        found = {
            table.name: [
                tuple(row)
                for row in connection.execute(select(table).order_by(*table.primary_key.columns))
            ]
            for table in kept
        }
    engine.dispose()
    return found


def test_a_ledger_built_from_its_export_is_the_same_on_either_backend(
    export: Export, url: str, target: str
):
    export.build(target)

    built = contents(target)
    assert built == contents(url)
    assert len(built["run"]) == 3
    again = open_ledger(target, at=AT)
    with again.reading() as records:
        check = records.verify_audit([export.head])
    again.close()
    assert check.findings == ()
    assert check.root == export.head.signed.head.root


def test_a_built_ledger_goes_on_and_keeps_its_guards(export: Export, target: str):
    export.build(target)
    again = open_ledger(target, at=AT)
    with again.transaction("TT-1", later(99)) as records:
        running = records.runs(HEAD)[-1]
        records.finish_run(running.name, Ending.STAND_LOST, None)
        records.classify(running.name, Outcome.ABORTED, reasons=("after the move",))
    engine = database.connect(target, 5)
    with engine.connect() as connection, pytest.raises(Exception, match="append-only"):
        connection.exec_driver_sql("DELETE FROM audit")
    engine.dispose()
    with again.reading() as records:
        assert records.verify_audit([export.head]).findings == ()
    again.close()


@INTO_SQLITE
def test_exporting_twice_gives_the_same_bytes(lived: Ledger, tmp_path: Path, target: str):
    first = Export(lived, tmp_path / "first")
    first.build(target)
    built = open_ledger(target, at=AT)
    second = Export(built, tmp_path / "second")
    built.close()

    assert first.lines == second.lines
    assert {p.name: p.read_bytes() for p in first.texts.iterdir()} == {
        p.name: p.read_bytes() for p in second.texts.iterdir()
    }


@ON_SQLITE
def test_a_document_is_named_by_its_sum(export: Export):
    files = list(export.texts.iterdir())

    assert len(files) > 10
    assert all(sha256_of_bytes(file.read_bytes()) == file.stem for file in files)


@ON_SQLITE
def test_a_withheld_row_ships_as_its_leaf_and_the_root_still_comes_out(
    lived: Ledger, tmp_path: Path
):
    export = Export(lived, tmp_path / "part", frozenset({3, 40}))
    lines = [json.loads(line) for line in export.lines]
    leaves = [bytes.fromhex(read_line(line, n).leaf) for n, line in enumerate(export.lines, 1)]

    assert lines[2] == {"leaf": lines[2]["leaf"], "seq": 3}
    assert root_of(leaves).hex() == export.head.signed.head.root
    with lived.reading() as records:
        asked = list(records.export_lines({3}, salts_of_withheld=True))[2]
    assert set(json.loads(asked)) == {"leaf", "seq", "salt"}


@ON_SQLITE
def test_an_export_of_one_job_holds_all_of_it_and_nothing_of_another(lived: Ledger, tmp_path: Path):
    with lived.reading() as records:
        own = {row.seq for row in records.audit()}
    other = type(JOB).from_document(json.loads(json.dumps(OTHER_JOB).replace("QM-207", "QM-300")))
    with lived.transaction("RT-1", later(30)) as records:
        records.add_job(other)
        records.add_evidence("QA-1042", "e" * 64, "secret.txt", "of the other customer")
    with lived.reading() as records:
        withheld = records.rows_of_other_jobs("QA-1041")
        people = {row.seq for row in records.audit() if row.act.startswith("person")}
    export = Export(lived, tmp_path / "part", withheld)

    assert withheld & own == people
    assert "QA-1042" not in b"".join(export.lines).decode()
    with lived.reading() as records:
        mine = records.rows_of_other_jobs("QA-1042")
    part = b"".join(Export(lived, tmp_path / "mine", mine).lines).decode()
    assert "QA-1041" not in part
    assert "secret.txt" in part


@INTO_SQLITE
def test_an_export_with_withheld_rows_builds_no_ledger(lived: Ledger, tmp_path: Path, target: str):
    export = Export(lived, tmp_path / "part", frozenset({40}))

    with pytest.raises(RecordError, match="row 40 is withheld"):
        export.build(target)

    assert contents(target)["audit"] == []


@INTO_SQLITE
def test_a_changed_line_is_refused(export: Export, target: str):
    export.lines[9] = export.lines[9].replace(b"RT-1", b"RT-2")

    with pytest.raises(RecordError, match="the row was changed since it was exported") as caught:
        export.build(target)

    assert "line 10" in caught.value.where
    assert contents(target)["audit"] == []


@pytest.mark.parametrize(
    "line", [b"", b"{", b"[]", b'{"seq":1}', b'{"leaf":"ab","seq":1,"act":"x"}', b"\xff\n", b"1"]
)
def test_a_line_that_is_none_is_refused(line: bytes):
    with pytest.raises(RecordError, match="line 1 of the audit trail"):
        read_line(line, 1)


@INTO_SQLITE
def test_lines_out_of_order_or_missing_are_refused(export: Export, target: str):
    del export.lines[12]

    with pytest.raises(RecordError, match="out of order"):
        export.build(target)


@INTO_SQLITE
def test_a_missing_or_changed_document_is_refused(export: Export, target: str):
    file = max(export.texts.iterdir())
    file.write_bytes(file.read_bytes().replace(b"{", b"{ ", 1))

    with pytest.raises(RecordError, match="the document is missing or was changed"):
        export.build(target)
    file.unlink()
    with pytest.raises(RecordError, match="the document is missing or was changed"):
        export.build(target)

    assert contents(target)["audit"] == []


@INTO_SQLITE
def test_an_export_cut_at_its_end_or_with_another_head_builds_nothing(export: Export, target: str):
    last = export.lines.pop()
    with pytest.raises(RecordError, match="was cut off"):
        export.build(target)
    export.lines.append(last)
    head = export.head.signed.head
    with pytest.raises(RecordError, match="was changed: the letter"):
        export.build(target, letter(replace(head, root="ab" * 32)))

    assert contents(target)["audit"] == []


def test_a_ledger_with_records_is_not_imported_into(export: Export, url: str):
    before = contents(url)
    with pytest.raises(RecordError, match="holds records already"):
        export.build(url)

    assert contents(url) == before


def test_a_head_that_passed_its_wet_test_comes_back_with_every_record(
    wet_floor: Floor, tmp_path: Path, target: str
):
    export = Export(wet_floor.ledger, tmp_path / "documents")
    export.build(target)

    built = contents(target)
    assert built == contents(str(wet_floor.ledger._engine.url))
    filled = {name for name, rows in built.items() if rows}
    assert {"measurement", "check_result", "signature", "part_step", "instrument_event"} <= filled
    with wet_floor.ledger.reading() as records:
        (job,) = [job.name for job in records.jobs()]
        assert records.rows_of_other_jobs(job) == frozenset()
