"""Planned runs one after the other, held by one recorder process for each head."""

import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from spinproof.app.burn_in import RunDone, Station, make_next_run
from spinproof.app.clock import rfc3339, utc_now
from spinproof.app.home import Home
from spinproof.app.recording import OnProgress
from spinproof.app.runner_state import SeriesOrder, SeriesState, StatedFault, state_of, write_state
from spinproof.files.canonical import canonical_json
from spinproof.files.lock import hold
from spinproof.ledger.shop_reading import ShopReading
from spinproof.model.attestation import BenchNote, NoteKind
from spinproof.model.errors import BusyError, GateClosedError, SpinproofError
from spinproof.model.run import Outcome

ALL_COUNTED = "the series is done"


def run_series(
    station: Station,
    runs: int,
    *,
    on_run: Callable[[RunDone], None] = lambda _: None,
    on_progress: OnProgress | None = None,
) -> SeriesState:
    """Make planned runs until so many are made, one does not count, or somebody paused.

    Parameters
    ----------
    station : Station
        Where.
    runs : int
        How many to make at most.
    on_run : callable
        Is called with each run once it is judged.
    on_progress : callable, optional
        Is called with the state of a recording.

    Returns
    -------
    SeriesState
        What was made, and why it ended.

    Raises
    ------
    BusyError
        If the head's runs are made by another process; it says whose.
    GateClosedError
        If no run may be made at all.
    SpinproofError
        What else stood in the way; the state of the series tells it, too.
    KeyboardInterrupt
        If it is ended by hand; the run that was recorded does not count.
    """
    with hold_series(station.home, station.head):
        asked = state_of(station.home, station.head)
        state = SeriesState.begun(
            station.operator,
            runs,
            rfc3339(utc_now()),
            simulated=station.simulated_start,
            order=asked.order if asked and not asked.pid else None,
        )
        write_state(station.home, station.head, state)
        try:
            state = _make_runs(station, state, on_run, on_progress)
        except KeyboardInterrupt:
            state = state.ended(rfc3339(utc_now()), "it was ended by hand")
            raise
        except SpinproofError as error:
            state = state.ended(rfc3339(utc_now()), error.what, StatedFault.of(error))
            raise
        finally:
            write_state(station.home, station.head, state)
    return state


def _make_runs(
    station: Station,
    state: SeriesState,
    on_run: Callable[[RunDone], None],
    on_progress: OnProgress | None,
) -> SeriesState:
    because = ALL_COUNTED
    for _ in range(state.runs):
        try:
            with station.ledger.reading() as records:
                require_resumed(records, station.head)
            done = make_next_run(station, on_progress=on_progress)
        except GateClosedError as error:
            if not state.made:
                raise
            because = error.what
            break
        state = state.with_run(done.entry.name)
        write_state(station.home, station.head, state)
        on_run(done)
        if done.outcome is not Outcome.COUNTED:
            because = f"run {done.entry.name} is not counted: {done.outcome}"
            break
    return state.ended(rfc3339(utc_now()), because)


@contextmanager
def hold_series(home: Home, head: str) -> Iterator[None]:
    """Hold a head's runs for one process.

    Raises
    ------
    BusyError
        If another process holds them; it says who began them, and when.
    """
    path = home.journals / f"{head}.series"
    with _naming_holder(home, head), hold(path, f"the burn-in of head {head}"):
        yield


@contextmanager
def _naming_holder(home: Home, head: str) -> Iterator[None]:
    """Say who holds a head in place of which file is locked.

    Raises
    ------
    BusyError
        With the name of who holds it.
    """
    try:
        yield
    except BusyError as error:
        state = state_of(home, head)
        if state is None or state.ended_at is not None:
            raise
        raise BusyError(
            f"the runs of head {head} are being made: {state.by} began that at {state.began_at}",
            where=f"head {head}",
            mend="Follow it on the live page; pause it there, or wait until it is done.",
        ) from error


def is_running(home: Home, head: str) -> bool:
    """Tell whether a process holds the runs of a head at this moment."""
    try:
        with hold(home.journals / f"{head}.series", "the burn-in"):
            return False
    except BusyError:
        return True


def last_note(records: ShopReading, head: str, *kinds: NoteKind) -> BenchNote | None:
    """Give the newest note of some kinds about a head's open campaign."""
    campaign = records.campaign(head)
    for fact in reversed(records.attestations(unit=head)):
        note = fact.content
        if isinstance(note, BenchNote) and note.about in kinds:
            return note if campaign and note.campaign == campaign.number else None
    return None


def require_resumed(records: ShopReading, head: str) -> None:
    """Refuse to begin a run while the campaign is paused.

    Raises
    ------
    GateClosedError
        If it is; it gives the reason.
    """
    note = last_note(records, head, NoteKind.PAUSE, NoteKind.RESUME)
    if note is not None and note.about is NoteKind.PAUSE:
        raise GateClosedError(
            f"the campaign is paused: {note.text or 'no reason was noted'}",
            where=f"head {head}",
            mend="Resume it on the burn-in page of the head.",
        )


def start_recorder(home: Home, order: SeriesOrder) -> None:
    """Start a process that makes planned runs; it lives on when the one that asked ends.

    Parameters
    ----------
    home : Home
        The shop's folders.
    order : SeriesOrder
        What it shall make.

    Raises
    ------
    BusyError
        If the head's runs are being made already.
    """
    with hold_series(home, order.head):
        write_state(home, order.head, SeriesState.asked(order, rfc3339(utc_now())))
    log = home.journals / f"{order.head}.recorder.log"
    with log.open("ab") as said:
        child = subprocess.Popen(  # noqa: S603 - our own module, run by our own interpreter
            [sys.executable, "-m", "spinproof.app.runner_process", str(Path(home.root))],
            stdin=subprocess.PIPE,
            stdout=said,
            stderr=said,
            start_new_session=True,  # what ends the page server does not reach it
        )
    threading.Thread(target=_hand_over, args=(child, order), daemon=True).start()


def _hand_over(child: "subprocess.Popen[bytes]", order: SeriesOrder) -> None:
    """Give the child its order, and wait for it, so that it leaves no trace when it ends."""
    with suppress(OSError):  # it died at once; its log says why
        child.communicate(canonical_json(order.to_document()))
