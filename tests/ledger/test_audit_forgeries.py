"""Forgeries by somebody with every right: each found and named with a head from outside.

What no head from outside covers is found only where the forger left the hashes alone; else the
check says in words that it could not have seen it.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Connection, Engine
from tests.ledger.cases import AT, later, take_in
from tests.ledger.insider import (
    STATION_KEY,
    TRAIL,
    check,
    head_of,
    insider,
    letter,
    mended,
    rows_of,
    store,
)

from spinproof.files.tree import root_of
from spinproof.ledger import database, tables
from spinproof.ledger.entries import AuditEntry
from spinproof.ledger.heads import Anchor, SignedHead, TreeHead, Way, sign_head
from spinproof.ledger.ledger import Ledger, open_ledger

SIZE = 80
FIRST_FILE = 40
"""Rows from here on tell of evidence, one file each."""
OLDER, NEWER = 60, 75
"""Rows that the two heads outside vouch for."""
EACH = 12
EVIDENCE = tables.Evidence.__table__

Forgery = Callable[[Connection, int], object]


@pytest.fixture(
    scope="module", params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]
)
def url(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> str:
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path_factory.mktemp('forged') / 'ledger.db'}"
    server = request.getfixturevalue("server")
    return server.url(server.new_database())


@pytest.fixture(scope="module")
def ledger(url: str) -> Iterator[Ledger]:
    opened = open_ledger(url, at=AT)
    take_in(opened)
    with opened.reading() as records:
        begun = len(records.audit())
    assert begun < FIRST_FILE  # the rows before tell of the job
    with opened.transaction("TT-1", later(1)) as records:
        for i in range(begun, SIZE):
            records.add_evidence("QA-1041", f"{i:064x}", f"{i}.txt", f"log {i} of the supply")
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def engine(url: str, ledger: Ledger) -> Iterator[Engine]:
    opened = database.connect(url, 5)
    yield opened
    opened.dispose()


@pytest.fixture(scope="module")
def outside(ledger: Ledger) -> tuple[Anchor, Anchor]:
    """Give two heads as somebody outside kept them."""
    return letter(head_of(ledger, OLDER)), letter(head_of(ledger, NEWER))


def edit(connection: Connection, at: int) -> None:
    connection.execute(TRAIL.update().where(TRAIL.c.seq == at).values(who="XX-9"))


def edit_and_mend(connection: Connection, at: int) -> None:
    rows = rows_of(connection)
    rows[at - 1] = replace(rows[at - 1], at="2031-05-05T00:00:00.000Z")
    store(connection, mended(rows))


def delete(connection: Connection, at: int) -> None:
    connection.execute(TRAIL.delete().where(TRAIL.c.seq == at))


def drop_file(connection: Connection, row: AuditEntry) -> None:
    sha256 = row.object.removeprefix("evidence ")
    connection.execute(EVIDENCE.delete().where(EVIDENCE.c.sha256 == sha256))


def delete_and_mend(connection: Connection, at: int) -> None:
    rows = rows_of(connection)
    drop_file(connection, rows.pop(at - 1))
    store(connection, mended(rows))


def swap(connection: Connection, at: int) -> None:
    rows = rows_of(connection)
    one, other = rows[at - 1], rows[at - 5]
    rows[at - 1], rows[at - 5] = replace(other, seq=one.seq), replace(one, seq=other.seq)
    store(connection, rows)


def swap_and_mend(connection: Connection, at: int) -> None:
    rows = rows_of(connection)
    rows[at - 1], rows[at - 5] = rows[at - 5], rows[at - 1]
    store(connection, mended(rows))


def insert_and_mend(connection: Connection, at: int) -> None:
    rows = rows_of(connection)
    known = rows[at - 1]
    ours = known.object.removeprefix("evidence ")
    forged = "f" + ours[1:]
    values = connection.execute(EVIDENCE.select().where(EVIDENCE.c.sha256 == ours)).mappings().one()
    connection.execute(EVIDENCE.insert().values(dict(values) | {"sha256": forged}))
    after = known.after.replace(ours, forged)
    rows.insert(at - 1, replace(known, object=f"evidence {forged}", after=after))
    store(connection, mended(rows))


def cut(connection: Connection, at: int) -> None:
    rows = rows_of(connection)
    for row in rows[at - 1 :]:
        drop_file(connection, row)
    store(connection, rows[: at - 1])


def rewrite_all(connection: Connection, at: int) -> None:
    rows = rows_of(connection)
    store(connection, mended(replace(row, salt=f"{at:064x}") for row in rows))


CRUDE: dict[str, Forgery] = {"edit": edit, "delete": delete, "swap": swap}
CLEAN: dict[str, Forgery] = {
    "edit": edit_and_mend,
    "delete": delete_and_mend,
    "swap": swap_and_mend,
    "insert": insert_and_mend,
    "cut": cut,
    "rewrite from the first row": rewrite_all,
}


def places(first: int, last: int, seed: int) -> list[int]:
    """Choose rows to forge, the same ones each time."""
    chosen = np.random.default_rng(seed).permutation(np.arange(first, last + 1))
    return [int(row) for row in chosen[:EACH]]


@pytest.mark.parametrize("forgery", CRUDE)
def test_what_left_the_hashes_alone_is_named_without_any_head(engine: Engine, forgery: str):
    for at in places(FIRST_FILE + 5, SIZE - 1, 1):
        with insider(engine) as connection:
            CRUDE[forgery](connection, at)

            findings = check(connection).findings
        assert findings, at
        assert any(f"row {at}" in finding for finding in findings), at


@pytest.mark.parametrize("forgery", CLEAN)
def test_mended_hashes_contradict_a_head_from_outside(
    engine: Engine, outside: tuple[Anchor, Anchor], forgery: str
):
    for at in places(FIRST_FILE + 5, NEWER, 2):
        with insider(engine) as connection:
            CLEAN[forgery](connection, at)

            alone, against = check(connection), check(connection, *outside)
        assert alone.findings == (), at
        assert "nothing here would show it" in alone.unproved[0]
        assert against.findings, at


@pytest.mark.parametrize("forgery", sorted(set(CLEAN) - {"rewrite from the first row"}))
def test_what_came_after_the_last_head_is_said_to_be_unproved(
    engine: Engine, outside: tuple[Anchor, Anchor], forgery: str
):
    for at in range(NEWER + 1 + 4 * (forgery == "swap"), SIZE + 1):
        with insider(engine) as connection:
            CLEAN[forgery](connection, at)

            found = check(connection, *outside)
        assert found.findings == (), at
        if forgery == "cut" and at == NEWER + 1:
            assert found.unproved[0].startswith("No head shows what was never written down")
        else:
            assert found.unproved[0].startswith(("Rows 76 to ", "Row 76 was"))


def test_two_heads_narrow_down_what_was_rewritten(engine: Engine, outside: tuple[Anchor, Anchor]):
    with insider(engine) as connection:
        edit_and_mend(connection, 70)

        assert check(connection, *outside).findings == (
            "rows 61 to 75 were changed, one of them at least: the letter with 75 rows has another "
            "root",
        )


def test_a_cut_is_named_with_the_rows_that_are_gone(engine: Engine, outside: tuple[Anchor, Anchor]):
    with insider(engine) as connection:
        cut(connection, 68)

        assert check(connection, *outside).findings == (
            "rows 68 to 75 were cut off: the letter with 75 rows saw 75 rows",
        )


def test_a_trail_rewritten_from_its_first_row_is_no_longer_the_trail_of_the_head(
    engine: Engine, outside: tuple[Anchor, Anchor]
):
    with insider(engine) as connection:
        rewrite_all(connection, 1)

        findings = check(connection, *outside).findings
    assert len(findings) == 2
    assert "it belongs to another ledger, or this one was rewritten from its first row" in str(
        findings[0]
    )


def test_an_emptied_trail_is_named(engine: Engine, outside: tuple[Anchor, Anchor]):
    with insider(engine) as connection:
        connection.execute(tables.Audit.__table__.delete())

        findings = check(connection, outside[0]).findings
    assert findings[-1] == "the trail is empty, and the letter with 60 rows saw 60 rows of it"


def test_a_head_that_was_miscopied_is_not_taken_for_a_forgery(
    engine: Engine, outside: tuple[Anchor, Anchor]
):
    head = outside[0].signed.head
    wrong = head.root[:-2] + ("00" if head.root[-2:] != "00" else "11")
    with insider(engine) as connection:
        (found,) = check(connection, letter(TreeHead(head.log, head.size, wrong))).findings

    assert "digits: it was miscopied, so compare it again" in found


def test_a_head_with_a_made_up_signature_is_named(engine: Engine, outside: tuple[Anchor, Anchor]):
    signed = outside[0].signed
    made_up = replace(signed, signature="3006020101020101")
    with insider(engine) as connection:
        assert check(connection, letter(made_up)).findings == (
            "the signature of the letter with 60 rows does not fit: somebody made it up",
        )


def test_an_insider_who_signs_anew_is_found_by_the_head_outside_alone(
    engine: Engine, ledger: Ledger
):
    """The station's key lies on the machine: whoever owns the machine can sign other heads."""
    signed = head_of(ledger)
    with ledger.transaction("QI-2", later(5)) as records:
        entry = records.note_anchor(signed, Way.LETTER, "purchasing")
    with insider(engine) as connection:
        rows = rows_of(connection)
        size = signed.head.size
        rows[9] = replace(rows[9], at="2031-05-05T00:00:00.000Z")
        changed = mended(rows[:size])
        store(connection, mended([*changed, *rows[size:]]))
        assert f"rows 1 to {size} were changed, one of them" in str(check(connection).broken)

        forged = forged_note(connection, changed, rows[size])
        store(connection, mended([*changed, forged, *rows[size + 1 :]]))
        alone, against = check(connection), check(connection, letter(signed))

    assert alone.findings == ()
    assert "fetch it and compare" in alone.unproved[0]
    assert entry.words in alone.unproved[0]
    assert f"rows 1 to {size} were changed, one of them" in str(against.broken)


def forged_note(connection: Connection, rows: list[AuditEntry], note: AuditEntry) -> AuditEntry:
    """Sign the rewritten trail with the station's key, and put that in the place of the note."""
    table = tables.Anchor.__table__
    old = connection.execute(table.select()).mappings().one()
    head = TreeHead(old["log"], len(rows), root_over(rows))
    signed: SignedHead = sign_head(head, STATION_KEY)
    connection.execute(table.update().values(root=head.root, signature=signed.signature))
    after = note.after.replace(old["root"], head.root)
    after = after.replace(old["signature"], str(signed.signature))
    return replace(note, after=after)


def root_over(rows: list[AuditEntry]) -> str:
    return root_of(bytes.fromhex(row.sha256) for row in rows).hex()


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(f"sqlite:///{tmp_path / 'ledger.db'}", at=AT)
    take_in(opened)
    yield opened
    opened.close()


def test_a_state_put_back_is_a_fork_and_no_forgery(small: Ledger):
    backed_up = head_of(small)
    with small.transaction("TT-1", later(60)) as records:
        records.note_restoration(backed_up.head, "2031-05-06T07:00:00.000Z", "disk replaced")
    lost = Anchor(
        SignedHead(TreeHead(backed_up.head.log, backed_up.head.size + 4, "ab" * 32)),
        "the letter of 6 May",
    )
    before = Anchor(backed_up, "the run sheet")

    with small.reading() as records:
        found = records.verify_audit([lost, before])

    size = backed_up.head.size
    assert found.findings == ()
    assert found.forks == (
        f"the letter of 6 May saw {size + 4} rows; on 2031-05-06T07:09:09.123Z TT-1 put back "
        f"the backup of 2031-05-06T07:00:00.000Z with {size} rows (disk replaced). The trail "
        f"forks there: rows {size + 1} to {size + 4} were of the branch that was given up",
    )


def test_a_restoration_excuses_no_head_that_is_older_or_of_another_ledger(small: Ledger):
    backed_up = head_of(small).head
    with small.transaction("TT-1", later(60)) as records:
        records.note_restoration(backed_up, "2031-05-06T07:00:00.000Z", "disk replaced")
    older = replace(backed_up, root="ab" * 32)
    foreign = replace(backed_up, log="0123456789abcdef", size=backed_up.size + 4)

    with small.reading() as records:
        found = records.verify_audit([letter(older), letter(foreign)])

    assert found.forks == ()
    assert len(found.findings) == 2
    assert "belongs to another ledger" in found.findings[1]


def test_the_last_row_rewritten_is_named_alone_when_a_head_vouches_for_the_rest(small: Ledger):
    whole = head_of(small)
    before = head_of(small, whole.head.size - 1)
    engine = database.connect(str(small._engine.url), 5)
    with insider(engine) as connection:
        rows = rows_of(connection)
        store(connection, mended([*rows[:-1], replace(rows[-1], who="XX-9")]))

        found = check(connection, letter(before), letter(whole)).findings
    engine.dispose()
    assert found == (
        f"row {whole.head.size} was changed: the letter with {whole.head.size} rows has another "
        "root",
    )


def test_a_row_before_the_first_is_named(small: Ledger):
    engine = database.connect(str(small._engine.url), 5)
    with insider(engine) as connection:
        rows = rows_of(connection)
        store(connection, [replace(rows[0], seq=0, sha256="ef" * 32), *rows])

        assert "row 0 stands twice or out of its order" in check(connection).findings
    engine.dispose()


def test_a_made_up_restoration_is_named(small: Ledger):
    engine = database.connect(str(small._engine.url), 5)
    backed_up = head_of(small)
    with small.transaction("TT-1", later(60)) as records:
        records.note_restoration(backed_up.head, "2031-05-06T07:00:00.000Z", "disk replaced")
    with insider(engine) as connection:
        rows = rows_of(connection)
        size = backed_up.head.size
        connection.execute(tables.Restoration.__table__.update().values(size=size - 2))
        note = rows[-1].after.replace(f'"size":{size}', f'"size":{size - 2}')
        store(connection, mended([*rows[:-1], replace(rows[-1], after=note)]))

        found = check(connection).findings
    engine.dispose()
    assert found == (
        f"row {size + 1} tells that a state of {size - 2} rows was put back, and the {size} rows "
        "before it are not that state",
    )
