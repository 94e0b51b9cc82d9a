"""A shop examined: what was changed, lost or left open is found and said in sentences."""

from collections import namedtuple
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine
from tests import postgres
from tests.app.test_safekeeping import filled_shop
from tests.ledger import cases
from tests.ledger.insider import insider, mended, rows_of, store
from tests.shop import Shop

from spinproof.app import doctor
from spinproof.app.anchoring import signed_head
from spinproof.app.doctor import Finding, Weight, examine
from spinproof.app.intake import open_shop_ledger
from spinproof.app.recovery import hold_head
from spinproof.app.restoring import restore
from spinproof.app.safekeeping import back_up
from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger import database
from spinproof.ledger.heads import Anchor
from spinproof.ledger.ledger import open_ledger

Usage = namedtuple("Usage", "total used free")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = filled_shop(tmp_path / "shop")
    back_up(opened.home, opened.ledger, tmp_path / "backup", by="RT-1")
    yield opened
    opened.ledger.close()


@pytest.fixture
def engine(shop: Shop) -> Iterator[Engine]:
    opened = database.connect(shop.home.ledger_url, 5)
    yield opened
    opened.dispose()


@pytest.fixture(autouse=True)
def roomy(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the disk have room, whatever this machine has."""
    monkeypatch.setattr(doctor.shutil, "disk_usage", lambda _: Usage(10**12, 0, 10**12))


def heavy(findings: tuple[Finding, ...]) -> list[str]:
    return [str(finding) for finding in findings if finding.weight is not Weight.NOTE]


def test_a_shop_in_order_gives_notes_alone(shop: Shop):
    findings = examine(shop.home, shop.ledger)

    assert heavy(findings) == []
    said = [str(finding) for finding in findings]
    assert "nothing here would show it" in said[0]
    assert said[-1].startswith("Examined were ")
    assert said[-1].endswith("and 3 files.")


def test_a_head_from_outside_takes_the_doubt_away(shop: Shop):
    head = Anchor(signed_head(shop.home, shop.ledger), "the letter of May")

    notes = [str(finding) for finding in examine(shop.home, shop.ledger, [head])]

    assert notes[0].startswith("No head shows what was never written down")


def test_files_that_were_changed_lost_or_put_there_are_named(shop: Shop):
    trace = shop.home.trace(sha256_of_bytes(b"QA-1041-L-001"))
    trace.write_bytes(b"QA-1041-L-00l")
    (shop.home.evidence / cases.SUPPLY_LOG).unlink()
    stray = shop.home.traces / f"{'ab' * 32}.parquet"
    stray.write_bytes(b"of nobody")
    seen: list[int] = []

    said = heavy(examine(shop.home, shop.ledger, on_file=seen.append))

    assert len(said) == 3
    assert said[0].startswith(f"The trace of run QA-1041-L-001 was changed, at {trace}.")
    assert said[1].startswith('The evidence "supply.csv" is missing, at ')
    assert said[2].startswith(f"No record names the file {stray}.")
    assert seen == [1, 2, 3]


def test_a_record_that_was_edited_by_hand_is_named(shop: Shop, engine: Engine):
    with insider(engine) as connection:
        connection.exec_driver_sql("UPDATE run SET wafer_count = 25 WHERE number = 1")
        connection.commit()

    said = heavy(examine(shop.home, shop.ledger))

    assert said[0].startswith(
        "Run QA-1041-L-001 is not what the trail tells: wafer_count differs. Do not mend it"
    )
    assert any("guard against DELETE on audit is gone: somebody removed it" in s for s in said)
    assert any("guard against UPDATE on measurement is gone" in s for s in said)


def test_a_rewritten_trail_is_named_with_a_head_from_outside(shop: Shop, engine: Engine):
    head = Anchor(signed_head(shop.home, shop.ledger), "the letter of May")
    with insider(engine) as connection:
        rows = rows_of(connection)
        connection.exec_driver_sql("DELETE FROM anchor")
        store(connection, mended(rows[:-1]))
        connection.commit()

    without = heavy(examine(shop.home, shop.ledger))
    said = heavy(examine(shop.home, shop.ledger, [head]))

    assert not any("cut off" in sentence for sentence in without)
    size = head.signed.head.size
    assert any(f"Row {size} was cut off" in sentence for sentence in said)


def test_many_contradictions_are_counted_and_not_all_told(shop: Shop, engine: Engine):
    with insider(engine) as connection:
        connection.exec_driver_sql("UPDATE audit SET who = 'XX-9'")
        connection.commit()

    said = heavy(examine(shop.home, shop.ledger))

    assert sum("was changed after it was written" in sentence for sentence in said) == doctor.MOST
    assert any("more contradictions like these" in sentence for sentence in said)


def test_an_older_state_put_back_is_a_fork_with_its_reason(shop: Shop, tmp_path: Path):
    letter = Anchor(signed_head(shop.home, shop.ledger), "the letter of May")
    restored = restore(tmp_path / "backup", tmp_path / "again", by="RT-1", why="disk broke")
    ledger = open_shop_ledger(restored.home)

    findings = examine(restored.home, ledger, [letter])
    ledger.close()

    forks = [str(f) for f in findings if f.weight is Weight.RISK and "forks" in f.what]
    assert len(forks) == 1
    assert "(disk broke)" in forks[0]
    assert not [finding for finding in findings if finding.weight is Weight.WRONG]


def test_recordings_and_runs_that_were_left_behind_are_named(shop: Shop):
    with shop.ledger.transaction("AS-2", cases.later(60)) as records:
        run = cases.start(records, records.next_planned(cases.HEAD).number)
    journal = shop.home.journals / f"{run.name}.journal"

    with hold_head(shop.home, cases.HEAD):
        journal.write_bytes(b"frames")
        assert heavy(examine(shop.home, shop.ledger)) == []
    assert heavy(examine(shop.home, shop.ledger))[0].startswith(
        f"The recording {journal.name} was left behind by a recorder that died."
    )
    journal.unlink()
    assert heavy(examine(shop.home, shop.ledger))[0].startswith(
        f"Run {run.name} is open, and nobody records it."
    )


def test_a_key_that_others_can_read_is_named(shop: Shop):
    key = shop.home.keys / "station-key.pem"
    key.chmod(0o640)

    (said,) = heavy(examine(shop.home, shop.ledger))

    assert said.startswith(f"The key {key} can be read by others on this machine (mode 0640).")
    key.chmod(0o600)
    shop.home.vault_key.write_bytes(b"key")
    shop.home.vault_key.chmod(0o644)
    assert str(shop.home.vault_key) in heavy(examine(shop.home, shop.ledger))[0]
    public = shop.home.keys / "station-public.pem"
    assert public.stat().st_mode & 0o044


def test_a_disk_that_fills_up_is_named(shop: Shop, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(doctor.shutil, "disk_usage", lambda _: Usage(10**12, 0, 3 * 10**9))

    (said,) = heavy(examine(shop.home, shop.ledger))

    assert said.startswith("Only 3.0 GB are free on the disk of the shop")


def test_a_shop_without_a_backup_or_with_an_old_one_is_told_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    opened = filled_shop(tmp_path / "shop")
    assert heavy(examine(opened.home, opened.ledger)) == [
        "No backup was ever made. Make one, on another disk."
    ]
    back_up(opened.home, opened.ledger, tmp_path / "backup", by="RT-1")
    assert heavy(examine(opened.home, opened.ledger)) == []
    later = doctor.utc_now() + 2 * doctor.BACKUP_EVERY
    monkeypatch.setattr(doctor, "utc_now", lambda: later)
    (said,) = heavy(examine(opened.home, opened.ledger))
    opened.ledger.close()

    assert said.startswith("The last backup is of ")


def test_a_damaged_file_of_the_ledger_is_said_and_no_traceback(shop: Shop, tmp_path: Path):
    shop.ledger.close()
    path = shop.home.root / "ledger.db"
    data = bytearray(path.read_bytes())
    page = data.index(b"run.start") // 4096  # a page of the audit trail
    data[page * 4096 : page * 4096 + 64] = b"\xff" * 64
    path.write_bytes(data)
    ledger = open_ledger(shop.home.ledger_url, at=cases.AT)

    findings = examine(shop.home, ledger)
    ledger.close()

    assert findings[0].weight is Weight.WRONG
    assert "malformed" in findings[0].what or "damaged" in findings[0].what


@pytest.mark.postgres
def test_a_server_that_may_lose_what_it_confirmed_is_named():
    with postgres.running_server() as server:
        ledger = open_ledger(server.url(server.new_database()), at=cases.AT)
        faults = ledger.faults()
        engine = ledger._engine
        with engine.begin() as connection:
            connection.exec_driver_sql("ALTER TABLE audit DISABLE TRIGGER audit_no_change")
        without = ledger.faults()
        ledger.close()

    assert faults == (
        "the server's fsync is off, not on: a power cut could then damage the ledger",
        "the server's synchronous_commit is off, not on: a power cut could then lose what was "
        "confirmed as stored",
        "the server's full_page_writes is off, not on: a power cut could then damage the ledger",
    )
    assert set(without) - set(faults) == {
        "the guard against DELETE on audit is gone: somebody removed it",
        "the guard against UPDATE on audit is gone: somebody removed it",
    }


def test_many_files_that_are_missing_are_counted_and_not_all_told(shop: Shop):
    with shop.ledger.transaction("TT-1", cases.later(500)) as records:
        for i in range(doctor.MOST + 5):
            records.add_evidence("QA-1041", f"{i:064x}", f"{i}.txt", "never came")

    said = [each for each in heavy(examine(shop.home, shop.ledger)) if "missing" in each]

    assert len(said) == doctor.MOST + 1
    assert said[-1].startswith("5 more files that are missing or were changed. Put it back")
