"""Judge stored runs anew: other limits or newer code, in parallel, resumable, differences told."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from multiprocessing import get_context
from pathlib import Path

from spinproof.app.clock import utc_now
from spinproof.app.fleet import reached
from spinproof.app.home import Home
from spinproof.app.judging import judge_file
from spinproof.files.canonical import digest_of
from spinproof.ledger.entries import RunEntry
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import GateClosedError, RecordError, SpinproofError
from spinproof.model.judgement import Judgement, Metric
from spinproof.model.limit import LimitSet
from spinproof.model.software import SOFTWARE

Judge = Callable[[Path, LimitSet], Judgement]


class Standing(StrEnum):
    """How a new judgement stands to the one in force."""

    SAME = "same"
    """Every number and verdict is the same."""
    DIFFERENT = "different"
    DONE_BEFORE = "done before"
    """It was judged by this version and these limits already: there is nothing to keep."""
    REFUSED = "refused"
    """The ledger does not take the new judgement, for the reason that it states."""
    UNREADABLE = "unreadable"
    """Its trace cannot be judged: it is missing, damaged or without samples."""


@dataclass(frozen=True)
class Rejudged:
    """What judging a run anew showed."""

    run: str
    standing: Standing
    outcome: str
    """The new outcome; the old one where there is no new one."""
    changes: tuple[str, ...] = ()
    """What differs, one sentence each, or why it was refused."""


@dataclass(frozen=True)
class _Task:
    run: str
    trace: Path
    limits: LimitSet
    before: Judgement


def rejudge(
    home: Home,
    ledger: Ledger,
    runs: Sequence[str],
    *,
    limits: LimitSet | None,
    by: str | None,
    workers: int = 1,
    cluster: str | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> tuple[Rejudged, ...]:
    """Judge stored runs anew, and keep the new judgements beside the old ones.

    Parameters
    ----------
    home : Home
        The shop's folders, with the sealed traces.
    ledger : Ledger
        The records.
    runs : sequence of str
        Names of runs; those that were never judged are left out.
    limits : LimitSet or None
        What to judge against; None for the limits that each run was last judged by.
    by : str or None
        Who keeps the new judgements; None only compares, and keeps nothing.
    workers : int
        Processes that judge at the same time. [1]
    cluster : str, optional
        Address of a cluster's scheduler; its workers judge instead, and must see the shop's
        folder under the same name.
    on_progress : callable, optional
        Is called with the number of runs judged so far, and of all.

    Returns
    -------
    tuple of Rejudged
        One for each run, in the given order. The same runs give the same judgements, byte for
        byte, however many workers there are, and wherever they work.

    Raises
    ------
    RecordError
        If there is no such run.
    ClusterError
        If the cluster cannot be reached, or its package is not installed.

    Notes
    -----
    Each judgement is kept in a transaction of its own: what was interrupted goes on where it
    stopped. Other limits never turn a run into a counted one.
    """
    tasks, found = _tasks(home, ledger, runs, limits, keep=by is not None)
    for done, (task, fresh) in enumerate(_judged(tasks, workers, cluster), start=1):
        found[task.run] = _settle(ledger, task, fresh, by)
        if on_progress is not None:
            on_progress(done, len(tasks))
    return tuple(found[run] for run in runs if run in found)


def stored_runs(ledger: Ledger, head: str | None = None) -> tuple[str, ...]:
    """Give the names of all runs that have a trace, of one head or of the whole shop."""
    with ledger.reading() as reading:
        return tuple(run.name for run in reading.runs(head) if run.trace_sha256)


def _tasks(
    home: Home, ledger: Ledger, runs: Sequence[str], limits: LimitSet | None, *, keep: bool
) -> tuple[list[_Task], dict[str, Rejudged]]:
    tasks, settled = [], {}
    with ledger.reading() as reading:
        for name in dict.fromkeys(runs):
            run, before = reading.run(name), reading.judgement(name)
            if before is None:
                continue
            chosen = limits or reading.limits(before.limits_sha256)
            if keep and _is_done(before, chosen):
                settled[name] = Rejudged(name, Standing.DONE_BEFORE, before.outcome.value)
            else:
                tasks.append(_Task(name, _trace_of(home, run), chosen, before))
    return tasks, settled


def _is_done(before: Judgement, limits: LimitSet) -> bool:
    judged_by = (before.software, before.limits_sha256)
    return judged_by == (SOFTWARE, digest_of(limits.to_document()))


def _trace_of(home: Home, run: RunEntry) -> Path:
    if run.trace_sha256 is None:
        raise RecordError(
            "the run has a judgement and no trace",
            where=f"run {run.name}",
            mend="Examine the shop with `spinproof doctor`.",
        )
    return home.trace(run.trace_sha256)


def _judged(
    tasks: Sequence[_Task], workers: int, cluster: str | None
) -> Iterator[tuple[_Task, Judgement | SpinproofError]]:
    if cluster is None and (workers <= 1 or len(tasks) < 2):
        for task in tasks:
            yield task, _judge(task.trace, task.limits)
        return
    with _pool(workers) if cluster is None else reached(cluster) as pool:
        waiting: dict[Future[Judgement | SpinproofError], _Task] = {
            pool.submit(_judge, task.trace, task.limits): task for task in tasks
        }
        for future in as_completed(waiting):
            yield waiting[future], future.result()


@contextmanager
def _pool(workers: int) -> Iterator[Executor]:
    # spawned, not forked: the parent holds threads and database connections
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        try:
            yield pool
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise


def _judge(trace: Path, limits: LimitSet) -> Judgement | SpinproofError:
    try:
        return judge_file(trace, limits)
    except SpinproofError as error:
        return error


def _settle(
    ledger: Ledger, task: _Task, fresh: Judgement | SpinproofError, by: str | None
) -> Rejudged:
    if isinstance(fresh, SpinproofError):
        return Rejudged(task.run, Standing.UNREADABLE, task.before.outcome.value, (str(fresh),))
    changes = differences(task.before, fresh)
    if by is not None:
        try:
            with ledger.transaction(by, utc_now()) as records:
                records.add_judgement(task.run, fresh, task.limits)
        except GateClosedError as error:
            return Rejudged(task.run, Standing.REFUSED, fresh.outcome.value, (str(error),))
    standing = Standing.DIFFERENT if changes else Standing.SAME
    return Rejudged(task.run, standing, fresh.outcome.value, changes)


def differences(before: Judgement, after: Judgement) -> tuple[str, ...]:
    """Say what differs between two judgements of a run: outcome, verdicts, numbers.

    Parameters
    ----------
    before, after : Judgement
        The judgements.

    Returns
    -------
    tuple of str
        One sentence each, the outcome first; empty when nothing that is judged differs.
    """
    found = []
    if before.outcome is not after.outcome:
        found.append(f"outcome: {before.outcome} became {after.outcome}")
    old = {(m.name, m.step): m for m in before.metrics}
    new = {(m.name, m.step): m for m in after.metrics}
    for key in (*old, *(key for key in new if key not in old)):
        change = _difference(old.get(key), new.get(key))
        if change:
            step = "" if key[1] is None else f", step {key[1]}"
            found.append(f"{key[0]}{step}: {change}")
    return tuple(found)


def _difference(before: Metric | None, after: Metric | None) -> str | None:
    if before is None or after is None:
        return "is judged now" if before is None else "is not judged any more"
    if before.verdict is not after.verdict:
        return f"{before.verdict or 'no limit'} became {after.verdict or 'no limit'}"
    if (before.value, before.uncertainty) != (after.value, after.uncertainty):
        return f"{_number(before)} became {_number(after)} {after.unit}"
    return None


def _number(metric: Metric) -> str:
    if metric.value is None:
        return "nothing"
    return f"{metric.value:.6g} (u {metric.uncertainty or 0:.2g})"
