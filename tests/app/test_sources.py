"""What sources offer, drafts of maps, and maps that do not fit: against peers we did not write."""

import json
import math
import struct
import threading

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.demo_files import LOWER_CHANNELS, UPPER_CHANNELS
from tests.record.sources.peers import (
    Registers,
    broker,
    channel,
    modbus_server,
    node_server,
    stream,
)

from spinproof.app.sources import OfferKind, Place, look, propose, that_read
from spinproof.app.sources_check import check_map
from spinproof.app.sources_listen import compare_rate, compare_values, listen_to_map
from spinproof.app.sources_text import map_text
from spinproof.model.channel import CountType, Role
from spinproof.model.channel_map import ChannelMap
from spinproof.model.documents import parse_document
from spinproof.model.errors import DocumentError, StandError
from spinproof.model.stream import RegisterKind, SourceKind, WordOrder
from spinproof.record.sources.messages import Parcel, write_block
from spinproof.record.stream_block import StreamBlock


def words(value, code=">f"):
    return struct.unpack(">2H", struct.pack(code, value))


def a_map(*streams, channels=()):
    return ChannelMap(name="trial", head="QM-207-L", unit_id=2, channels=channels, streams=streams)


def texts(findings):
    return [finding.text for finding in findings]


@pytest.fixture
def registers():
    held = Registers()
    with modbus_server(held):
        yield held


def test_a_register_pair_is_shown_in_all_four_readings(registers):
    registers.put(10, *words(1234.5), *reversed(words(3.25)))
    registers.on_read = lambda address, count: 2 if address + count > 16 else None

    offer = look(
        Place(OfferKind.MODBUS_TCP, f"127.0.0.1:{registers.port}", unit_id=7, first=8, count=10)
    )

    pairs = {item.place: item.pairs for item in offer.items}
    read = {pair.order: pair for pair in pairs[10] if pair.type is CountType.F32}
    assert set(read) == set(WordOrder)
    assert read[WordOrder.BIG].value == 1234.5
    assert [order for order in WordOrder if read[order].is_likely] == [WordOrder.BIG]
    low = [p for p in pairs[12] if p.type is CountType.F32 and p.order is WordOrder.LITTLE]
    assert low[0].value == 3.25
    assert offer.remarks == ("not readable: registers 16 to 17",)


def test_a_known_value_finds_its_registers_type_and_order(registers):
    registers.put(6, *reversed(words(2950.0)))
    place = Place(OfferKind.MODBUS_TCP, f"127.0.0.1:{registers.port}", unit_id=7, count=12)
    best, *others = that_read(look(place), 2950.4)

    assert (best.item.place, best.pair.type, best.pair.order, best.pair.value) == (
        6,
        CountType.F32,
        WordOrder.LITTLE,
        2950.0,
    )
    assert [other.pair.value for other in others] == [2944.0]  # its high word alone


def test_registers_that_are_not_there_are_refused(registers):
    registers.on_read = lambda _address, _count: 2

    with pytest.raises(StandError, match="none of the registers 0 to 3"):
        look(Place(OfferKind.MODBUS_TCP, f"127.0.0.1:{registers.port}", unit_id=7, count=4))


def test_a_draft_of_registers_reads_back_as_the_same_map(registers):
    registers.put(0, *reversed(words(55.0)), *reversed(words(2.5)))
    place = Place(
        OfferKind.MODBUS_TCP,
        f"127.0.0.1:{registers.port}",
        unit_id=7,
        registers=RegisterKind.HOLDING,
        count=4,
    )
    draft = propose(look(place), "QM-207-L", take=CountType.F32, order=WordOrder.LITTLE)

    assert parse_document(map_text(draft), ChannelMap, "draft") == draft
    assert [(c.first_register, c.type) for c in draft.all_channels] == [
        (0, CountType.F32),
        (2, CountType.F32),
    ]
    assert all("which instrument" in text for text in texts(check_map(draft)))


@pytest.mark.parametrize("channel_map", [LOWER_CHANNELS, UPPER_CHANNELS])
def test_the_demo_maps_hold_together_and_survive_being_written(channel_map):
    assert check_map(channel_map) == ()
    assert parse_document(map_text(channel_map), ChannelMap, "written") == channel_map


@given(st.text(min_size=1, max_size=60).filter(lambda text: text.strip() == text))
def test_any_name_survives_being_written(name):
    spec = stream([channel(name, 0, node=name)], SourceKind.OPC_UA, address="opc.tcp://x:1")

    assert parse_document(map_text(a_map(spec)), ChannelMap, "written") == a_map(spec)


@pytest.fixture(scope="module")
def nodes():
    with node_server(seal=101.5, bowl=21.0) as server:
        server.state_unit("seal", "kPa")
        yield server


def test_the_variables_of_a_server_come_with_type_unit_and_value(nodes):
    offer = look(Place(OfferKind.OPC_UA, nodes.url))

    found = {item.name: item for item in offer.items}
    assert (found["seal"].value, found["seal"].unit, found["seal"].type) == (
        101.5,
        "kPa",
        CountType.F64,
    )
    assert found["bowl"].key == "ns=2;s=bowl"
    draft = propose(offer, "QM-207-L")
    assert {c.node: c.unit for c in draft.all_channels}["ns=2;s=seal"] == "kPa"
    assert not draft.streams[0].is_regular


def test_a_unit_of_another_quantity_is_refused_beside_the_servers(nodes):
    seal = channel("seal", 0, node="ns=2;s=seal", kind=CountType.F64, unit="degC")
    spec = stream([seal], SourceKind.OPC_UA, address=nodes.url, is_regular=False)
    findings = listen_to_map(a_map(spec), seconds=0.5)

    assert texts(findings) == [
        '"seal" is in "kPa" by its server and in "degC" by the map: another quantity; '
        "set scale and offset, or correct the unit"
    ]
    assert findings[0].refuses


@pytest.fixture(scope="module")
def serving(tmp_path_factory):
    with broker(tmp_path_factory.mktemp("broker")) as served:
        yield served


def publishing(served, topic, make):
    """Publish without end until the block ends."""
    stop = threading.Event()

    def work():
        with served.publisher() as publish:
            number = 0
            while not stop.is_set():
                publish([make(n) for n in range(number, number + 5)], topic)
                number += 5

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    return stop, thread


@pytest.mark.parametrize("form", ["named", "block"])
def test_the_keys_and_the_rate_of_a_topic_are_heard(form, serving):
    def make(n):
        if form == "block":
            counts = np.full((100, 2), n % 100, np.int16)
            return write_block(Parcel(n, 100 * n, 10_000_000 * n, counts), CountType.I16)
        body = {"sequence": n, "time_ns": 20_000_000 * n, "values": {"seal": 1.5, "state": "on"}}
        return json.dumps(body)

    topic = f"look/{form}"
    stop, thread = publishing(serving, topic, make)
    offer = look(Place(OfferKind.MQTT, serving.address, topic="look/+", messages=12))
    stop.set()
    thread.join(20)

    assert offer.topic == topic
    assert offer.rate_hz == pytest.approx(10_000.0 if form == "block" else 50.0)
    assert [item.key for item in offer.items] == (
        ["column 0", "column 1"] if form == "block" else ["seal", "state"]
    )
    assert [item.remark for item in offer.items][1] == ("" if form == "block" else "no number")
    draft = propose(offer, "QM-207-L")
    assert draft.streams[0].is_fast == (form == "block")


def test_silence_is_told(serving):
    with pytest.raises(StandError, match=r"no message came within 0\.2 s"):
        look(Place(OfferKind.MQTT, serving.address, topic="nobody", seconds=0.2))


def test_several_topics_are_no_stream(serving):
    stop, thread = publishing(
        serving,
        "two/a",
        lambda n: json.dumps({"sequence": n, "time_ns": n, "values": {"x": 1}}),
    )
    stop_b, thread_b = publishing(
        serving,
        "two/b",
        lambda n: json.dumps({"sequence": n, "time_ns": n, "values": {"x": 1}}),
    )
    offer = look(Place(OfferKind.MQTT, serving.address, topic="two/+", messages=200))
    for each in (stop, stop_b):
        each.set()
    thread.join(20)
    thread_b.join(20)

    assert [item.name for item in offer.items] == ["two/a: x", "two/b: x"]
    with pytest.raises(DocumentError, match="several topics came"):
        propose(offer, "QM-207-L")


def test_channels_that_share_a_register_are_both_named():
    gauges = [channel("seal", 4), channel("flow", 5, kind=CountType.U16), channel("far", 9)]
    one = stream(gauges, unit_id=3)
    other = stream([channel("again", 10)], unit_id=3, name="second")

    assert [f.channels for f in check_map(a_map(one, other))] == [
        ("seal", "flow"),
        ("far", "again"),
    ]
    assert "share register 5" in check_map(a_map(one))[0].text
    assert check_map(a_map(one.model_copy(update={"channels": (gauges[0], gauges[2])}))) == ()


@pytest.mark.parametrize(("rate", "refused"), [(0.09, True), (0.1, False)])
def test_a_counter_that_rolls_over_between_polls_is_refused(rate, refused):
    """16 bit, 60 pulses, 3000 rpm roll over in 65536 x 60 / (60 x 3000) = 21.85 s."""
    tach = channel(
        "tach", 0, kind=CountType.U16, role=Role.TACH_COUNT, rate=rate, pulses_per_rev=60
    )
    findings = check_map(a_map(stream([tach], rate=rate)), top_speed_rpm=3000.0)

    assert bool(findings) is refused
    assert all("rolls over in 21.8 s at 3000 rpm" in text for text in texts(findings))


def test_a_unit_that_does_not_fit_its_role_is_no_map():
    text = map_text(LOWER_CHANNELS).replace('unit = "kPa_g"', 'unit = "psi_g"')

    with pytest.raises(DocumentError, match='unit "psi_g" does not fit role seal-pressure'):
        parse_document(text, ChannelMap, "map")


@pytest.mark.parametrize("order", WordOrder)
def test_a_wrong_order_is_implausible_and_the_likely_one_is_named(order, registers):
    registers.put(0, *words(1234.5))
    speed = channel("speed", 0, role=Role.SPEED, unit="rpm")
    address = f"127.0.0.1:{registers.port}"
    spec = stream([speed], address=address, unit_id=7, word_order=order, rate=5.0)
    heard = listen_to_map(a_map(spec), seconds=1.0)
    findings = [finding for finding in heard if finding.channels == ("speed",)]
    findings = [finding for finding in findings if finding.text.startswith('"speed" reads')]

    if order is WordOrder.BIG:
        assert findings == []
    else:
        (text,) = texts(findings)
        assert findings[0].refuses
        assert 'word_order = "big" reads 1234' in text


def blocks(rate_hz, seconds, values=lambda n: [0.0] * n):
    """Give blocks of a tenth of a second by a clock of that rate."""
    size = max(1, round(rate_hz / 10))
    count = int(rate_hz * seconds / size)
    return [
        StreamBlock(
            "gauges",
            i,
            i * size,
            0,
            np.array(values(size)).reshape(size, 1),
            round(1e9 * i * size / rate_hz),
        )
        for i in range(count)
    ]


@pytest.mark.parametrize(
    ("true_hz", "refused"),
    [(50.0, False), (48.0, False), (47.0, True), (52.0, False), (53.0, True), (100.0, True)],
)
def test_a_rate_more_than_a_twentieth_off_is_refused(true_hz, refused):
    spec = stream([channel("a", 0)], rate=50.0)

    assert bool(list(compare_rate(spec, blocks(true_hz, 4.0)))) is refused


def test_a_polled_stream_is_measured_at_the_rate_that_it_states(registers):
    spec = stream(
        [channel("a", 0, kind=CountType.U16)],
        address=f"127.0.0.1:{registers.port}",
        unit_id=7,
        rate=10.0,
    )

    said = texts(listen_to_map(a_map(spec), seconds=1.6))

    assert not any("samples a second" in text or "too few" in text for text in said)


def test_samples_that_do_not_come_are_told_with_their_share():
    spec = stream([channel("a", 0)], rate=50.0)
    every_other = blocks(50.0, 4.0)[::2]

    assert texts(compare_rate(spec, every_other)) == [
        "gauges: only 50 % of the samples came; a device that is polled faster than it answers "
        "wants a lower sample_rate_hz"
    ]


def test_an_unreachable_source_and_a_silent_channel_are_findings(registers):
    gone = stream([channel("a", 0)], address="127.0.0.1:1")
    (finding,) = listen_to_map(a_map(gone), seconds=0.1)
    storm = blocks(50.0, 1.0, lambda n: [math.nan] * n)

    assert "cannot be reached" in finding.text
    assert finding.refuses
    assert texts(compare_values(gone, storm)) == ['"a" gave no reading at all']
