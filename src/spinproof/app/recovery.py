"""What a crash left behind: journals to seal, runs to end, each said aloud and none counted."""

from contextlib import AbstractContextManager
from pathlib import Path

from spinproof.app.clock import utc_now
from spinproof.app.home import Home
from spinproof.app.intake import HeadSetup, present_setup
from spinproof.files.lock import hold
from spinproof.judge.judging import judge
from spinproof.ledger.entries import RunEntry, RunState
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import BusyError
from spinproof.model.run import Ending, Outcome
from spinproof.model.trace import Trace
from spinproof.record.recovery import recover_journals
from spinproof.record.trace_file import read_summary, read_trace

RECORDER = "recorder"


def recover_home(home: Home, ledger: Ledger) -> tuple[str, ...]:
    """Seal the journals of dead recorders and end their runs as aborted.

    Runs that are being recorded at this moment are left alone.

    Parameters
    ----------
    home : Home
        The shop's folders.
    ledger : Ledger
        The records.

    Returns
    -------
    tuple of str
        What was found and done, one sentence each; empty after a tidy stop.
    """
    found = []
    for recovery in recover_journals(home.journals, home.traces):
        if recovery.trace is not None:
            kept = f"{recovery.trace.duration_s:.1f} s of it are kept"
            found.append(f"{recovery.journal.stem} was interrupted; {kept}")
        elif recovery.problem is not None:
            found.append(f"{recovery.journal.stem}: {recovery.problem}")
    with ledger.reading() as reading:
        running = reading.runs(state=RunState.RUNNING)
    found.extend(end_run(home, ledger, run) for run in running if not _is_recording(home, run))
    return tuple(found)


def end_run(home: Home, ledger: Ledger, run: RunEntry) -> str:
    """End a run whose recorder is gone: with its sealed trace if there is one, else without."""
    recover_journals(home.journals, home.traces)
    trace = _sealed_trace(home, run.name)
    if trace is None:
        with ledger.transaction(RECORDER, utc_now()) as records:
            records.finish_run(run.name, Ending.INTERRUPTED, None)
            reason = "not one sample was recorded"
            records.classify(run.name, Outcome.ABORTED, reasons=(reason,))
        return f"{run.name} is aborted: {reason}"
    with ledger.reading() as reading:
        setup = present_setup(reading, run.head)
    store_run(ledger, run, setup, trace)
    return f"{run.name} is ended with its sealed trace"


def store_run(ledger: Ledger, run: RunEntry, setup: HeadSetup, trace: Trace) -> None:
    """Judge a sealed trace and store how the run ended and what became of it."""
    header = trace.header
    judgement = judge(trace, header.recipe, header.head, setup.limits, header.load)
    with ledger.transaction(RECORDER, utc_now()) as records:
        records.finish_run(run.name, trace.ending, trace.sha256)
        records.add_judgement(run.name, judgement, setup.limits)


def hold_head(home: Home, head: str) -> AbstractContextManager[None]:
    """Hold a head while a run of it is made, from its number to its outcome."""
    return hold(home.journals / head, f"head {head}")


def _is_recording(home: Home, run: RunEntry) -> bool:
    try:
        with hold_head(home, run.head):
            return False
    except BusyError:
        return True


def _sealed_trace(home: Home, run: str) -> Trace | None:
    newest_first = sorted(home.traces.glob("*.parquet"), key=_modified, reverse=True)
    for path in newest_first:
        if read_summary(path).header.run == run:
            return read_trace(path)
    return None


def _modified(path: Path) -> float:
    return path.stat().st_mtime
