"""Subscriptions to nodes of asyncua's own server."""

import math
from datetime import UTC, datetime, timedelta

import pytest
from asyncua import ua
from tests.record.sources.peers import channel, node_server, stream

from spinproof.model.channel import CountType
from spinproof.model.errors import DocumentError, StandError
from spinproof.model.stream import SourceKind
from spinproof.record.sources.opc_ua import OpcUaSource
from spinproof.record.sources.source import NoticeKind

NAMES = ("seal", "bowl")


@pytest.fixture(scope="module")
def bench():
    """Serve two nodes for the whole module; asyncua's server takes seconds to begin."""
    with node_server(seal=1.0, bowl=20.0) as server:
        yield server


@pytest.fixture
def served(bench):
    """Give the server with its nodes as they were at first, long unchanged."""
    long_ago = datetime(2020, 1, 1)  # noqa: DTZ001 - asyncua's UTC
    bench.write_all([("seal", 1.0, long_ago), ("bowl", 20.0, long_ago)])
    return bench


def spec(url, *names, **more):
    channels = [
        channel(n, i, node=f"ns=2;s={n}", kind=CountType.F64) for i, n in enumerate(names or NAMES)
    ]
    return stream(
        channels, SourceKind.OPC_UA, address=url, is_regular=False, name="controller", **more
    )


def nanoseconds(moment):
    return round(moment.timestamp() * 1e6) * 1000


def later(seconds):
    """Give a moment long after any subscription, as the server writes it."""
    return datetime(2040, 5, 6, 7, 8, 9) + timedelta(seconds=seconds)  # noqa: DTZ001 - asyncua's UTC


def has(value, column=0):
    return lambda blocks: any(row[column] == value for b in blocks for row in b.counts)


def test_every_change_arrives_with_the_sources_own_time(served, inbox, run_source):
    source = run_source(OpcUaSource(spec(served.url)))
    inbox.wait_for_rows(1)
    begin = later(0)
    times = [begin + timedelta(milliseconds=10 * i) for i in range(200)]
    served.write_all([("seal", float(i), at) for i, at in enumerate(times)])
    inbox.wait_for(has(199.0))
    source.stop()

    rows, stamps = inbox.rows(), [t for b in inbox.blocks for t in b.times_ns.tolist()]
    assert rows[0] == [1.0, 20.0]
    assert [row[0] for row in rows[1:]] == [float(i) for i in range(200)]
    assert {row[1] for row in rows} == {20.0}
    assert stamps[1:] == [nanoseconds(t.replace(tzinfo=UTC)) for t in times]
    assert source.notices == ()
    firsts = [b.first_sample for b in inbox.blocks]
    assert firsts == [sum(len(b.counts) for b in inbox.blocks[:i]) for i in range(len(firsts))]


def test_changes_of_one_instant_are_one_row(served, inbox, run_source):
    source = run_source(OpcUaSource(spec(served.url)))
    inbox.wait_for_rows(1)
    at = later(0)
    served.write_all([("seal", 2.0, at), ("bowl", 21.0, at)])
    inbox.wait_for(has(21.0, 1))
    source.stop()

    assert inbox.rows() == [[1.0, 20.0], [2.0, 21.0]]


@pytest.mark.parametrize(
    ("value", "status", "reason"),
    [
        (3.0, ua.StatusCodes.BadSensorFailure, "its status is BadSensorFailure"),
        (
            3.0,
            ua.StatusCodes.UncertainLastUsableValue,
            "its status is UncertainLastUsableValue",
        ),
        (math.nan, ua.StatusCodes.Good, "its value is not a number"),
        (math.inf, ua.StatusCodes.Good, "its value is not a number"),
    ],
)
def test_a_bad_or_uncertain_reading_is_missing_with_its_reason(
    value, status, reason, served, inbox, run_source
):
    source = run_source(OpcUaSource(spec(served.url)))
    inbox.wait_for_rows(1)
    served.write("seal", value, at=later(0), status=status)
    rows = inbox.wait_for_rows(2)

    assert math.isnan(rows[1][0])
    assert rows[1][1] == 20.0
    assert [(n.kind, n.channel, n.text) for n in source.notices] == [
        (NoticeKind.MISSING, "seal", reason)
    ]


def test_a_node_that_is_not_there_is_refused_by_name_before_the_run(served, run_source):
    with pytest.raises(StandError, match=r"ns=2;s=lid is not there \(BadNodeIdUnknown\).*lid"):
        run_source(OpcUaSource(spec(served.url, "seal", "lid")))


# asyncua's server forgets to await one of its own coroutines when a watched node is deleted
@pytest.mark.filterwarnings("ignore:coroutine 'MonitoredItemService:RuntimeWarning")
def test_a_node_that_vanishes_is_missing_from_then_on_and_told(inbox, run_source):
    with node_server(seal=1.0, bowl=20.0) as server:
        source = run_source(OpcUaSource(spec(server.url), look_s=0.0))
        inbox.wait_for_rows(1)
        server.delete("bowl")
        inbox.wait_for(lambda blocks: math.isnan(blocks[-1].counts[-1, 1]))

    assert inbox.rows()[-1][0] == 1.0
    assert [n.channel for n in source.notices if n.kind is NoticeKind.VANISHED] == ["bowl"]


def test_a_server_that_restarts_is_subscribed_to_again(inbox, run_source):
    with node_server(seal=1.0, bowl=20.0) as server:
        source = run_source(OpcUaSource(spec(server.url), reconnect_s=(0.05,)))
        inbox.wait_for_rows(1)
    with node_server(url=server.url, seal=5.0, bowl=20.0):
        inbox.wait_for(has(5.0))
        source.stop()

    kinds = {notice.kind for notice in source.notices}
    assert {NoticeKind.LOST, NoticeKind.BACK} <= kinds


def test_nobody_at_the_address_is_refused(run_source):
    with pytest.raises(StandError, match=r"no session with the server at opc.tcp://127.0.0.1:9"):
        run_source(OpcUaSource(spec("opc.tcp://127.0.0.1:9/bench")))


def test_what_is_no_node_id_is_refused(served, run_source):
    channels = [channel("seal", 0, node="seal pressure")]
    wrong = stream(channels, SourceKind.OPC_UA, address=served.url, is_regular=False)
    with pytest.raises(StandError, match='"seal pressure" is no node id'):
        run_source(OpcUaSource(wrong))


def test_an_encrypted_session_needs_the_certificate_that_the_map_trusts(
    tmp_path, inbox, run_source
):
    server_keys, own = tmp_path / "server", tmp_path / "own"
    server_keys.mkdir()
    with node_server(keys=server_keys, seal=1.0, bowl=2.0) as server:
        trusted = server.sha256
        run_source(OpcUaSource(spec(server.url, server_sha256=trusted), keys=own))
        rows = inbox.wait_for_rows(1)
        other = "0" * 64
        with pytest.raises(StandError, match=f"it shows {trusted}, the map has {other}"):
            run_source(OpcUaSource(spec(server.url, server_sha256=other), keys=own))
        with pytest.raises(DocumentError, match="folder for our own certificate"):
            run_source(OpcUaSource(spec(server.url, server_sha256=trusted)))

    assert rows[0] == [1.0, 2.0]
