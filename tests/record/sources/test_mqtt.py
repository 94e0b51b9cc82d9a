"""A topic of a Mosquitto broker, published to by aiomqtt."""

import json
import math
import threading

import numpy as np
import pytest
from tests.record.sources.peers import broker, channel, free_port, stream

from spinproof.model.channel import CountType
from spinproof.model.errors import StandError
from spinproof.model.stream import SourceKind
from spinproof.record.sources.messages import Parcel, write_block
from spinproof.record.sources.mqtt import MqttSource
from spinproof.record.sources.source import NoticeKind

TOPIC = "bench/lower"
CHANNELS = (
    channel("seal pressure", 0, node="seal", kind=CountType.F64),
    channel("flow", 1, kind=CountType.F64, missing=-9999),
)


@pytest.fixture(scope="module")
def serving(tmp_path_factory):
    with broker(tmp_path_factory.mktemp("broker")) as served:
        yield served


@pytest.fixture
def publish(serving):
    with serving.publisher() as publishing:
        yield publishing


def spec(address, topic=TOPIC, channels=CHANNELS, **more):
    return stream(channels, SourceKind.MQTT, address=address, topic=topic, name="board", **more)


def message(number, seal=1.5, flow=2.5):
    values = {"seal": seal, "flow": flow}
    return json.dumps({"sequence": number, "time_ns": 1_000_000 * number, "values": values})


def said(source):
    return {(n.kind, n.channel, n.text): n.times for n in source.notices}


def test_named_values_arrive_in_order_with_number_and_time(serving, publish, inbox, run_source):
    source = run_source(MqttSource(spec(serving.address)))
    publish([message(i, seal=i / 2) for i in range(300)], TOPIC)
    rows = inbox.wait_for_rows(300)

    assert rows == [[i / 2, 2.5] for i in range(300)]
    assert [b.sequence for b in inbox.blocks] == list(range(300))
    assert [b.device_time_ns for b in inbox.blocks] == [1_000_000 * i for i in range(300)]
    assert source.notices == ()


def test_blocks_of_a_fast_stream_keep_their_counts(serving, publish, inbox, run_source):
    axes = [channel(n, i, kind=CountType.I16, rate=10_000.0) for i, n in enumerate("xyz")]
    fast = spec(serving.address, "bench/fast", axes, rate=10_000.0)
    counts = np.arange(3000, dtype=np.int16).reshape(1000, 3) - 1500
    source = run_source(MqttSource(fast))
    publish(
        [write_block(Parcel(i, 1000 * i, 10**8 * i, counts), CountType.I16) for i in range(5)],
        "bench/fast",
    )
    inbox.wait_for_rows(5000)

    assert all((b.counts == counts).all() and b.counts.dtype == np.int16 for b in inbox.blocks)
    assert [b.first_sample for b in inbox.blocks] == [0, 1000, 2000, 3000, 4000]
    assert source.notices == ()


def test_a_retained_message_from_before_is_no_sample(serving, publish, inbox, run_source):
    publish([message(3)], "bench/kept", retain=True)
    source = run_source(MqttSource(spec(serving.address, "bench/kept")))
    publish([message(4)], "bench/kept")
    inbox.wait_for_rows(1)

    assert [b.sequence for b in inbox.blocks] == [4]
    assert said(source) == {
        (NoticeKind.STALE, None, "a retained message from before was thrown away"): 1
    }


def test_gaps_and_second_copies_are_counted_by_the_numbers(serving, publish, inbox, run_source):
    source = run_source(MqttSource(spec(serving.address)))
    publish([message(i) for i in (5, 6, 9, 8, 9, 20)], TOPIC)
    inbox.wait_for_rows(6)
    source.stop()

    assert [b.sequence for b in inbox.blocks] == [5, 6, 9, 8, 9, 20]
    assert said(source) == {
        (NoticeKind.GAP, None, "numbers of messages did not arrive"): 11,
        (NoticeKind.TWICE, None, "messages came a second time"): 1,
    }


def test_what_is_no_reading_is_missing_with_its_reason(serving, publish, inbox, run_source):
    source = run_source(MqttSource(spec(serving.address)))
    bad = [math.nan, math.inf, "12", True, None, [1.0], 10**400]
    publish([message(i, seal=value) for i, value in enumerate(bad)], TOPIC)
    publish([message(len(bad), flow=-9999)], TOPIC)
    rows = inbox.wait_for_rows(len(bad) + 1)

    assert all(math.isnan(row[0]) for row in rows[:-1])
    assert math.isnan(rows[-1][1])
    reasons = {text: times for (_, _, text), times in said(source).items()}
    assert reasons == {
        "the value is not a number": 2,
        "the value is no number": 3,
        "the message does not tell it": 1,
        "the value is too large": 1,
        "the device sends -9999: no reading": 1,
    }


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"\xff\xfe", "the message is neither a block nor JSON"),
        (b"[" * 100_000, "the message is neither a block nor JSON"),
        (b"[1, 2]", 'the message has no "values"'),
        (b'{"values": {}, "time_ns": 1}', 'the message has no whole number "sequence"'),
        (b'{"values": {}, "sequence": 1.5}', 'the message has no whole number "sequence"'),
        (b'{"values": {}, "sequence": -1}', 'the message has no whole number "sequence"'),
        (b"SPB1", "the block ends inside its head"),
    ],
)
def test_what_cannot_be_understood_is_told_and_is_no_sample(
    payload, reason, serving, publish, inbox, run_source
):
    source = run_source(MqttSource(spec(serving.address)))
    publish([payload, message(1)], TOPIC)
    inbox.wait_for_rows(1)

    assert [b.sequence for b in inbox.blocks] == [1]
    assert said(source) == {(NoticeKind.NONSENSE, None, reason): 1}


@pytest.mark.parametrize(
    ("settings", "loses"),
    [((), False), (("max_queued_messages 20", "max_inflight_messages 2"), True)],
    ids=["roomy broker", "narrow broker"],
)
def test_a_flood_with_a_slow_taker_is_stored_or_the_missing_number_is_told(
    settings, loses, tmp_path, inbox
):
    """Send 5000 at QoS 1; where the broker's own queue runs over, the numbers tell it."""
    flood_is_over = threading.Event()

    def slowly(block):
        assert flood_is_over.wait(30)  # the first block is held until the flood is over
        inbox(block)

    with broker(tmp_path, None, *settings) as served, served.publisher() as publish:
        source = MqttSource(spec(served.address))
        source.start(slowly)
        publish([message(i) for i in range(5000)], TOPIC)
        flood_is_over.set()
        for number in range(5000, 5100):  # until the broker's queue has room again
            publish([message(number)], TOPIC)
            if inbox.comes(lambda blocks: blocks and blocks[-1].sequence >= 5000):
                break
        source.stop()
    told = said(source).get((NoticeKind.GAP, None, "numbers of messages did not arrive"), 0)
    numbers = {block.sequence for block in inbox.blocks}

    assert len(numbers) + told == max(numbers) + 1 - min(numbers) > 5000
    assert loses or told == 0


def test_a_broker_that_goes_away_is_reached_again(tmp_path, run_source, inbox):
    port = free_port()
    with broker(tmp_path, port) as first, first.publisher() as publish:
        source = run_source(MqttSource(spec(first.address), reconnect_s=(0.02,)))
        publish([message(0)], TOPIC)
        inbox.wait_for_rows(1)
    back = threading.Event()
    tell = source.board.tell

    def listen(kind, text, **more):
        tell(kind, text, **more)
        if kind is NoticeKind.BACK:
            back.set()

    source.board.tell = listen
    with broker(tmp_path, port) as second, second.publisher() as publish:
        assert back.wait(20)
        publish([message(4)], TOPIC)
        inbox.wait_for_rows(2)
        source.stop()

    assert said(source)[NoticeKind.GAP, None, "numbers of messages did not arrive"] == 3


def test_no_broker_at_the_address_is_refused(run_source):
    with pytest.raises(StandError, match="the broker cannot be reached"):
        run_source(MqttSource(spec(f"127.0.0.1:{free_port()}")))
