"""Fifty writers at one ledger for a minute. Run with ``python -m bench.writers``.

Some programs of some threads each write as fast as they can, on SQLite and on PostgreSQL, both
with the durable settings of daily use. Afterwards each row that was confirmed is looked for, and
the audit trail is walked. Ends with status 1 when a row is lost or stands twice.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from tests import postgres
from tests.ledger.cases import AT, later, take_in

from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger.ledger import Ledger, open_ledger

if TYPE_CHECKING:
    from collections.abc import Iterator

DURABLE = ("listen_addresses=", "max_connections=120")
JOB = "QA-1041"


@dataclass(frozen=True)
class Outcome:
    """What became of the rows."""

    confirmed: int
    lost: int
    doubled: int
    unasked: int
    """Rows that nobody was told of."""
    contradictions: tuple[str, ...]
    rate: float
    """Confirmed rows a second."""
    waits_s: tuple[float, float, float]
    """Median, 99th percentile and longest time from asking to confirmed."""
    verify_s: float

    @property
    def is_whole(self) -> bool:
        """Whether every confirmed row is there once, and the trail tells the same."""
        return not (self.lost or self.doubled or self.unasked or self.contradictions)


def write(ledger: Ledger, name: str, until: float) -> list[tuple[str, float]]:
    """Write rows until a moment; give those that were confirmed, with the time each took."""
    confirmed: list[tuple[str, float]] = []
    while time.monotonic() < until:
        row, begun = f"{name}-{len(confirmed):05}.txt", time.monotonic()
        with ledger.transaction(name, later(len(confirmed))) as records:
            records.add_evidence(JOB, sha256_of_bytes(row.encode()), row, "one of many")
        confirmed.append((row, time.monotonic() - begun))
    return confirmed


def be_a_program(url: str, number: int, threads: int, seconds: float) -> None:
    """Write with some threads, and print what was confirmed."""
    ledger = open_ledger(url, at=AT)
    print("ready", flush=True)
    sys.stdin.readline()
    until = time.monotonic() + seconds
    with ThreadPoolExecutor(threads) as pool:
        names = [f"W-{number}-{thread}" for thread in range(threads)]
        rows = list(pool.map(lambda name: write(ledger, name, until), names))
    ledger.close()
    print(json.dumps(rows), flush=True)


def run(url: str, programs: int, threads: int, seconds: float) -> Outcome:
    """Let programs write at once, and see what became of it."""
    ledger = open_ledger(url, at=AT)
    take_in(ledger)
    command = (sys.executable, "-m", "bench.writers", "--program")
    writers = [
        subprocess.Popen(
            [*command, url, str(number), str(threads), str(seconds)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[1],
        )
        for number in range(programs)
    ]
    for writer in writers:
        next(writer.stdout or iter(()))  # it is ready
    begun = time.monotonic()
    told: list[str] = [""] * programs

    def listen(number: int) -> None:
        told[number] = writers[number].communicate("go\n")[0]

    listeners = [threading.Thread(target=listen, args=(number,)) for number in range(programs)]
    for listener in listeners:
        listener.start()
    for listener in listeners:
        listener.join()
    took = time.monotonic() - begun
    rows = [row for text in told for own in json.loads(text or "[]") for row in own]
    try:
        return examine(ledger, rows, took)
    finally:
        ledger.close()


def examine(ledger: Ledger, rows: list[tuple[str, float]], took: float) -> Outcome:
    """Look for each confirmed row, and walk the trail."""
    confirmed = Counter(name for name, _ in rows)
    begun = time.monotonic()
    with ledger.reading() as records:
        held = Counter(item.name for item in records.evidence(JOB))
        check = records.verify_audit()
        tells = sum(entry.act == "evidence.add" for entry in records.audit())
    findings = check.findings
    if tells != held.total():
        findings = (*findings, f"the trail tells of {tells} rows, the table holds {held.total()}")
    waits = np.percentile([wait for _, wait in rows], [50, 99, 100])
    return Outcome(
        confirmed=confirmed.total(),
        lost=(confirmed - held).total(),
        doubled=held.total() - len(held),
        unasked=len(set(held) - set(confirmed)),
        contradictions=findings,
        rate=confirmed.total() / took,
        waits_s=(float(waits[0]), float(waits[1]), float(waits[2])),
        verify_s=time.monotonic() - begun,
    )


def say(backend: str, outcome: Outcome) -> None:
    """Print what became of the rows."""
    median, late, longest = outcome.waits_s
    print(f"{backend}:")
    print(f"  {outcome.rate:12.0f} rows/s, {outcome.confirmed} confirmed")
    print(
        f"  {1e3 * median:12.0f} ms median wait, {1e3 * late:.0f} ms p99, {longest:.1f} s longest"
    )
    print(f"  {outcome.lost:12} lost, {outcome.doubled} doubled, {outcome.unasked} unasked for")
    intact = "intact" if not outcome.contradictions else "BROKEN"
    print(f"  {intact:>12} chain, walked and compared in {outcome.verify_s:.1f} s")
    for finding in outcome.contradictions[:5]:
        print(f"      {finding}")


@contextmanager
def addresses() -> "Iterator[list[tuple[str, str]]]":
    """Give an address of each kind of database."""
    with tempfile.TemporaryDirectory() as folder, postgres.running_server(DURABLE) as server:
        yield [
            ("SQLite", f"sqlite:///{folder}/ledger.db"),
            ("PostgreSQL", server.url(server.new_database())),
        ]


def main() -> None:
    """Print the figures; end with status 1 when something was lost, doubled or contradicts."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seconds", type=float, default=60.0)
    asked.add_argument("--programs", type=int, default=5)
    asked.add_argument("--threads", type=int, default=10, help="of each program")
    asked.add_argument("--program", nargs=4, help=argparse.SUPPRESS)
    given = asked.parse_args()
    if given.program:
        url, number, threads, seconds = given.program
        be_a_program(url, int(number), int(threads), float(seconds))
        return
    print(f"{given.programs} programs of {given.threads} writers each, {given.seconds:g} s")
    whole = True
    with addresses() as found:
        for backend, url in found:
            outcome = run(url, given.programs, given.threads, given.seconds)
            say(backend, outcome)
            whole = whole and outcome.is_whole
    sys.exit(0 if whole else 1)


if __name__ == "__main__":
    main()
