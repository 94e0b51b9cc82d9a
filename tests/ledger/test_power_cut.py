"""A power cut at any moment: what was said to be kept is there, and nothing is corrupt."""

import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
from tests.demo_files import JOB
from tests.ledger.cases import AT, take_in
from tests.power_cuts import cuts, trace

from spinproof.ledger.ledger import open_ledger

CHANGES = 40
STATES = 250
LOOKED_AT_WHOLE = 40
"""Every so many states the ledger is opened as the program does, its audit trail verified."""


def count_evidence(path: Path) -> int:
    """Give how many changes are there; the database must be sound."""
    with closing(sqlite3.connect(path)) as database:
        assert database.execute("pragma integrity_check").fetchone() == ("ok",)
        return int(database.execute("select count(*) from evidence").fetchone()[0])


def test_a_power_cut_at_any_moment_loses_nothing_that_was_kept(tmp_path: Path):
    home, log = tmp_path / "home", tmp_path / "calls"
    home.mkdir()
    url = f"sqlite:///{home / 'ledger.db'}"
    with closing(open_ledger(url, at=AT)) as ledger:
        take_in(ledger)
    before = {path.name: path.read_bytes() for path in home.iterdir()}
    calls = trace(["-m", "tests.ledger.writing_child", url, str(CHANGES)], home, log)
    assert sum(call.kind == "kept" for call in calls) == CHANGES

    seen = set()
    for number, (kept, files) in enumerate(cuts(before, calls, STATES, np.random.default_rng(3))):
        after = tmp_path / "after" / str(number)
        after.mkdir(parents=True)
        for name, data in files.items():
            if not name.endswith("-shm"):  # the memory that processes share; made anew
                (after / name).write_bytes(data)
        assert count_evidence(after / "ledger.db") >= kept
        seen.add(kept)
        if number % LOOKED_AT_WHOLE == 0:
            with (
                closing(open_ledger(f"sqlite:///{after / 'ledger.db'}", at=AT)) as ledger,
                ledger.reading() as records,
            ):
                assert records.verify_audit().findings == ()
                assert len(records.evidence(JOB.job)) >= kept

    assert {0, CHANGES} < seen
