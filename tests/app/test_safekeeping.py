"""Backup while in use, restore into an empty folder, and what stands in their way."""

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.ledger import cases
from tests.ledger.full_disk import no_file_beyond
from tests.shop import Shop, open_shop

from spinproof.app import safekeeping
from spinproof.app.anchoring import held_head, send_head, signed_head
from spinproof.app.backup_folder import state_names
from spinproof.app.home import Home
from spinproof.app.intake import open_shop_ledger
from spinproof.app.restoring import restore
from spinproof.app.safekeeping import Backup, back_up
from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger.heads import Anchor, SignedHead, Way
from spinproof.model.errors import BusyError, RecordError, StorageError
from spinproof.model.run import Outcome

LOG = b"pressure of the supply"


def filled_shop(root: Path) -> Shop:
    """Open a shop with two runs, their traces, a file of evidence and a dossier."""
    opened = open_shop(root)
    with opened.ledger.transaction("AS-2", cases.AT) as records:
        records.open_campaign(cases.HEAD, cases.PLAN)
        for _ in range(2):
            attempt(opened.home, records)
        cases.add_supply_log(records)
    (opened.home.evidence / cases.SUPPLY_LOG).write_bytes(LOG)
    (opened.home.dossiers / "QA-1041").mkdir()
    (opened.home.dossiers / "QA-1041" / "dossier.pdf").write_bytes(b"%PDF-1.7 pages")
    return opened


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = filled_shop(tmp_path / "shop")
    yield opened
    opened.ledger.close()


def attempt(home: Home, records) -> None:
    run = cases.attempt(records, Outcome.COUNTED)
    home.trace(run.trace_sha256 or "").write_bytes(run.name.encode())


@pytest.fixture
def backup(shop: Shop, tmp_path: Path) -> Backup:
    return back_up(shop.home, shop.ledger, tmp_path / "backup", by="RT-1")


def files(folder: Path) -> dict[str, bytes]:
    """Give every file of a shop but its ledger and its keys."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith("ledger") and path.parent.name != "keys"
    }


def anchor(signed: SignedHead, words: str) -> Anchor:
    return Anchor(signed, words)


def test_a_shop_comes_back_whole_and_notes_that_it_was_put_back(
    shop: Shop, backup: Backup, tmp_path: Path
):
    restored = restore(tmp_path / "backup", tmp_path / "again", by="RT-1", why="disk replaced")

    assert files(tmp_path / "again") == files(tmp_path / "shop")
    assert restored.check.findings == ()
    ledger = open_shop_ledger(restored.home)
    with ledger.reading() as then, shop.ledger.reading() as now:
        size = backup.state.filed.signed.head.size
        rows = then.audit()
        assert rows[:size] == now.audit()[:size]
        assert [row.act for row in rows[size:]] == ["ledger.restore"]
        assert rows[-1].why == "disk replaced"
        assert then.runs() == now.runs()
    ledger.close()


def test_the_shop_notes_the_backup_as_a_head_that_left_the_house(shop: Shop, backup: Backup):
    with shop.ledger.reading() as records:
        (entry,) = records.anchors()

    assert (entry.way, entry.signed) == (Way.BACKUP, backup.state.filed.signed)


def test_a_backup_is_checked_by_the_usual_tool(backup: Backup, tmp_path: Path):
    listed = f"states/{backup.state.name}.sha256"
    done = subprocess.run(
        ["sha256sum", "--strict", "--quiet", "-c", listed],
        cwd=tmp_path / "backup",
        check=False,
        capture_output=True,
        text=True,
    )

    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_a_second_backup_copies_only_what_is_new(shop: Shop, backup: Backup, tmp_path: Path):
    with shop.ledger.transaction("AS-2", cases.later(60)) as records:
        attempt(shop.home, records)
    second = back_up(shop.home, shop.ledger, tmp_path / "backup", by="RT-1")

    assert (backup.files, backup.copied) == (4, 4)
    assert (second.files, second.copied) == (5, 1)
    assert state_names(tmp_path / "backup") == (backup.state.name, second.state.name)
    earlier = restore(
        tmp_path / "backup",
        tmp_path / "earlier",
        by="RT-1",
        why="to look at it",
        name=backup.state.name,
    )
    assert len(list(earlier.home.traces.iterdir())) == 2


def test_a_later_head_shows_as_a_fork_after_an_older_state_was_put_back(
    shop: Shop, backup: Backup, tmp_path: Path
):
    with shop.ledger.transaction("AS-2", cases.later(60)) as records:
        attempt(shop.home, records)
    letter = anchor(signed_head(shop.home, shop.ledger), "the letter of May")
    restored = restore(
        tmp_path / "backup", tmp_path / "again", by="RT-1", why="disk broke", outside=[letter]
    )

    assert restored.check.findings == ()
    (fork,) = restored.check.forks
    size, later = backup.state.filed.signed.head.size, letter.signed.head.size
    assert fork.startswith(f"the letter of May saw {later} rows; on ")
    assert f"rows {size + 1} to {later} were of the branch that was given up" in fork
    assert fork in restored.remarks


def test_what_a_backup_leaves_out_is_said(shop: Shop, tmp_path: Path):
    (shop.home.journals / "QA-1041-L-009.journal").write_bytes(b"frames")
    shop.home.vault_key.write_bytes(b"key of the sealed store")
    shop.home.trace(sha256_of_bytes(b"QA-1041-L-001")).unlink()
    (shop.home.evidence / cases.SUPPLY_LOG).write_bytes(b"another text")

    made = back_up(shop.home, shop.ledger, tmp_path / "backup", by="RT-1")

    said = " | ".join(made.remarks)
    assert f"evidence/{cases.SUPPLY_LOG} is not what its name says" in said
    assert "the file of run QA-1041-L-001 is missing from the shop's folder" in said
    assert "1 recordings are not sealed yet" in said
    assert "on the same disk as the shop" in said
    assert "the keys in" in said
    kept = b"".join(p.read_bytes() for p in (tmp_path / "backup").rglob("*") if p.is_file())
    assert b"PRIVATE KEY" not in kept
    assert b"key of the sealed store" not in kept


def test_a_backup_into_the_shop_itself_is_refused(shop: Shop):
    with pytest.raises(StorageError, match="would go with it"):
        back_up(shop.home, shop.ledger, shop.home.root / "backup", by="RT-1")


def test_a_shop_without_records_has_nothing_to_back_up(tmp_path: Path):
    home = Home(tmp_path / "empty")
    home.root.mkdir()
    ledger = open_shop_ledger(home)
    home.keys.mkdir()
    with pytest.raises(RecordError, match="nothing was recorded yet"):
        back_up(home, ledger, tmp_path / "backup", by="RT-1")
    ledger.close()

    assert state_names(tmp_path / "backup") == ()


@pytest.mark.parametrize("beyond", [0, 30_000, 200_000])
def test_a_full_disk_adds_no_state_and_spoils_none(
    shop: Shop, backup: Backup, tmp_path: Path, beyond: int
):
    (shop.home.evidence / "big.bin").write_bytes(b"x" * 300_000)
    with no_file_beyond(beyond), pytest.raises(StorageError):
        back_up(shop.home, shop.ledger, tmp_path / "backup", by="RT-1")

    folder = tmp_path / "backup"
    assert state_names(folder) == (backup.state.name,)
    assert {path.name for path in (folder / "states").iterdir()} == {
        backup.state.name,
        f"{backup.state.name}.sha256",
    }
    assert list((folder / "files").glob("*.part")) == []
    back_up(shop.home, shop.ledger, folder, by="RT-1")
    assert restore(folder, tmp_path / "again", by="RT-1", why="drill").check.findings == ()


class Killed(BaseException):
    """The program ends here."""


@pytest.mark.parametrize("n", [0, 1, 2, 3, "before the list of sums"])
def test_a_backup_that_ends_half_way_does_not_count_and_is_cleared_by_the_next(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, n: int | str
):
    folder, done = tmp_path / "backup", 0

    def count(_: object) -> None:
        nonlocal done
        if n in {done, "before the list of sums"}:
            raise Killed
        done += 1

    monkeypatch.setattr(shutil, "rmtree", lambda *_, **__: None)  # a killed program tidies nothing
    if isinstance(n, str):
        monkeypatch.setattr(safekeeping, "write_list", count)
    with pytest.raises(Killed):
        back_up(
            shop.home,
            shop.ledger,
            folder,
            by="RT-1",
            on_file=count if isinstance(n, int) else lambda _: None,
        )
    monkeypatch.undo()
    assert state_names(folder) == ()
    with pytest.raises(RecordError, match="no such complete backup"):
        restore(folder, tmp_path / "again", by="RT-1", why="drill")

    made = back_up(shop.home, shop.ledger, folder, by="RT-1")
    assert {path.name for path in (folder / "states").iterdir()} == {
        made.state.name,
        f"{made.state.name}.sha256",
    }


@pytest.mark.parametrize("spoil", ["change", "remove"])
def test_any_file_of_a_backup_that_was_changed_or_is_missing_is_named_and_nothing_restored(
    backup: Backup, tmp_path: Path, spoil: str
):
    folder = tmp_path / "backup"
    for path in backup.state.sums:
        file = folder / path
        before = file.read_bytes()
        if spoil == "change":
            file.write_bytes(before[:-1] + bytes([before[-1] ^ 1]))
        else:
            file.unlink()
        with pytest.raises((StorageError, RecordError)) as caught:
            restore(folder, tmp_path / "again", by="RT-1", why="drill")
        assert file.name in caught.value.where
        assert not (tmp_path / "again").exists()
        file.write_bytes(before)
    assert restore(folder, tmp_path / "again", by="RT-1", why="drill").check.findings == ()


def test_a_changed_list_of_sums_is_refused(backup: Backup, tmp_path: Path):
    listed = tmp_path / "backup" / "states" / f"{backup.state.name}.sha256"
    listed.write_text("\n".join(listed.read_text().splitlines()[:-1]) + "\n")

    with pytest.raises(StorageError, match="line 1 counts"):
        restore(tmp_path / "backup", tmp_path / "again", by="RT-1", why="drill")


def test_a_place_outside_the_shop_is_never_written_to(backup: Backup, tmp_path: Path):
    state = tmp_path / "backup" / "states" / backup.state.name
    listed = state.with_name(f"{backup.state.name}.sha256")
    for hostile in ('{"../../escaped":"', '{"/etc/escaped":"'):
        old = (state / "files.json").read_bytes()
        new = re.sub(rb'^\{"[^"]+":"', hostile.encode(), old)
        (state / "files.json").write_bytes(new)
        listed.write_text(listed.read_text().replace(sha256_of_bytes(old), sha256_of_bytes(new)))
        with pytest.raises(StorageError, match="is no file of this backup"):
            restore(tmp_path / "backup", tmp_path / "again", by="RT-1", why="drill")


def test_a_folder_that_holds_something_is_not_restored_into(backup: Backup, tmp_path: Path):
    with pytest.raises(BusyError, match="not empty"):
        restore(tmp_path / "backup", tmp_path / "shop", by="RT-1", why="drill")
    (tmp_path / "again").mkdir()

    assert restore(tmp_path / "backup", tmp_path / "again", by="RT-1", why="drill")


def test_an_interrupted_restore_is_begun_again(backup: Backup, tmp_path: Path):
    left = tmp_path / ".again.restoring" / "traces"
    left.mkdir(parents=True)
    (left / "half").write_bytes(b"half a trace")

    restored = restore(tmp_path / "backup", tmp_path / "again", by="RT-1", why="drill")
    assert not (restored.home.traces / "half").exists()


def test_a_folder_without_backups_or_a_state_that_is_not_there_is_refused(
    backup: Backup, tmp_path: Path
):
    with pytest.raises(RecordError, match="Name the folder that backups were made into"):
        restore(tmp_path / "none", tmp_path / "again", by="RT-1", why="drill")
    with pytest.raises(RecordError, match=f"Known are {backup.state.name}"):
        restore(tmp_path / "backup", tmp_path / "again", by="RT-1", why="x", name="20200101")


def test_two_backups_at_once_into_one_folder_take_turns(shop: Shop, tmp_path: Path, backup: Backup):
    def second(_: int) -> None:
        with pytest.raises(BusyError, match="in use"):
            back_up(shop.home, shop.ledger, tmp_path / "backup", by="AS-2")

    assert back_up(shop.home, shop.ledger, tmp_path / "backup", by="RT-1", on_file=second)


def test_a_head_sent_out_comes_as_text_line_and_code(shop: Shop):
    sent = send_head(shop.home, shop.ledger, Way.RUN_SHEET, "bench 2, before run 3", by="TT-1")

    assert sent.text.startswith("Audit trail ")
    assert sent.line.startswith("SPINPROOF.STH.V1 ")
    assert sent.code.startswith("<svg")
    with shop.ledger.reading() as records:
        assert records.anchors() == (sent.entry,)
    assert (shop.home.keys / "station-key.pem").stat().st_mode & 0o077 == 0
    again = signed_head(shop.home, shop.ledger)
    assert again.public_key == sent.entry.signed.public_key


def test_a_head_that_comes_back_is_compared_whatever_form_it_kept(shop: Shop):
    sent = send_head(shop.home, shop.ledger, Way.LETTER, "purchasing", by="RT-1")
    signed = sent.entry.signed

    scanned = held_head(shop.home, shop.ledger, sent.line, "the letter")
    typed = held_head(shop.home, shop.ledger, sent.text, "the letter")
    assert scanned.signed == signed
    assert typed.signed == SignedHead(signed.head)
    with shop.ledger.reading() as records:
        assert records.verify_audit([scanned, typed]).findings == ()

    (shop.home.keys / "station-public.pem").unlink()  # the notes keep the keys of earlier stations
    assert held_head(shop.home, shop.ledger, sent.line, "the letter").signed == signed
    made_up = sent.line[:-140] + sent.line[-140:].translate(str.maketrans("0123", "3012"))
    with shop.ledger.reading() as records:
        (found,) = records.verify_audit(
            [held_head(shop.home, shop.ledger, made_up, "the letter")]
        ).findings
    assert found == "the signature of the letter does not fit: somebody made it up"
