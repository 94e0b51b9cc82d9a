"""The burn-in page: from the plan to judged runs, by recorder processes of their own."""

import re
import secrets
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest
from tests.demo_files import LOWER, UPPER
from tests.web.running import served
from tests.web.seed import HEAD, OWNER, PLAN, Bench, burn_in_bench

from spinproof.app.burn_in import RunDone, Station
from spinproof.app.recording import StandAddress
from spinproof.app.runner import hold_series, is_running, run_series
from spinproof.app.runner_desk import RunnerDesk
from spinproof.app.runner_state import SeriesOrder, SeriesState, state_of, write_state
from spinproof.ledger.entries import RunState
from spinproof.model.attestation import NoteKind
from spinproof.model.errors import BusyError, GateClosedError
from spinproof.model.program import Fault, FaultKind
from spinproof.model.run import Outcome
from spinproof.virtualhead.process_host import StandProcess

PAGE = f"/heads/{HEAD}/burn-in"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = burn_in_bench(tmp_path)
    yield made
    made.ledger.close()


@pytest.fixture
def client(bench: Bench) -> Iterator[httpx.Client]:
    with served(bench.home) as address, visiting(address) as opened:
        yield opened


def visiting(address: str) -> httpx.Client:
    base = address.rstrip("/")
    return httpx.Client(base_url=base, headers={"origin": base}, timeout=60, follow_redirects=True)


def sent(client: httpx.Client, deed: str, **fields: str) -> httpx.Response:
    """Send one of the page's forms."""
    text = client.get(PAGE).text
    token = re.search('name="form-token" value="([^"]+)"', text)
    assert token
    hidden = {"form-token": token[1], "form-key": secrets.token_urlsafe(16)}
    return client.post(f"{PAGE}/{deed}", data=hidden | fields)


PAUSE = threading.Event()
"""Never set: it only gives the other process its turn."""


def until(what: Callable[[], bool]) -> None:
    """Wait for another process."""
    limit = time.monotonic() + 60
    while not what():
        assert time.monotonic() < limit, "it did not come"
        PAUSE.wait(0.05)


def words(answer: httpx.Response) -> str:
    return re.sub(r"\s+", " ", re.sub("<[^>]+>", " ", answer.text))


def test_the_next_run_stands_there_as_it_is_entered(client: httpx.Client):
    text = words(client.get(PAGE))

    assert "Enter planned run 1 of 4 at the controller of head L." in text
    assert "1 rinse 45 450 starts at the command" in text
    assert "3 fast dry 120 1750 starts at the command" in text
    assert f"{PLAN.runs[0].load.wafer_count} wafers" in text
    assert PLAN.restart_rule in text.replace("&#39;", "'")


def test_a_series_outlives_the_page_server_that_started_it(bench: Bench):
    with served(bench.home) as address, visiting(address) as client:
        assert sent(client, "simulate", runs="2", speed="as fast as it can").status_code == 200
        until(lambda: is_running(bench.home, HEAD))
    until(lambda: (state_of(bench.home, HEAD) or unended()).ended_at is not None)

    state = state_of(bench.home, HEAD)
    assert state is not None
    assert (len(state.made), state.because, state.fault) == (2, "the series is done", None)
    made = RunnerDesk(bench.home, bench.ledger).view(HEAD)
    assert made.tally.counted == 2
    assert made.last is not None
    assert made.last.as_planned.startswith("What ran is what was planned as planned run 2")
    assert made.next is not None
    assert made.next.number == 3


def unended() -> SeriesState:
    return SeriesState.begun(OWNER, 1, "", simulated=True, order=None)


def test_a_recording_is_ended_by_hand_and_does_not_count(bench: Bench, client: httpx.Client):
    sent(client, "simulate", runs="4", speed="real time")
    journal = bench.home.journals / "QA-1041-L-001.journal"
    until(journal.exists)
    refused = sent(client, "end-recording", run="QA-1041-L-009")
    assert "is not recorded now" in refused.text
    answer = sent(client, "end-recording", run="QA-1041-L-001")
    assert answer.status_code == 200
    until(lambda: not is_running(bench.home, HEAD))

    text = words(client.get(PAGE))
    assert "Paused: recording of QA-1041-L-001 ended by hand" in text
    with bench.ledger.reading() as records:
        (run,) = records.runs(HEAD)
    assert run.state is RunState.JUDGED
    assert run.outcome is Outcome.ABORTED


def test_a_second_start_says_who_holds_the_head(bench: Bench, client: httpx.Client):
    state = SeriesState.begun("TT-4", 3, "2031-05-06T07:08:09.000Z", simulated=False, order=None)
    sent(client, "hand-over", text="seal looked at")
    with hold_series(bench.home, HEAD):
        write_state(bench.home, HEAD, state)
        refused = sent(client, "simulate", runs="1", speed="real time")

    assert refused.status_code == 503
    assert "TT-4 began that at 2031-05-06T07:08:09.000Z" in refused.text


def test_a_held_head_without_a_state_is_busy_all_the_same(bench: Bench):
    with hold_series(bench.home, HEAD), pytest.raises(BusyError), hold_series(bench.home, HEAD):
        pass


def test_no_run_is_recorded_before_its_recipe_was_entered(bench: Bench, client: httpx.Client):
    refused = sent(client, "record", stand="127.0.0.1:9")
    unread = sent(client, "record", stand="somewhere", entered="yes")

    assert "nobody said that the recipe was entered" in refused.text.lower()
    assert "Write host and port" in unread.text
    with bench.ledger.reading() as records:
        assert records.runs(HEAD) == ()


def test_a_stand_that_does_not_answer_is_told_with_what_mends_it(
    bench: Bench, client: httpx.Client
):
    sent(client, "record", stand="127.0.0.1:9", entered="yes")
    until(lambda: (state_of(bench.home, HEAD) or unended()).ended_at is not None)
    until(lambda: not is_running(bench.home, HEAD))

    text = words(client.get(PAGE))
    assert "0 of 1 made" in text
    assert "127.0.0.1:9" in text
    assert "Recipe entered for planned run 1." in text


def test_a_paused_campaign_waits_until_somebody_resumes(bench: Bench, client: httpx.Client):
    sent(client, "pause", text="the customer calls")
    assert "Paused: the customer calls" in words(client.get(PAGE))
    order = SeriesOrder(head=HEAD, by=OWNER, runs=1)
    with pytest.raises(GateClosedError, match="the customer calls"):
        RunnerDesk(bench.home, bench.ledger).start(order, entered=False)

    sent(client, "resume", text="")
    assert "Enter planned run 1 of 4" in words(client.get(PAGE))


def test_a_hand_over_note_stays_with_its_campaign(client: httpx.Client):
    sent(client, "hand-over", text="slot 7 of the cassette is tight")

    assert f"Hand-over: slot 7 of the cassette is tight {OWNER}" in words(client.get(PAGE))
    assert sent(client, "hand-over", text="").status_code == 422


def test_a_series_ends_before_the_next_run_when_somebody_pauses(bench: Bench):
    desk = RunnerDesk(bench.home, bench.ledger)

    def pause(done: RunDone) -> None:
        desk.note(HEAD, NoteKind.PAUSE, f"after {done.entry.name}", "TT-1")

    with StandProcess((UPPER, LOWER)) as stand:
        address = StandAddress(stand.host, stand.port)
        station = Station(bench.home, bench.ledger, HEAD, address, "TT-1", simulated_start=True)
        state = run_series(station, 4, on_run=pause)
        with pytest.raises(GateClosedError):
            run_series(station, 4)

    assert state.made == ("QA-1041-L-001",)
    assert state.because == "the campaign is paused: after QA-1041-L-001"


def test_after_a_relevant_failure_no_run_begins_until_the_campaign_is_ended(
    bench: Bench, client: httpx.Client
):
    bench.attempt(Fault(kind=FaultKind.TACH_GAP, size=1.9))
    text = words(client.get(PAGE))
    assert "Run QA-1041-L-001 is a relevant failure: the count starts again" in text
    assert "Start recording" not in text
    assert "What ran is not what was planned" in text or "What ran is what was planned" in text

    ended = sent(client, "end-campaign", text="the gap of the tach was wrong")
    assert "Open a campaign under a plan." in ended.text
    with bench.ledger.reading() as records:
        assert records.campaigns(HEAD)[-1].closed_because == "the gap of the tach was wrong"


def test_a_moment_is_marked_with_its_run_and_its_second(bench: Bench, client: httpx.Client):
    run = bench.start()
    answer = sent(client, "mark", run=run.name, time_s="17.25", text="a knock")

    assert f"Moment marked at 17.2 s of run {run.name}: a knock" in words(answer)
    stranger = sent(client, "mark", run="QA-1041-L-099", time_s="1", text="")
    assert stranger.status_code == 404
