"""How soon a sample reaches the live page: to the socket, and to the screen of a browser.

One process writes a journal as the recorder does, a sample at a time; the pages are served by
another; this one is the client. All read the same monotonic clock of the machine. What lies
between the device and the journal is the recorder's, and measured in ``bench.recorder``.
"""

import json
import multiprocessing
import os
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Queue

import httpx
import numpy as np
from playwright.sync_api import Page, sync_playwright
from tests.demo_files import LOWER
from tests.web.seed import HEAD, Bench, burn_in_bench

from spinproof.model.registers import RECORD_REGISTERS
from spinproof.model.run import Ending, Outcome
from spinproof.record.blocks import RecordLayout
from spinproof.record.journal import JournalWriter, Opening
from spinproof.virtualhead.head import VirtualHead, simulate

RATE_HZ = 20
SECONDS = 15
SKIPPED = 20
"""Samples at the begin that are left out: the page is being built."""
SLOW_DISK_S = 0.2
LAYOUT = RecordLayout(
    record_registers=RECORD_REGISTERS, samples_per_block=1, sample_period_us=1_000_000 // RATE_HZ
)
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking")


def feed(
    path: Path, opening: Opening, records: list[list[int]], *, slow: bool, stamps: Path
) -> None:
    """Write a journal in real time, and note when each sample was taken."""
    if slow:
        sync = os.fdatasync

        def stall(descriptor: int) -> None:
            time.sleep(SLOW_DISK_S)
            sync(descriptor)

        os.fdatasync = stall
    taken = {}
    with JournalWriter(path, opening, time.monotonic_ns()) as journal:
        begun = time.monotonic()
        for number, record in enumerate(records):
            time.sleep(max(0.0, begun + number / RATE_HZ - time.monotonic()))
            taken[number] = time.monotonic()
            journal.append_block(block_of(number, record, opening), time.monotonic_ns())
            journal.keep_durable(time.monotonic_ns())
        journal.close(Ending.COMPLETE, time.monotonic_ns())
    stamps.write_text(json.dumps(taken))


def block_of(number: int, record: list[int], opening: Opening) -> bytes:
    """Give one sample as a block of its own."""
    at_us = 3_600_000_000 + number * (1_000_000 // RATE_HZ)
    head = struct.pack(">IIQHH", number, number, at_us, opening.run_number, 1)
    return head + struct.pack(f">{len(record)}H", *record)


@contextmanager
def served(home: Path) -> Iterator[str]:
    """Serve the pages in a process of their own.

    Raises
    ------
    SystemExit
        If it does not start.
    """
    command = [sys.executable, "-m", "spinproof", "serve", "--home", str(home), "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        try:
            said = server.stdout.readline() if server.stdout else ""
            found = re.search(r"http://\S+", said)
            if found is None:
                raise SystemExit(f"the server did not start: {said}")
            yield found[0].rstrip("/")
        finally:
            server.terminate()


def listen(address: str, heard: dict[int, float], ready: "Queue[bool]") -> None:
    """Note when each newest sample reaches the socket."""
    with httpx.stream("GET", f"{address}/api/live/{HEAD}", timeout=60) as stream:
        ready.put(item=True)
        for line in stream.iter_lines():
            now = time.monotonic()
            if line.startswith("data: "):
                event = json.loads(line[6:])
                if event["newest_s"] is not None:
                    heard.setdefault(round(event["newest_s"] * RATE_HZ), now)
                if event["state"] == "ended":
                    return


def clock_offset(page: Page) -> float:
    """Give what is added to the page's clock to get this machine's, by the quickest of tries."""
    best = (float("inf"), 0.0)
    for _ in range(100):
        before = time.monotonic()
        theirs = page.evaluate("() => performance.now()") / 1000
        after = time.monotonic()
        best = min(best, (after - before, (before + after) / 2 - theirs))
    print(f"  clock of the page against this one: within {1e3 * best[0] / 2:.2f} ms")
    return best[1]


def measure(bench: Bench, address: str, page: Page, *, slow: bool) -> None:
    """Measure one recording, and print it.

    Raises
    ------
    SystemExit
        If the journal could not be written.
    """
    run = bench.start()
    simulated = simulate(VirtualHead(LOWER), bench.program(run))
    records = [list(record) for record, _ in zip(simulated, range(RATE_HZ * SECONDS), strict=False)]
    opening = Opening(header=bench.header(run), run_number=run.number, layout=LAYOUT)
    stamps = bench.home.root / f"{run.name}.stamps.json"
    heard: dict[int, float] = {}
    ready: Queue[bool] = Queue()
    listener = threading.Thread(target=listen, args=(address, heard, ready), daemon=True)
    listener.start()
    ready.get()
    page.goto(f"{address}/live/{HEAD}")
    page.evaluate(
        "() => { window.painted = []; document.getElementById('live').addEventListener('painted',"
        " (e) => setTimeout(() => window.painted.push([e.detail.newest, performance.now()]), 0)) }"
    )
    offset = clock_offset(page)
    path = bench.journal(run)
    feeder = multiprocessing.get_context("spawn").Process(
        target=feed, args=(path, opening, records), kwargs={"slow": slow, "stamps": stamps}
    )
    feeder.start()
    feeder.join()
    if feeder.exitcode:
        raise SystemExit("the feeder died")
    listener.join()
    page.wait_for_timeout(500)
    painted = page.evaluate("() => window.painted")
    shown = {round(at * RATE_HZ): when / 1000 + offset for at, when in reversed(painted)}
    taken = {int(n): when for n, when in json.loads(stamps.read_text()).items()}
    disk = f", the disk {1e3 * SLOW_DISK_S:.0f} ms slow" if slow else ""
    tell(f"sample to socket{disk}", taken, heard)
    tell(f"sample to paint{disk}", taken, shown)
    with bench.ledger.transaction("TT-1", bench.later(1)) as ledger:
        ledger.finish_run(run.name, Ending.COMPLETE, None)
        ledger.classify(run.name, Outcome.ABORTED, reasons=("a measurement of the pages",))


def tell(what: str, taken: dict[int, float], arrived: dict[int, float]) -> None:
    """Print how late samples arrive; one that came together with the next arrived with it."""
    latest, late = float("inf"), []
    for number in sorted(taken, reverse=True):
        latest = min(latest, arrived.get(number, float("inf")))
        if number >= SKIPPED and latest < float("inf"):
            late.append(1e3 * (latest - taken[number]))
    p50, p99 = np.percentile(late, [50, 99])
    print(f"  {what}: p50 {p50:.1f} ms, p99 {p99:.1f} ms, worst {max(late):.1f} ms of {len(late)}")


def main() -> None:
    """Measure with the disk as it is, and with a slow one."""
    load, cores = os.getloadavg()[0], os.cpu_count()
    print(
        f"live page, one viewer by itself and one browser, {load:.1f} jobs on {cores} cores before:"
    )
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        bench = burn_in_bench(Path(folder))
        browser = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        page = browser.new_page()
        with served(Path(folder)) as address:
            for slow in (False, True):
                measure(bench, address, page, slow=slow)
        browser.close()
        bench.ledger.close()


if __name__ == "__main__":
    main()
