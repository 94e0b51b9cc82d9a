"""The binding proof: on the virtual stand with its two heads, by hand, and demanded of runs."""

import dataclasses
import itertools
import threading
from itertools import combinations

import numpy as np
import pytest
from tests.demo_files import LOWER_CHANNELS, UPPER_CHANNELS
from tests.record.fake_stand import FakeStand, serving
from tests.record.sources.peers import Registers, broker, channel, modbus_server, stream
from tests.shop import HEAD, short_plan

from spinproof.app import binding_record
from spinproof.app.binding import Neighbour, gather, map_digest, prove
from spinproof.app.binding_record import (
    BindingBench,
    bind_by_hand,
    bind_by_run,
    demand_binding,
    listen_for_binding,
    present_binding,
)
from spinproof.app.burn_in import Station, attempts, make_next_run, open_campaign
from spinproof.app.demo import demo_setup
from spinproof.app.fact_views import fact_words
from spinproof.app.intake import configure
from spinproof.app.recording import StandAddress, record
from spinproof.model.attestation import BindingStatement
from spinproof.model.binding import Response, Stimulus
from spinproof.model.channel import CountType, Role
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import DocumentError, GateClosedError
from spinproof.model.program import Fault, FaultKind
from spinproof.model.registers import Header
from spinproof.model.stream import SourceKind
from spinproof.record.sources.messages import Parcel, write_block


@pytest.fixture
def bench(shop):
    return BindingBench(shop.home, shop.ledger, HEAD, "TT-1")


def test_a_brief_run_proves_the_map_and_the_proof_is_kept(bench, address):
    proof = bind_by_run(bench, address, start=True)

    assert proof.holds
    assert {c.channel: c.response for c in proof.channels if c.is_expected} == dict.fromkeys(
        (
            "tach",
            "tach edge",
            "optical tach",
            "optical tach edge",
            "display speed",
            "step",
            "status",
            "vibration",
            "motor current",
        ),
        Response.MOVED,
    )
    assert proof.words.startswith('QM-207-L moved, and "tach", "tach edge"')
    with bench.ledger.reading() as reading:
        assert present_binding(reading, HEAD, LOWER_CHANNELS) == proof
        (fact,) = reading.attestations(unit=HEAD)
    assert (fact.who, fact.content.proof.map_sha256) == ("TT-1", map_digest(LOWER_CHANNELS))
    assert "The channel map is proven (run briefly" in fact_words(fact.content)


def test_sensors_of_the_other_head_are_refused(bench, address):
    proof = bind_by_run(
        bench, address, start=True, faults=(Fault(kind=FaultKind.SWAPPED_CHANNELS),)
    )

    assert not proof.holds
    assert 'not "optical tach", "optical tach edge" and "vibration"' in proof.words


LIVELY = (
    "tach",
    "tach edge",
    "optical tach",
    "optical tach edge",
    "display speed",
    "step",
    "status",
    "vibration",
    "motor current",
)


def moving(names):
    """Give counts before and meanwhile: the named channels move, the rest stand still."""
    before = {c.name: np.full(10, 100.0) for c in LOWER_CHANNELS.all_channels}
    ramp = 100.0 + np.arange(200.0)
    during = {
        c.name: ramp if c.name in names else np.full(200, 100.0)
        for c in LOWER_CHANNELS.all_channels
    }
    for name in ("display speed",):
        before[name] = np.zeros(10)
        during[name] = np.arange(200.0) if name in names else np.zeros(200)
    return before, during


def test_every_choice_of_exchanged_channels_is_refused():
    """All 511 ways in which some of the nine channels could be the other head's."""
    assert prove(LOWER_CHANNELS, *moving(LIVELY), stimulus=Stimulus.RUN).holds
    refused = [
        not prove(LOWER_CHANNELS, *moving(own), stimulus=Stimulus.RUN).holds
        for size in range(len(LIVELY))
        for own in combinations(LIVELY, size)
    ]
    assert len(refused) == 511
    assert all(refused)


TACHS = {"tach", "tach edge", "optical tach", "optical tach edge"}


def turned(names):
    before, during = moving(names)
    return Neighbour(UPPER_CHANNELS, before, during)


@pytest.mark.parametrize(
    ("own", "other", "words"),
    [
        (TACHS, set(), None),
        (set(), TACHS, "the two maps, or their cables, are exchanged"),
        (set(), set(), "the map is another head's, or its sensors are dead"),
        (TACHS, {"tach"}, '"tach" of the other head moved, too'),
        (TACHS - {"optical tach"}, set(), 'but not "optical tach"'),
    ],
)
def test_a_rotor_turned_by_hand_moves_its_own_tachs_alone(own, other, words):
    proof = prove(LOWER_CHANNELS, *moving(own), stimulus=Stimulus.TURNED, neighbour=turned(other))

    assert proof.holds is (words is None)
    assert words is None or words in proof.words
    assert "DI flow" in proof.unproven


def test_what_moved_before_it_was_touched_proves_nothing():
    before, during = moving(TACHS)
    before["tach"] = 100.0 + np.arange(10.0)
    proof = prove(LOWER_CHANNELS, before, during, stimulus=Stimulus.TURNED)

    assert not proof.holds
    assert '"tach" moved before QM-207-L was touched' in proof.words


def test_a_silent_tach_is_refused_and_a_counter_may_roll_over():
    before, during = moving(TACHS)
    before["tach"], during["tach"] = np.full(10, 65_534.0), (65_534.0 + np.arange(6)) % 65_536
    assert prove(LOWER_CHANNELS, before, during, stimulus=Stimulus.TURNED).holds
    response = prove(LOWER_CHANNELS, before, during, stimulus=Stimulus.TURNED).channels[0]
    assert response.change_during == 5.0

    during["tach"] = np.full(200, np.nan)
    proof = prove(LOWER_CHANNELS, before, during, stimulus=Stimulus.TURNED)
    assert not proof.holds
    assert 'but not "tach"' in proof.words


def test_a_map_without_a_channel_of_the_rotor_cannot_be_proven():
    only = ChannelMap(
        name="gauge",
        head=HEAD,
        unit_id=2,
        channels=[c for c in LOWER_CHANNELS.channels if c.role is Role.DI_FLOW],
    )
    counts = {"DI flow": np.zeros(20)}
    proof = prove(only, counts, counts, stimulus=Stimulus.TURNED)

    assert not proof.holds
    assert "could show that the rotor" in proof.words


def test_a_map_of_the_stand_alone_cannot_be_proven_by_hand(bench):
    with pytest.raises(DocumentError, match="the map has no live stream"):
        listen_for_binding(bench, seconds=0.1)


def test_what_the_stand_delivers_is_not_proven_by_its_neighbouring_streams():
    before, during = moving(TACHS)
    del during["tach"]
    proof = prove(LOWER_CHANNELS, before, during, stimulus=Stimulus.TURNED)

    assert not proof.holds
    assert 'but not "tach"' in proof.words


@pytest.fixture
def serving_broker(tmp_path):
    with broker(tmp_path) as served:
        yield served


@pytest.mark.parametrize("shakes", [True, False])
def test_a_fast_accelerometer_must_shake_with_the_run(
    shakes, bench, address, serving_broker, monkeypatch
):
    """Counts come by the broker while the virtual stand runs; one that stays calm is refused."""
    accelerometer = channel(
        "accelerometer",
        0,
        kind=CountType.I16,
        role=Role.ACCELERATION_VERTICAL,
        unit="m/s2",
        rate=10_000.0,
    )
    spec = stream(
        [accelerometer],
        SourceKind.MQTT,
        address=serving_broker.address,
        topic="fast",
        rate=10_000.0,
        name="accelerometer",
    )
    setup = demo_setup("as-built.configuration.toml")
    channels = setup.channels.model_copy(update={"streams": (spec,)})
    configure(bench.ledger, dataclasses.replace(setup, channels=channels), by="AS-2")
    over, running = threading.Event(), threading.Event()

    def send():
        calm = np.random.default_rng(1).integers(-3, 4, (1000, 1))
        with serving_broker.publisher() as publish:
            for n in itertools.count():
                counts = calm + 200 * calm * (shakes and running.is_set())
                publish(
                    [write_block(Parcel(n, 1000 * n, 10**8 * n, counts), CountType.I16)], "fast"
                )
                if over.wait(0.02):
                    return

    def recorded(*args, **more):
        running.set()
        return record(*args, **more)

    monkeypatch.setattr(binding_record, "record", recorded)
    thread = threading.Thread(target=send, daemon=True)
    thread.start()
    try:
        proof = bind_by_run(bench, address, start=True)
    finally:
        over.set()
        thread.join(20)

    (told,) = [each for each in proof.channels if each.channel == "accelerometer"]
    assert told.is_expected
    assert told.response is (Response.MOVED if shakes else Response.STILL)
    assert proof.holds is shakes


def tach_map(head, registers, place):
    tach = channel(
        "tach", place, kind=CountType.U16, role=Role.TACH_COUNT, pulses_per_rev=6, rate=100.0
    )
    spec = stream([tach], address=f"127.0.0.1:{registers.port}", unit_id=registers.unit, rate=100.0)
    return ChannelMap(name=f"tach {head}", head=head, unit_id=1, streams=(spec,))


@pytest.mark.parametrize("exchanged", [False, True])
def test_two_heads_behind_one_gateway_are_told_apart_by_hand(exchanged):
    registers = Registers()
    turning = False

    def count_on(_address, _count):
        registers.words[10] = (registers.words[10] + turning) % 65_536

    registers.on_read = count_on
    with modbus_server(registers):
        lower = tach_map(HEAD, registers, 20 if exchanged else 10)
        upper = tach_map("QM-207-U", registers, 10 if exchanged else 20)
        still = gather(lower, seconds=0.3), gather(upper, seconds=0.3)
        turning = True
        turned_now = gather(lower, seconds=0.3), gather(upper, seconds=0.3)
    proof = prove(
        lower,
        still[0],
        turned_now[0],
        stimulus=Stimulus.TURNED,
        neighbour=Neighbour(upper, still[1], turned_now[1]),
    )

    assert proof.holds is not exchanged
    assert not exchanged or "exchanged" in proof.words


@pytest.fixture
def real_stand():
    """Serve a stand that does not say it is simulated."""
    stand = FakeStand()
    stand.set(Header.FLAGS, 0)
    with serving(stand) as served:
        yield StandAddress("127.0.0.1", served.port)


def test_a_run_on_a_real_stand_is_refused_without_a_proof_and_spends_no_number(
    shop, bench, real_stand
):
    open_campaign(shop.ledger, HEAD, short_plan(1), by="TT-1")
    station = Station(shop.home, shop.ledger, HEAD, real_stand, "TT-1")

    with pytest.raises(GateClosedError, match="nobody has shown yet that the channels"):
        make_next_run(station)
    _, tally = attempts(shop.ledger, HEAD)
    assert tally.attempts == 0


def test_a_proof_of_exactly_this_map_opens_the_gate_and_a_later_refusal_closes_it(
    shop, bench, real_stand
):
    good = moving(TACHS)
    bad = moving(TACHS - {"tach"})

    bind_by_hand(bench, (good[0], {}), (good[1], {}))
    with shop.ledger.reading() as reading:
        demand_binding(reading, HEAD, real_stand)
        other = LOWER_CHANNELS.model_copy(update={"revision": 2})
        assert present_binding(reading, HEAD, other) is None
    proof = bind_by_hand(bench, (bad[0], {}), (bad[1], {}))
    assert not proof.holds
    with (
        shop.ledger.reading() as reading,
        pytest.raises(GateClosedError, match=r'the channel map is refused: .* not "tach"'),
    ):
        demand_binding(reading, HEAD, real_stand)


def test_streams_without_a_stand_need_a_proof_too(shop):
    with shop.ledger.reading() as reading, pytest.raises(GateClosedError, match="nobody has"):
        demand_binding(reading, HEAD, None)


def test_a_simulated_stand_needs_no_proof(shop, bench, address):
    with shop.ledger.reading() as reading:
        demand_binding(reading, HEAD, address)


def test_a_statement_reads_back_as_it_was_made():
    proof = prove(LOWER_CHANNELS, *moving(TACHS), stimulus=Stimulus.TURNED)
    statement = BindingStatement(proof=proof)

    assert BindingStatement.from_document(statement.to_document()) == statement
