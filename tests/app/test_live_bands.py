"""What the live page says of a run while it goes on: bands, what leaves them, the stop chain."""

from pathlib import Path

import numpy as np
import pytest
from tests.demo_files import CR_1, LIMITS, LOWER, LOWER_CHANNELS
from tests.web.seed import blocks_of, burn_in_bench

from spinproof.app.live_bands import BandWatch, Expectation
from spinproof.app.live_stop import StopChain, StopWatch
from spinproof.app.live_traces import TraceWatch
from spinproof.app.watching import SpeedWatch
from spinproof.model.channel import Role
from spinproof.model.program import Fault, FaultKind
from spinproof.model.run import Purpose
from spinproof.model.trace import Signal
from spinproof.record.journal import JournalFollower, JournalWriter
from spinproof.virtualhead.head import VirtualHead

PIECE = 4
"""Blocks of the stand at a look: a second."""


def watched(folder: Path, *faults: Fault) -> tuple[set[str], StopChain | None]:
    """Watch a run to its end; gives each trace that was said to be out, and the chain."""
    bench = burn_in_bench(folder)
    run = bench.start(Purpose.TRIAL)
    header = bench.header(run)
    follower, speed = JournalFollower(bench.journal(run)), SpeedWatch()
    traces, stop = TraceWatch(header, LIMITS), StopWatch(header)
    said: set[str] = set()
    with JournalWriter(bench.journal(run), bench.opening(run), 0) as journal:
        for number, block in enumerate(blocks_of(bench.program(run, *faults), VirtualHead(LOWER))):
            journal.append_block(block, 0)
            if number % PIECE == PIECE - 1:
                new = follower.poll()
                traces.follow(new, speed.follow(new, header))
                stop.follow(new)
                said |= {words.split(" reads ")[0] for words in traces.out()}
    follower.close()
    bench.ledger.close()
    return said, stop.chain


def test_a_good_run_stays_in_its_bands_and_stops_in_order(tmp_path: Path):
    said, chain = watched(tmp_path)

    assert said == set()
    assert chain is not None
    assert chain.wrong == ()
    moments = [link.after_s for link in chain.links]
    assert None not in moments
    assert moments == sorted(moments)
    assert [link.words for link in chain.links][-1] == "lock released by the controller"


def test_what_leaves_its_band_is_named_and_so_is_a_lock_that_let_go_early(tmp_path: Path):
    said, chain = watched(
        tmp_path,
        Fault(kind=FaultKind.WRONG_SPEED_SCALE, size=1.05),
        Fault(kind=FaultKind.DI_PRESSURE_DIP, size=1.4),
        Fault(kind=FaultKind.DOOR_OUT_OF_ORDER, size=3.0),
    )

    assert {"Speed", "DI flow"} <= said
    assert chain is not None
    assert any("the door was released" in words for words in chain.wrong)


def entered(*steps: tuple[float, int]) -> Expectation:
    """Give what is expected once the controller has said its steps."""
    expected = Expectation(CR_1, LOWER, None)
    channel = next(c for c in LOWER_CHANNELS.channels if c.role is Role.STEP)
    times, counts = zip(*steps, strict=True)
    expected.follow({"step": Signal(channel, np.array(times), np.array(counts))})
    return expected


def test_the_speed_is_expected_along_the_programmed_ramp():
    low, high = entered((0.0, 0), (5.0, 1)).band(Role.SPEED, np.array([4.0, 9.0, 40.0]))

    assert np.isnan(low[0])
    assert low[1] < 50 * 4 < high[1]  # 50 rpm/s for 4 s
    assert low[1] == pytest.approx(50 * 2 - 15)
    assert (low[2], high[2]) == pytest.approx((445, 455))


def test_a_valve_has_its_time_to_open_and_none_afterwards():
    expected = entered((0.0, 0), (5.0, 1), (50.0, 2))
    low, high = expected.band(Role.DI_FLOW, np.array([6.0, 20.0, 51.0, 60.0]))

    assert low[0] < 0 < high[0]
    assert (low[1], high[1]) == pytest.approx((13.5, 16.5))
    assert low[2] < 0
    assert high[2] == pytest.approx(16.5)
    assert high[3] < 1


def test_nothing_is_expected_while_the_rotor_coasts():
    low, high = entered((0.0, 1), (20.0, 100)).band(Role.SPEED, np.array([30.0]))

    assert np.isnan([low, high]).all()


def test_a_trace_is_said_to_be_out_once_that_has_lasted():
    watch, ones = BandWatch("DI flow", "L/min"), np.ones(2)
    watch.follow(np.array([1.0, 1.5]), 9 * ones, 13 * ones, 16 * ones)
    assert watch.said() is None
    watch.follow(np.array([2.0, 3.0]), 9 * ones, 13 * ones, 16 * ones)
    assert watch.said() == "DI flow reads 9 L/min, below the expected 13, since 2 s."
    watch.follow(np.array([3.5, 4.0]), np.array([9.0, 14.0]), 13 * ones, 16 * ones)
    assert watch.said() is None
