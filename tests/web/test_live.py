"""Watching a head while its run is recorded."""

import json
import os
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import numpy as np
import pytest
from tests.demo_files import CR_1, LOWER, LOWER_CHANNELS
from tests.web.running import served
from tests.web.seed import EXCLUDED, HEAD, Bench, blocks_of, burn_in_bench

from spinproof.app.browsing import Browser
from spinproof.app.live import HeadWatch
from spinproof.app.views import LiveState
from spinproof.app.watching import StepWatch, speeds
from spinproof.model.handover import Series
from spinproof.model.recipe import TimerBasis
from spinproof.model.run import Ending, Outcome
from spinproof.model.trace import Signal, Trace
from spinproof.record.frames import FrameKind, frame_bytes
from spinproof.record.journal import JournalWriter
from spinproof.virtualhead.head import VirtualHead

BLOCKS_PER_S = 4
NOW = datetime(2031, 5, 6, 12, 0, 0, tzinfo=UTC)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = burn_in_bench(tmp_path)
    yield made
    made.ledger.close()


@pytest.fixture(scope="module")
def blocks(tmp_path_factory: pytest.TempPathFactory) -> list[bytes]:
    """Give what the stand sends in the first planned run, which is the customer's recipe."""
    made = burn_in_bench(tmp_path_factory.mktemp("blocks"))
    run = made.start()
    made.ledger.close()
    return list(blocks_of(made.program(run), VirtualHead(LOWER)))


@pytest.fixture
def watch(bench: Bench) -> Iterator[HeadWatch]:
    opened = HeadWatch(Browser(bench.home, bench.ledger), HEAD)
    yield opened
    opened.close()


def recording(bench: Bench) -> JournalWriter:
    """Begin to record the next run."""
    run = bench.start()
    return JournalWriter(bench.journal(run), bench.opening(run), 0)


def append(journal: JournalWriter, blocks: list[bytes]) -> None:
    for block in blocks:
        journal.append_block(block, 0)


def test_without_a_run_the_page_waits(watch: HeadWatch):
    now = watch.look(NOW)

    assert now.state is LiveState.WAITING
    assert now.run is None
    assert now.speed_rpm is None


def test_a_run_is_followed_from_its_middle_on(bench: Bench, watch: HeadWatch, blocks: list[bytes]):
    with recording(bench) as journal:
        append(journal, blocks[: 100 * BLOCKS_PER_S])
        now = watch.look(NOW)

        assert now.state is LiveState.RECORDING
        assert now.run == "QA-1041-L-001"
        assert now.recipe == "CR-1"
        assert now.step == "3 of 4: fast dry"
        assert now.left_s == pytest.approx(120 - (100 - 64.525), abs=0.1)
        assert now.speed_rpm == pytest.approx(1750, abs=5)
        assert now.simulated
        assert now.fresh
        assert now.count == (
            "campaign 1, plan of 4 runs: 0 counted of 1 attempted, 0 relevant failures"
        )

        append(journal, blocks[100 * BLOCKS_PER_S : 101 * BLOCKS_PER_S])
        later = watch.look(NOW)
        assert not later.fresh
        assert later.curve.time_s[0] > now.curve.time_s[-1]
        assert 100 < later.curve.time_s[-1] <= 101
        assert later.left_s == pytest.approx(now.left_s - 1, abs=0.06)


def test_readings_come_with_their_units_and_counts_are_left_out(
    bench: Bench, watch: HeadWatch, blocks: list[bytes]
):
    with recording(bench) as journal:
        append(journal, blocks[: 20 * BLOCKS_PER_S])
        readings = {reading.name: reading for reading in watch.look(NOW).readings}

    assert readings["DI flow"].unit == "L/min"
    assert readings["DI flow"].value == pytest.approx(15, abs=0.5)
    assert not {"tach", "tach edge", "optical tach", "step", "status"} & set(readings)


def test_the_first_look_gives_two_minutes_at_most(
    bench: Bench, watch: HeadWatch, blocks: list[bytes]
):
    with recording(bench) as journal:
        append(journal, blocks[: 300 * BLOCKS_PER_S])
        curve = watch.look(NOW).curve

    assert curve.time_s[-1] - curve.time_s[0] <= 120


def test_the_age_is_that_of_the_last_write(bench: Bench, watch: HeadWatch, blocks: list[bytes]):
    with recording(bench) as journal:
        append(journal, blocks[:8])
        written = NOW - timedelta(seconds=7)
        os.utime(journal.path, (written.timestamp(), written.timestamp()))

        assert watch.look(NOW).age_s == pytest.approx(7)


def test_a_recording_that_ends_is_followed_by_the_next(
    bench: Bench, watch: HeadWatch, blocks: list[bytes]
):
    first = recording(bench)
    append(first, blocks[:40])
    assert watch.look(NOW).state is LiveState.RECORDING
    append(first, blocks[40:44])
    first.close(Ending.COMPLETE, 0)
    ended = watch.look(NOW)

    assert ended.state is LiveState.ENDED
    assert ended.words == "The recording has ended: complete."
    assert ended.left_s is None
    assert ended.curve.time_s

    with bench.ledger.transaction("TT-1", bench.later(1)) as records:
        records.finish_run("QA-1041-L-001", Ending.COMPLETE, None)
        records.classify("QA-1041-L-001", Outcome.ABORTED, reasons=("no trace was kept",))
    assert watch.look(NOW).run == "QA-1041-L-001"
    with recording(bench) as second:
        append(second, blocks[:8])
        now = watch.look(NOW)

    assert now.run == "QA-1041-L-002"
    assert now.state is LiveState.RECORDING
    assert now.fresh


def test_a_recorder_that_died_is_noticed_once_its_run_is_recovered(
    bench: Bench, watch: HeadWatch, blocks: list[bytes]
):
    with recording(bench) as journal:
        append(journal, blocks[:40])
    assert watch.look(NOW).state is LiveState.RECORDING
    journal.path.unlink()
    with bench.ledger.transaction("TT-1", bench.later(1)) as records:
        records.finish_run("QA-1041-L-001", Ending.INTERRUPTED, None)

    now = watch.look(NOW)
    assert now.state is LiveState.ENDED
    assert now.words == "The recording has ended: interrupted."


def signal(name: str, time_s: list[float], counts: list[int]) -> Signal:
    channel = next(c for c in LOWER_CHANNELS.channels if c.name == name)
    return Signal(channel, np.array(time_s), np.array(counts))


def test_a_timer_that_starts_at_speed_waits_for_the_speed():
    step = CR_1.steps[0].model_copy(update={"timer_basis": TimerBasis.FROM_AT_SPEED})
    recipe = CR_1.model_copy(update={"steps": (step, *CR_1.steps[1:])})
    watch = StepWatch()

    watch.follow({"step": signal("step", [0, 1, 2], [0, 1, 1])}, recipe, curve([1, 2], [10, 60]))
    assert watch.in_words(recipe) == "1 of 4: rinse"
    assert watch.left_s(recipe) is None

    watch.follow({"step": signal("step", [8, 9], [1, 1])}, recipe, curve([8, 9], [446, 450]))
    assert watch.left_s(recipe) == pytest.approx(45 - 1)


def test_a_timer_from_the_command_runs_at_once():
    watch = StepWatch()
    watch.follow({"step": signal("step", [0, 1, 4], [0, 1, 1])}, CR_1, curve([1], [0]))

    assert watch.left_s(CR_1) == pytest.approx(45 - 3)


@pytest.mark.parametrize(
    ("count", "words"), [(0, "idle"), (100, "stopping"), (7, "unknown step 7")]
)
def test_between_the_steps_no_time_is_left(count: int, words: str):
    watch = StepWatch()
    watch.follow({"step": signal("step", [0, 1], [count, count])}, CR_1, curve([], []))

    assert watch.in_words(CR_1) == words
    assert watch.left_s(CR_1) is None


def curve(time_s: list[float], values: list[float]) -> Series:
    return Series("speed", "rpm", tuple(time_s), tuple(values))


def turning(pulse_s: float, until_s: float, silent_s: float) -> Trace:
    """Give an optical tach that sees a pulse each so many seconds, then none."""
    time = np.arange(0, until_s + silent_s, 0.05)
    pulses = np.floor(np.minimum(time, until_s) / pulse_s + 1e-9)
    signals = {
        "optical tach": signal("optical tach", time, pulses.astype(int)),
        "optical tach edge": signal(
            "optical tach edge", time, (pulses * pulse_s * 1e6).astype(int)
        ),
    }
    return Trace(None, signals, (), Ending.COMPLETE, "")


def test_the_speed_comes_from_the_pulses():
    name, _, speed = speeds(turning(0.1, 5, 0))

    assert name == "optical tach"
    assert speed[-1] == pytest.approx(600)


def test_a_tach_that_falls_silent_gives_a_falling_bound_not_its_last_speed():
    _, _, speed = speeds(turning(0.1, 2, 3))

    assert speed[-1] == pytest.approx(60 / 3, rel=0.02)


def test_without_any_pulse_there_is_no_speed():
    name, time, speed = speeds(turning(0.1, 0, 3))

    assert (name, time.size, speed.size) == ("", 0, 0)


def test_the_stream_sends_what_is_written_while_it_is_open(bench: Bench, blocks: list[bytes]):
    with (
        served(bench.home) as address,
        recording(bench) as journal,
        httpx.Client(base_url=address) as client,
    ):
        append(journal, blocks[:40])
        with client.stream("GET", f"/api/live/{HEAD}") as stream:
            assert stream.headers["content-type"].startswith("text/event-stream")
            events = (
                json.loads(line[6:]) for line in stream.iter_lines() if line.startswith("data: ")
            )
            first = next(events)
            assert first["run"] == "QA-1041-L-001"
            append(journal, blocks[40:80])
            later = next(event for event in events if event["curve"]["time_s"])

    assert later["curve"]["time_s"][-1] > first["curve"]["time_s"][-1]
    assert not later["fresh"]
    assert any(reading["text"].endswith("L/min") for reading in later["readings"])


def test_the_stream_of_an_unknown_head_is_refused_before_it_begins(bench: Bench):
    with served(bench.home) as address:
        answer = httpx.get(f"{address}api/live/QM-9")

    assert answer.status_code == 404
    assert answer.json()["code"] == "record"


def test_a_head_out_of_scope_only_waits(bench: Bench):
    with served(bench.home) as address:
        text = httpx.get(f"{address}live/{EXCLUDED}").text

    assert "No run of this head is recorded now" in text


def test_a_journal_of_another_version_is_a_fault_in_words(bench: Bench):
    run = bench.start()
    bench.journal(run).write_bytes(frame_bytes(FrameKind.OPENING, 0, b"{}"))
    with served(bench.home) as address, httpx.Client(base_url=address) as client:
        page = client.get(f"/live/{HEAD}")
        with client.stream("GET", f"/api/live/{HEAD}") as stream:
            event = list(stream.iter_lines())

    assert page.status_code == 500
    assert "<code>journal</code>" in page.text
    assert str(bench.home.root) not in page.text
    assert event[0] == "event: fault"
    assert '"code":"journal"' in event[1].replace(" ", "")
