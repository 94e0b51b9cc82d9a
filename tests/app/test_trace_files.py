"""The files beside a trace go where the trace goes, and are missed when they are gone."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.ledger import cases
from tests.record.streams_run import FAST, SLOW, header_with, stream_block, write_streams
from tests.shop import Shop, open_shop

from spinproof.app.doctor import Weight, examine
from spinproof.app.exchange import export_shop, import_shop
from spinproof.app.restoring import restore
from spinproof.app.safekeeping import back_up
from spinproof.app.trace_files import trace_files
from spinproof.model.run import Ending
from spinproof.record.trace_file import seal_journal


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """Open a shop with a run that has a fast stream and a block that came too late."""
    opened = open_shop(tmp_path / "shop")
    order = [*range(1, 14), 0]
    blocks = [stream_block(FAST, n, arrival_s=0.25 * i + 5) for i, n in enumerate(order)]
    blocks += [stream_block(SLOW, n, arrival_s=0.25 * n + 5) for n in range(14)]
    journal = write_streams(tmp_path / "run.journal", header_with(FAST, SLOW), blocks)
    trace = seal_journal(journal, opened.home.traces)
    with opened.ledger.transaction("AS-2", cases.AT) as records:
        records.open_campaign(cases.HEAD, cases.PLAN)
        run = cases.start(records, records.next_planned(cases.HEAD).number)
        records.finish_run(run.name, Ending.COMPLETE, trace.sha256)
    yield opened
    opened.ledger.close()


def traces(root: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in (root / "traces").iterdir()}


def test_a_trace_has_its_fast_and_its_late_file_beside_it(shop: Shop):
    (trace,) = (path.stem for path in shop.home.traces.glob("*.parquet"))
    assert {path.suffix for path in trace_files(shop.home, trace)} == {".parquet", ".fast", ".late"}
    assert set(trace_files(shop.home, trace)) == set(shop.home.traces.iterdir())


def test_a_trace_that_is_missing_stands_alone(shop: Shop):
    assert trace_files(shop.home, "ab" * 32) == {shop.home.trace("ab" * 32): "ab" * 32}


def test_export_and_backup_take_them_along(shop: Shop, tmp_path: Path):
    export_shop(shop.home, shop.ledger, tmp_path / "export")
    imported = import_shop(tmp_path / "export", tmp_path / "imported")
    back_up(shop.home, shop.ledger, tmp_path / "backup", by="RT-1")
    restore(tmp_path / "backup", tmp_path / "restored", by="RT-1", why="disk replaced")

    had = traces(tmp_path / "shop")
    assert len(had) == 3
    assert traces(tmp_path / "imported") == had == traces(tmp_path / "restored")
    assert not [remark for remark in imported.remarks if "not part of the export" in remark]


def test_the_doctor_misses_a_fast_file_and_finds_a_changed_late_one(shop: Shop):
    said = [f.what for f in examine(shop.home, shop.ledger) if f.weight is not Weight.NOTE]
    assert said == ["no backup was ever made"]
    (fast,), (late,) = shop.home.traces.glob("*.fast"), shop.home.traces.glob("*.late")
    fast.unlink()
    late.write_bytes(b"something else")
    said = sorted(f.what for f in examine(shop.home, shop.ledger) if f.weight is Weight.WRONG)
    assert len(said) == 2
    assert "is missing, at " in said[0] + said[1]
    assert "was changed, at " in said[0] + said[1]


def test_a_backup_and_an_export_say_that_a_fast_file_is_gone(shop: Shop, tmp_path: Path):
    (fast,) = shop.home.traces.glob("*.fast")
    fast.unlink()
    backup = back_up(shop.home, shop.ledger, tmp_path / "backup", by="RT-1")
    export = export_shop(shop.home, shop.ledger, tmp_path / "export")
    imported = import_shop(tmp_path / "export", tmp_path / "imported")
    assert any(fast.name in remark or "missing" in remark for remark in backup.remarks)
    assert any(fast.stem in remark for remark in export.remarks)
    assert any(fast.stem in remark for remark in imported.remarks)
