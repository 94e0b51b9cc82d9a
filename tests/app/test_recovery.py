"""After a crash: what was recorded is kept, the run is aborted, and the work goes on."""

import signal
import subprocess
import sys

from tests.demo_files import LOWER, UPPER
from tests.shop import HEAD, Shop, short_plan

from spinproof.app.burn_in import Station, attempts, make_next_run, open_campaign
from spinproof.app.recording import StandAddress
from spinproof.app.recovery import recover_home
from spinproof.model.run import Ending, Outcome
from spinproof.record.trace_file import read_trace
from spinproof.virtualhead.process_host import StandProcess

RECORDER = """
import sys
from pathlib import Path
from spinproof.app.burn_in import Station, make_next_run
from spinproof.app.home import open_home
from spinproof.app.intake import open_shop_ledger
from spinproof.app.recording import StandAddress

home = open_home(Path(sys.argv[1]))
station = Station(
    home, open_shop_ledger(home), "QM-207-L", StandAddress("127.0.0.1", int(sys.argv[2])),
    "TT-1", simulated_start=True,
)
make_next_run(station, on_progress=lambda progress: print(progress.blocks, flush=True))
"""


def test_a_recorder_killed_in_mid_run_leaves_an_aborted_run_and_its_trace(shop: Shop):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    with StandProcess((UPPER, LOWER), speed_up=10.0) as stand:
        recorder = subprocess.Popen(
            [sys.executable, "-c", RECORDER, str(shop.home.root), str(stand.port)],
            stdout=subprocess.PIPE,
            text=True,
        )
        with recorder:
            blocks = int(recorder.stdout.readline())
            while_it_runs = recover_home(shop.home, shop.ledger)
            recorder.send_signal(signal.SIGKILL)

    found = recover_home(shop.home, shop.ledger)

    (attempt,), tally = attempts(shop.ledger, HEAD)
    trace = read_trace(shop.home.trace(attempt.trace_sha256))
    assert while_it_runs == (), "a living recorder is left alone"
    assert any("QA-1041-L-001 was interrupted" in sentence for sentence in found)
    assert attempt.outcome is Outcome.ABORTED
    assert trace.ending is Ending.INTERRUPTED
    assert trace.duration_s >= (blocks - 1) * 0.25 - 0.05, "every block it had told of is kept"
    assert str(tally) == (
        "attempts 1 = counted 0 + void 0 + relevant failure 0 + invalid 0 + aborted 1"
    )
    assert recover_home(shop.home, shop.ledger) == ()
    with StandProcess((UPPER, LOWER)) as stand:
        address = StandAddress(stand.host, stand.port)
        station = Station(shop.home, shop.ledger, HEAD, address, "TT-1", simulated_start=True)
        assert make_next_run(station).outcome is Outcome.COUNTED
