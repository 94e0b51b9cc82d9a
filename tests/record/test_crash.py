"""A recorder that is killed at any moment loses nothing that was sealed, and a second at most."""

import multiprocessing
import os
import signal

import numpy as np
import pytest
from tests.record.raw_run import make_records
from tests.record.recording_child import (
    BLOCKS,
    FEW_BLOCKS,
    record_and_die,
    record_on_and_on,
    run_name,
)

from spinproof.files.digest import sha256_of_file
from spinproof.model.run import Ending
from spinproof.record.recovery import recover_journals
from spinproof.record.trace_file import read_trace

SECOND = 20
"""Samples in a second of trace."""


@pytest.fixture(scope="module")
def context():
    """Give a way to start processes quickly: one is set up, the others are copies of it."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.record.recording_child"])
    return context


@pytest.fixture
def folders(tmp_path):
    journals, traces = tmp_path / "journals", tmp_path / "traces"
    journals.mkdir()
    traces.mkdir()
    return journals, traces


def check_whole(trace, ending, at_least):
    """Check that a trace is what was handed over, from the start and without a hole."""
    tach = trace.signals["tach"]
    samples = tach.counts.size
    assert trace.ending is ending
    assert samples >= at_least
    assert tach.counts.tolist() == make_records(np.arange(samples))[:, 0].tolist()


def killed_process(context, target, *arguments):
    process = context.Process(target=target, args=arguments)
    process.start()
    return process


def test_after_twenty_kills_every_sealed_run_is_intact_and_a_second_is_lost_at_most(
    context, folders
):
    journals, traces = folders
    rng = np.random.default_rng(20)
    cut_short = 0
    for _ in range(20):
        handed = context.Array("q", 2)
        process = killed_process(context, record_on_and_on, journals, traces, handed)
        while handed[0] == 0:  # it has not begun
            process.join(0.01)
            assert process.is_alive()
        process.join(rng.uniform(0.0, 0.15))
        os.kill(process.pid, signal.SIGKILL)
        process.join()
        assert process.exitcode == -signal.SIGKILL
        run, blocks = handed[:]

        recovered = recover_journals(journals, traces)
        assert not list(journals.iterdir())
        cut_short += sum(r.trace is not None for r in recovered)
        found = {}
        for path in traces.glob("*.parquet"):
            assert path.stem == sha256_of_file(path)
            trace = read_trace(path)
            found[trace.header.run] = trace
            path.unlink()

        for sealed in range(1, run):
            check_whole(found.pop(run_name(sealed)), Ending.COMPLETE, 5 * BLOCKS)
        if blocks:
            last = found.pop(run_name(run))
            check_whole(last, last.ending, 5 * blocks - SECOND)
            assert last.ending is Ending.INTERRUPTED or blocks == BLOCKS
        assert all(trace.duration_s == 0 for trace in found.values())
        process.close()

    assert cut_short > 0


def test_a_kill_before_any_call_that_changes_the_disk_loses_one_block_at_most(context, folders):
    journals, traces = folders
    endings = []
    for step in range(1, 1000):
        handed = context.Array("q", 2)
        process = killed_process(context, record_and_die, journals, traces, handed, step)
        process.join()
        survived = process.exitcode == 0
        assert survived or process.exitcode == -signal.SIGKILL
        process.close()

        recover_journals(journals, traces)
        assert not list(journals.iterdir())
        sealed = list(traces.glob("*.parquet"))
        assert len(sealed) == 1 or handed[1] == 0
        for path in sealed:
            trace = read_trace(path)
            check_whole(trace, trace.ending, 5 * (handed[1] - 1))
            endings.append(trace.ending)
        for path in traces.iterdir():
            path.unlink()
        if survived:
            break

    assert survived
    assert endings[-1] is Ending.COMPLETE
    assert endings.count(Ending.INTERRUPTED) > FEW_BLOCKS
