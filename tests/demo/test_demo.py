"""The demo job as its user plays it: one command, every run over the wire."""

import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.shop import HEAD

from spinproof.app.burn_in import attempts
from spinproof.app.claims import claims_of_head
from spinproof.app.handing_over import verify
from spinproof.app.home import Home
from spinproof.app.intake import open_shop_ledger
from spinproof.model.run import Outcome, Purpose
from spinproof.record.trace_file import read_summary
from spinproof.stats.demonstration import reliability_lower_bound

pytestmark = pytest.mark.demo

LAST_LINES = (
    "attempts 79 = counted 54 + void 22 + relevant failure 1 + invalid 2",
    "dossier: {path}",
    "verified: yes",
)


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[Home, list[str]]:
    """Play the demo once; give its home and what it printed."""
    root = tmp_path_factory.mktemp("demo") / "home"
    done = subprocess.run(
        [sys.executable, "-m", "spinproof", "demo", "--home", str(root), "--no-serve"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return Home(root), done.stdout.splitlines()


def package_of(home: Home) -> Path:
    (package,) = home.dossiers.iterdir()
    return package


def test_the_last_lines_are_those_that_scripts_look_for(played: tuple[Home, list[str]]):
    home, lines = played
    path = package_of(home)

    assert lines[-3:] == [line.format(path=path) for line in LAST_LINES]


def test_the_ledger_holds_every_attempt_with_its_outcome(played: tuple[Home, list[str]]):
    home, _ = played
    ledger = open_shop_ledger(home)
    made, tally = attempts(ledger, HEAD)
    with ledger.reading() as reading:
        audit = reading.verify_audit()
    words = claims_of_head(ledger, HEAD)
    ledger.close()
    burn_in = [attempt for attempt in made if attempt.purpose is Purpose.BURN_IN]
    failed = [a for a in burn_in if a.outcome is Outcome.RELEVANT_FAILURE]
    outside = [a for a in burn_in if a.outcome is Outcome.INVALID_OUTSIDE]

    assert str(tally) == LAST_LINES[0]
    assert [(a.number, a.campaign) for a in failed] == [(23, 1)]
    assert any("index" in reason for reason in failed[0].reasons)
    assert outside[0].second_name == "QI-2"
    assert len(outside[0].evidence) == 1
    assert [a.purpose for a in made if a not in burn_in] == [Purpose.WITNESS]
    assert made[-1].outcome is Outcome.COUNTED
    assert audit.broken is None
    assert "0.9460" in words.claims[0]
    assert "0.9399" in words.claims[1]
    assert "The count was begun 2 times" in words.beside[0]


def test_every_trace_came_over_the_wire_and_says_that_it_is_simulated(
    played: tuple[Home, list[str]],
):
    home, _ = played
    paths = list(home.traces.glob("*.parquet"))

    assert len(paths) == 80
    for path in paths:
        header = read_summary(path).header
        assert header.simulated
        assert header.source == "modbus-tcp"


@pytest.mark.parametrize(
    ("runs", "failures", "bound"), [(54, 0, 0.9460), (77, 1, 0.9399)], ids=["clean", "pooled"]
)
def test_the_claims_are_those_of_clopper_and_pearson(runs: int, failures: int, bound: float):
    assert round(reliability_lower_bound(runs, failures, 0.95), 4) == bound


def test_one_flipped_byte_anywhere_is_found_and_its_file_named(
    played: tuple[Home, list[str]], tmp_path: Path
):
    home, _ = played
    copy = tmp_path / "package"
    shutil.copytree(package_of(home), copy)
    files = sorted(path for path in copy.rglob("*") if path.is_file())
    draw = random.Random(1041)  # noqa: S311 - chooses bytes, keeps no secret
    for path in draw.sample(files, 12):
        whole = path.read_bytes()
        place = draw.randrange(len(whole))
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])

        found = verify(copy, None)

        assert not found.ok
        assert any(str(path.relative_to(copy)) == finding.file for finding in found.findings)
        path.write_bytes(whole)
    assert verify(copy, None).ok
