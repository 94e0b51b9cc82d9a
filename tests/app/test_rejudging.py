"""Stored runs judged anew: the same numbers come out, and what differs is told."""

import shutil
from contextlib import closing
from pathlib import Path

import pytest
from distributed import LocalCluster
from tests.demo_files import LIMITS
from tests.web.seed import HEAD, Bench, burn_in_bench

from spinproof.app import fleet
from spinproof.app.home import open_home
from spinproof.app.intake import open_shop_ledger
from spinproof.app.judging import judgement_bytes
from spinproof.app.rejudging import Standing, rejudge, stored_runs
from spinproof.model.errors import ClusterError, RecordError
from spinproof.model.limit import LimitSet
from spinproof.model.run import Outcome


def vibration_at_most(upper: float, revision: int) -> LimitSet:
    """Give the demo's limits with another one for the vibration, as a new revision."""
    changed = tuple(
        limit.model_copy(update={"upper": upper}) if limit.metric == "vibration" else limit
        for limit in LIMITS.limits
    )
    return LIMITS.model_copy(update={"limits": changed, "revision": revision})


TIGHT, LOOSE = vibration_at_most(0.2, 2), vibration_at_most(9.0, 3)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = burn_in_bench(tmp_path / "home")
    made.attempt()
    made.attempt()
    yield made
    made.ledger.close()


def again(
    bench: Bench,
    limits: LimitSet | None = None,
    by: str | None = None,
    workers: int = 1,
    cluster: str | None = None,
):
    return rejudge(
        bench.home,
        bench.ledger,
        stored_runs(bench.ledger, HEAD),
        limits=limits,
        by=by,
        workers=workers,
        cluster=cluster,
    )


def judgements(bench: Bench) -> list[bytes]:
    with bench.ledger.reading() as reading:
        return [judgement_bytes(reading.judgement(run)) for run in stored_runs(bench.ledger)]


def test_the_same_limits_and_code_give_the_same_judgements(bench: Bench):
    seen: list[tuple[int, int]] = []
    found = rejudge(
        bench.home,
        bench.ledger,
        stored_runs(bench.ledger),
        limits=None,
        by=None,
        on_progress=lambda done, all_: seen.append((done, all_)),
    )

    assert [one.standing for one in found] == [Standing.SAME] * 2
    assert seen == [(1, 2), (2, 2)]


def test_nothing_is_kept_when_nobody_keeps_it(bench: Bench):
    before = judgements(bench)
    found = again(bench, TIGHT)

    assert [one.standing for one in found] == [Standing.DIFFERENT] * 2
    assert found[0].changes[0] == "outcome: counted became relevant failure"
    assert any("vibration" in change and "became fail" in change for change in found[0].changes)
    assert judgements(bench) == before


def test_a_kept_judgement_stands_beside_the_old_one_and_is_not_made_twice(bench: Bench):
    again(bench, TIGHT, by="QI-2")
    with bench.ledger.reading() as reading:
        kept = [reading.judgements(run) for run in stored_runs(bench.ledger)]
        outcomes = [run.outcome for run in reading.attempts(HEAD)]
    found = again(bench, TIGHT, by="QI-2")

    assert [len(of_run) for of_run in kept] == [2, 2]
    assert outcomes == [Outcome.RELEVANT_FAILURE] * 2
    assert [one.standing for one in found] == [Standing.DONE_BEFORE] * 2


def test_looser_limits_never_turn_a_run_into_a_counted_one(bench: Bench):
    again(bench, TIGHT, by="QI-2")
    found = again(bench, LOOSE, by="QI-2")

    assert [one.standing for one in found] == [Standing.REFUSED] * 2
    assert all(one.changes for one in found)
    with bench.ledger.reading() as reading:
        assert {run.outcome for run in reading.attempts(HEAD)} == {Outcome.RELEVANT_FAILURE}


def test_two_processes_keep_the_same_bytes_as_one(bench: Bench, tmp_path: Path):
    twin = burn_in_bench(tmp_path / "twin")
    twin.attempt()
    twin.attempt()
    again(bench, TIGHT, by="QI-2")
    again(twin, TIGHT, by="QI-2", workers=2)
    same = judgements(bench) == judgements(twin)
    twin.ledger.close()

    assert same


def test_a_trace_that_was_changed_is_not_judged(bench: Bench):
    name = stored_runs(bench.ledger)[0]
    with bench.ledger.reading() as reading:
        trace = bench.home.trace(reading.run(name).trace_sha256)
    data = bytearray(trace.read_bytes())
    data[len(data) // 2] ^= 1
    trace.write_bytes(bytes(data))
    first, second = again(bench)

    assert first.standing is Standing.UNREADABLE
    assert "changed" in first.changes[0]
    assert second.standing is Standing.SAME


def test_a_run_that_nobody_knows_is_refused(bench: Bench):
    with pytest.raises(RecordError):
        rejudge(bench.home, bench.ledger, ("QA-9999-L-001",), limits=None, by=None)


@pytest.fixture
def cluster(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[2]))
    with LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    ) as made:
        yield made


def test_a_cluster_gives_the_same_bytes_as_one_machine(
    bench: Bench, cluster: LocalCluster, tmp_path: Path
):
    shutil.copytree(bench.home.root, tmp_path / "copy")
    copied = open_home(tmp_path / "copy")
    with closing(open_shop_ledger(copied)) as ledger:
        alone = Bench(copied, ledger, bench.head, bench.now)
        again(alone, TIGHT, by="QI-2")
        at_home = judgements(alone)
    found = again(bench, TIGHT, by="QI-2", cluster=cluster.scheduler_address)

    assert [one.standing for one in found] == [Standing.DIFFERENT] * 2
    assert judgements(bench) == at_home


def test_a_cluster_that_does_not_answer_is_named(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(fleet, "PATIENCE_S", 0.3)
    with pytest.raises(ClusterError, match=r"cannot be reached, at tcp://127\.0\.0\.1:1\."):
        again(bench, TIGHT, cluster="tcp://127.0.0.1:1")


def test_a_cluster_without_a_worker_is_named(bench: Bench):
    with (
        LocalCluster(n_workers=0, dashboard_address=None, host="127.0.0.1") as empty,
        pytest.raises(ClusterError, match="has no worker"),
    ):
        again(bench, TIGHT, cluster=empty.scheduler_address)
