"""Many writers at once: no row is lost, none is stored twice, and the chain holds."""

import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD
from tests.ledger.cases import AT, HEAD, later, open_burn_in, take_in
from tests.ledger.insider import head_of, letter

from spinproof.ledger.heads import Anchor
from spinproof.ledger.ledger import Ledger, open_ledger
from spinproof.model.run import Ending, Outcome, Purpose

WRITERS = 50
EACH = 6

ANOTHER_PROGRAM = """
import sys
from tests.ledger.cases import AT
from spinproof.ledger.heads import Anchor
from spinproof.ledger.ledger import open_ledger

url, name = sys.argv[1:]
ledger = open_ledger(url, at=AT)
for i in range(20):
    with ledger.transaction(name, AT) as records:
        records.add_evidence("QA-1041", f"{name}{i:03}".ljust(64, "0"), f"{i}.txt", "by itself")
ledger.close()
"""


def test_fifty_writers_lose_nothing_and_every_head_taken_meanwhile_still_fits(ledger: Ledger):
    take_in(ledger)
    ready = threading.Barrier(WRITERS + 1)

    def write(writer: int) -> None:
        ready.wait()
        for i in range(EACH):
            with ledger.transaction(f"W-{writer}", later(i)) as records:
                sha256 = f"{writer:02}{i:02}".ljust(64, "0")
                records.add_evidence("QA-1041", sha256, f"{writer}-{i}.txt", "one of many")

    def watch(_: int) -> list[Anchor]:
        ready.wait()
        return [letter(head_of(ledger)) for _ in range(8)]

    with ThreadPoolExecutor(WRITERS + 1) as pool:
        watched = pool.submit(watch, 0)
        list(pool.map(write, range(WRITERS)))
        letters = watched.result()

    with ledger.reading() as records:
        names = [item.name for item in records.evidence("QA-1041")]
        check = records.verify_audit([*letters, letter(records.tree_head())])
        told = [entry for entry in records.audit() if entry.act == "evidence.add"]
    assert sorted(names) == sorted(f"{w}-{i}.txt" for w in range(WRITERS) for i in range(EACH))
    assert len(told) == WRITERS * EACH
    assert check.findings == ()
    assert len(check.unproved) == 1


def test_numbers_allotted_by_many_threads_are_gapless(ledger: Ledger):
    open_burn_in(ledger)
    ready = threading.Barrier(12)

    def run_a_trial(writer: int) -> None:
        ready.wait()
        with ledger.transaction(f"W-{writer}", AT) as records:
            run = records.start_run(
                HEAD, purpose=Purpose.TRIAL, recipe=CR_1, load=PARTIAL_LOAD, spec=LOWER
            )
            records.finish_run(run.name, Ending.STAND_LOST, None)
            records.classify(run.name, Outcome.ABORTED, reasons=("a trial",))

    with ThreadPoolExecutor(12) as pool:
        list(pool.map(run_a_trial, range(12)))

    with ledger.reading() as records:
        assert [run.number for run in records.runs(HEAD)] == list(range(1, 13))
        assert records.verify_audit().broken is None


def test_programs_that_share_a_ledger_lose_nothing(ledger: Ledger, url: str):
    take_in(ledger)
    root = Path(__file__).parents[2]
    programs = [
        subprocess.Popen([sys.executable, "-c", ANOTHER_PROGRAM, url, f"P-{i}"], cwd=root)
        for i in range(3)
    ]

    assert [program.wait() for program in programs] == [0, 0, 0]
    with ledger.reading() as records:
        assert len(records.evidence("QA-1041")) == 60
        assert records.verify_audit().broken is None


def test_programs_that_open_an_empty_database_at_once_make_its_tables_once(bare_url: str):
    ready = threading.Barrier(6)

    def open_it(_: int) -> int:
        ready.wait()
        ledger = open_ledger(bare_url, at=AT)
        with ledger.reading() as records:
            jobs = len(records.jobs())
        ledger.close()
        return jobs

    with ThreadPoolExecutor(6) as pool:
        assert list(pool.map(open_it, range(6))) == [0] * 6
