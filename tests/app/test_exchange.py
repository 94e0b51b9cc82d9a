"""A shop as open text and files, and a shop built from them again."""

import json
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests import postgres
from tests.app.test_safekeeping import files, filled_shop
from tests.demo_files import JOB
from tests.ledger import cases
from tests.ledger.full_disk import no_file_beyond
from tests.shop import Shop

from spinproof.app.exchange import Export, export_shop, import_shop
from spinproof.app.intake import open_shop_ledger
from spinproof.files.digest import sha256_of_bytes
from spinproof.files.tree import root_of
from spinproof.ledger.importing import read_line
from spinproof.model.errors import BusyError, RecordError, StorageError


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = filled_shop(tmp_path / "shop")
    yield opened
    opened.ledger.close()


@pytest.fixture
def export(shop: Shop, tmp_path: Path) -> Export:
    return export_shop(shop.home, shop.ledger, tmp_path / "export")


def test_a_shop_built_from_its_export_is_the_same(shop: Shop, export: Export, tmp_path: Path):
    imported = import_shop(tmp_path / "export", tmp_path / "again")

    had = {name: data for name, data in files(tmp_path / "shop").items() if "dossiers" not in name}
    assert files(tmp_path / "again") == had
    assert imported.check.findings == ()
    assert imported.check.root == export.head.signed.head.root
    ledger = open_shop_ledger(imported.home)
    with ledger.reading() as then, shop.ledger.reading() as now:
        assert then.audit() == now.audit()
        assert then.runs() == now.runs()
    ledger.close()


def test_exporting_the_imported_shop_gives_the_same_text(
    shop: Shop, export: Export, tmp_path: Path
):
    imported = import_shop(tmp_path / "export", tmp_path / "again")
    ledger = open_shop_ledger(imported.home)
    export_shop(imported.home, ledger, tmp_path / "second")
    ledger.close()

    first, second = files(tmp_path / "export"), files(tmp_path / "second")
    for name in ("head.json", "SHA256SUMS"):  # another time, another station
        assert first.pop(name) != second.pop(name)
    assert first == second


def test_an_export_is_checked_by_the_usual_tool(export: Export):
    done = subprocess.run(
        ["sha256sum", "--strict", "--quiet", "-c", "SHA256SUMS"],
        cwd=export.path,
        check=False,
        capture_output=True,
        text=True,
    )

    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_an_export_holds_no_key_and_no_secret(shop: Shop, export: Export):
    everything = b"".join(path.read_bytes() for path in export.path.rglob("*") if path.is_file())

    assert b"PRIVATE KEY" not in everything
    assert b"argon2" not in everything
    assert not (export.path / "vault").exists()


def test_an_export_of_one_job_tells_nothing_of_another_and_keeps_the_root(
    shop: Shop, tmp_path: Path
):
    other = type(JOB).from_document(
        json.loads(
            json.dumps(JOB.to_document()).replace("QM-207", "QM-300").replace("QA-1041", "QA-1042")
        )
    )
    secret = b"of the other customer"
    with shop.ledger.transaction("RT-1", cases.later(90)) as records:
        records.add_job(other)
        records.add_evidence("QA-1042", sha256_of_bytes(secret), "other.txt", "their fab")
    (shop.home.evidence / sha256_of_bytes(secret)).write_bytes(secret)

    part = export_shop(shop.home, shop.ledger, tmp_path / "part", job="QA-1041")

    told = b"".join(path.read_bytes() for path in part.path.rglob("*") if path.is_file())
    assert b"QA-1042" not in told
    assert secret not in told
    assert b"their fab" not in told
    lines = (part.path / "trail.jsonl").read_bytes().splitlines()
    withheld = [line for line in lines if set(json.loads(line)) == {"leaf", "seq"}]
    assert len(withheld) == part.withheld > 10
    leaves = [bytes.fromhex(read_line(line, n).leaf) for n, line in enumerate(lines, 1)]
    assert root_of(leaves).hex() == part.head.signed.head.root
    with pytest.raises(RecordError, match="is withheld"):
        import_shop(part.path, tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_the_salts_of_withheld_rows_ship_only_when_asked(shop: Shop, tmp_path: Path):
    with shop.ledger.transaction("RT-1", cases.later(90)) as records:
        records.add_job(
            type(JOB).from_document(
                json.loads(
                    json.dumps(JOB.to_document())
                    .replace("QM-207", "QM-300")
                    .replace("QA-1041", "QA-1042")
                )
            )
        )
    part = export_shop(
        shop.home, shop.ledger, tmp_path / "part", job="QA-1041", salts_of_withheld=True
    )
    last = json.loads((part.path / "trail.jsonl").read_bytes().splitlines()[-1])

    assert set(last) == {"leaf", "seq", "salt"}


@pytest.mark.parametrize("spoil", ["change", "remove", "add"])
def test_an_export_that_was_changed_is_refused_and_the_file_named(
    export: Export, tmp_path: Path, spoil: str
):
    names = sorted(path for path in export.path.rglob("*") if path.is_file())
    for path in names[:: max(1, len(names) // 12)]:
        before = path.read_bytes()
        named = path
        if spoil == "change":
            path.write_bytes(before[:-2] + bytes([before[-2] ^ 1]) + before[-1:])
        elif spoil == "remove":
            path.unlink()
        else:
            named = path.with_name("more.json")
            named.write_bytes(b"{}")
        with pytest.raises((StorageError, RecordError)) as caught:
            import_shop(export.path, tmp_path / "again")
        assert named.name in str(caught.value) or path.name == "SHA256SUMS"
        assert not (tmp_path / "again").exists()
        if named != path:
            named.unlink()
        path.write_bytes(before)


def test_a_folder_that_is_no_export_is_refused(tmp_path: Path):
    (tmp_path / "folder").mkdir()
    with pytest.raises(StorageError, match="no such file"):
        import_shop(tmp_path / "folder", tmp_path / "again")
    (tmp_path / "folder" / "SHA256SUMS").write_text("# files: 0\n")
    with pytest.raises(StorageError, match=r"list is empty; head\.json is missing"):
        import_shop(tmp_path / "folder", tmp_path / "again")


def test_folders_that_hold_something_are_left_alone(shop: Shop, export: Export, tmp_path: Path):
    with pytest.raises(BusyError, match="not empty"):
        import_shop(export.path, tmp_path / "shop")
    with pytest.raises(BusyError, match="not empty"):
        export_shop(shop.home, shop.ledger, export.path)


def test_a_full_disk_leaves_no_half_export(shop: Shop, tmp_path: Path):
    with no_file_beyond(10_000), pytest.raises(StorageError):
        export_shop(shop.home, shop.ledger, tmp_path / "export")

    assert not (tmp_path / "export").exists()
    assert not (tmp_path / ".export.exporting").exists()


def test_a_full_disk_leaves_no_half_import(export: Export, tmp_path: Path):
    with no_file_beyond(50_000), pytest.raises(StorageError):
        import_shop(export.path, tmp_path / "again")

    assert not (tmp_path / "again").exists()
    assert not (tmp_path / ".again.importing").exists()


def test_files_that_are_missing_are_said_and_the_rest_is_brought(shop: Shop, tmp_path: Path):
    (shop.home.evidence / cases.SUPPLY_LOG).unlink()
    export = export_shop(shop.home, shop.ledger, tmp_path / "export")
    imported = import_shop(export.path, tmp_path / "again")

    assert 'the file of "supply.csv" is missing from the shop' in export.remarks[0]
    assert "is not part of the export" in imported.remarks[0]
    assert len(list(imported.home.traces.iterdir())) == 2


@pytest.mark.postgres
def test_a_shop_moves_to_another_database_and_keeps_its_root(export: Export, tmp_path: Path):
    with postgres.running_server() as server:
        url = server.url(server.new_database())
        imported = import_shop(export.path, tmp_path / "again", url=url)

    assert imported.check.root == export.head.signed.head.root
    assert imported.check.findings == ()
    assert not (imported.home.root / "ledger.db").exists()
