"""The audit trail's chain, followed with nothing but the standard library.

RFC 8785 sorts keys, writes no white space and escapes little; for text, whole numbers and null,
as the trail has them, Python's own JSON writer gives the same bytes. FIPS 180-4 defines SHA-256.
The rows are read with a plain SQLite connection, as an auditor without this program would.
"""

import hashlib
import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from tests.ledger.cases import AT, HEAD, attempt, later, open_burn_in

from spinproof.ledger.ledger import open_ledger
from spinproof.model.run import Outcome

pytestmark = pytest.mark.source("RFC 8785; FIPS 180-4", kind="independent route")


def test_the_chain_can_be_followed_without_this_program(tmp_path: Path):
    path = tmp_path / "ledger.db"
    ledger = open_ledger(f"sqlite:///{path}", at=AT)
    open_burn_in(ledger)
    with ledger.transaction('Ünal "J." <QI-2> \u2028', later(1)) as records:
        attempt(records, Outcome.COUNTED)
    with ledger.reading() as records:
        check, tally = records.verify_audit(), records.tally(HEAD)
    ledger.close()

    previous, count = "0" * 64, 0
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        for row in connection.execute("SELECT * FROM audit ORDER BY seq"):
            content = {key: row[key] for key in row.keys() if key not in {"sha256", "salt"}}  # noqa: SIM118 - a row iterates over its values
            written = json.dumps(
                content, sort_keys=True, separators=(",", ":"), ensure_ascii=False
            ).encode()
            count += 1
            assert row["seq"] == count
            assert row["previous"] == previous
            assert (
                row["sha256"]
                == hashlib.sha256(b"\0" + bytes.fromhex(row["salt"]) + written).hexdigest()
            )
            previous = row["sha256"]
    assert (count, previous) == (check.entries, check.head)
    assert tally.counted == 1
