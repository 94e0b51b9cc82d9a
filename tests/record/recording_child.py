"""A recorder for a process of its own, that may be killed at any moment.

Its source is no network but a row of blocks, so that the test knows what was handed over.
"""

import os
import signal
from itertools import count

from tests.record.raw_run import LAYOUT, RUN, demo_header, make_block

from spinproof.model.registers import StandState
from spinproof.record.journal import SUFFIX
from spinproof.record.recorder import Pace, record_run
from spinproof.record.stand import StandStatus
from spinproof.record.trace_file import seal_journal

BLOCKS = 40
FEW_BLOCKS = 10
PACE = Pace(poll_s=0.0)


class RowOfBlocks:
    """Hands over blocks, a few more with each question, and notes each in shared memory."""

    layout = LAYOUT
    ring_slots = 400
    wants_acknowledge = False
    identity = "row of blocks"

    def __init__(self, note, blocks):
        self._note = note
        self._blocks = blocks
        self._asked = 0

    def status(self):
        """Answer with three more blocks than before."""
        self._asked += 1
        written = min(self._blocks, 3 * (self._asked - 1))
        done = written == self._blocks
        return StandStatus(StandState.FINISHED if done else StandState.RUNNING, RUN, written)

    def read_block(self, number):
        """Hand over a block."""
        self._note(number + 1)
        return make_block(number)

    def acknowledge(self, _blocks):
        """Do without."""


def run_name(run):
    """Give the name of a run by its number."""
    return f"QA-1041-L-{run:04}"


def record_on_and_on(journals, traces, handed):
    """Record and seal run after run; shared memory holds (run, blocks of it handed over)."""
    for run in count(1):
        handed[:] = [run, 0]

        def note(blocks, run=run):
            handed[:] = [run, blocks]

        record_one(journals, traces, run, note)


def record_one(journals, traces, run, note, blocks=BLOCKS):
    """Record and seal one run."""
    header = demo_header().model_copy(update={"run": run_name(run)})
    journal = journals / f"{run_name(run)}{SUFFIX}"
    record_run(RowOfBlocks(note, blocks), header, journal, pace=PACE)
    seal_journal(journal, traces)


def record_and_die(journals, traces, handed, step):
    """Record and seal one run, and die just before the n-th call that changes the disk."""
    left = step

    def wrap(call):
        def counted(*args, **kwargs):
            nonlocal left
            left -= 1
            if left == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            return call(*args, **kwargs)

        return counted

    def note(blocks):
        handed[:] = [1, blocks]

    for name in ("open", "write", "fdatasync", "fsync", "replace", "unlink", "ftruncate"):
        setattr(os, name, wrap(getattr(os, name)))
    record_one(journals, traces, 1, note, FEW_BLOCKS)
