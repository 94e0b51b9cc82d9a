"""Registers polled from pymodbus's own server, in both framings."""

import math
import socket
import socketserver
import struct
import threading
from contextlib import contextmanager

import pytest
from pymodbus.framer import FramerType
from tests.record.sources.peers import Registers, channel, modbus_server, stream

from spinproof.model.channel import CountType
from spinproof.model.errors import DocumentError, StandError
from spinproof.model.stream import RegisterKind, SourceKind, WordOrder
from spinproof.record.sources.modbus import ModbusSource, timeout_s
from spinproof.record.sources.source import NoticeKind

FRAMINGS = {
    SourceKind.MODBUS_TCP: FramerType.SOCKET,
    SourceKind.MODBUS_RTU_OVER_TCP: FramerType.RTU,
}
QUICK = (0.01,)


def at(peer, channels, **more):
    return stream(channels, address=f"127.0.0.1:{peer.port}", unit_id=peer.unit, **more)


def words(value, code=">f"):
    return struct.unpack(">2H", struct.pack(code, value))


def said(source, kind):
    return [(notice.channel, notice.text) for notice in source.notices if notice.kind is kind]


@pytest.mark.parametrize("kind", FRAMINGS)
@pytest.mark.parametrize("registers_kind", RegisterKind)
def test_values_of_every_type_arrive_in_both_framings(kind, registers_kind, inbox, run_source):
    registers = Registers()
    registers.put(10, *words(37.5), 65000, 0xFFFE, *words(3_000_000_000, ">I"), *words(-5, ">i"))
    channels = (
        channel("pressure", 10),
        channel("pulses", 12, kind=CountType.U16),
        channel("offset", 13, kind=CountType.I16),
        channel("total", 14, kind=CountType.U32),
        channel("balance", 16, kind=CountType.I32),
    )
    with modbus_server(registers, framer=FRAMINGS[kind]):
        run_source(ModbusSource(at(registers, channels, source=kind, registers=registers_kind)))
        rows = inbox.wait_for_rows(20)

    assert rows[0] == [37.5, 65000.0, -2.0, 3e9, -5.0]
    assert [b.sequence for b in inbox.blocks] == list(range(len(inbox.blocks)))
    ends = [b.first_sample + len(b.counts) for b in inbox.blocks]
    assert all(b.first_sample >= end for end, b in zip(ends, inbox.blocks[1:], strict=False))


@pytest.mark.parametrize(
    ("order", "laid"),
    [
        (WordOrder.BIG, (0x4148, 0x0000)),
        (WordOrder.LITTLE, (0x0000, 0x4148)),
        (WordOrder.BIG_SWAPPED, (0x4841, 0x0000)),
        (WordOrder.LITTLE_SWAPPED, (0x0000, 0x4841)),
    ],
)
def test_each_order_of_words_and_bytes_reads_the_same_value(order, laid, inbox, run_source):
    registers = Registers()
    registers.put(0, *laid)
    with modbus_server(registers):
        run_source(ModbusSource(at(registers, [channel("flow", 0)], word_order=order)))

        assert inbox.wait_for_rows(1)[0] == [12.5]


def test_what_is_no_number_is_missing_with_its_reason(inbox, run_source):
    registers = Registers()
    registers.put(0, *words(math.inf), *words(math.nan), 0x7FFF, 21)
    channels = (
        channel("a", 0),
        channel("b", 2),
        channel("c", 4, kind=CountType.I16, missing=0x7FFF),
        channel("d", 5, kind=CountType.I16, missing=0x7FFF),
    )
    with modbus_server(registers):
        source = run_source(ModbusSource(at(registers, channels)))
        row = inbox.wait_for_rows(1)[0]

    assert [math.isnan(value) for value in row] == [True, True, True, False]
    assert row[3] == 21.0
    assert dict(said(source, NoticeKind.MISSING)) == {
        "a": "the register is not a number",
        "b": "the register is not a number",
        "c": "the device sends 32767: no reading",
    }


def test_a_register_that_is_not_there_is_told_with_its_address_while_others_go_on(
    inbox, run_source
):
    registers = Registers()
    registers.put(0, 11, 12, 13, 14)
    registers.on_read = lambda address, count: 2 if address <= 1 < address + count else None
    channels = [channel(n, i, kind=CountType.U16) for i, n in enumerate("abcd")]
    with modbus_server(registers):
        source = run_source(ModbusSource(at(registers, channels)))
        rows = inbox.wait_for_rows(10)

    assert all(math.isnan(row[1]) for row in rows)
    assert {(row[0], row[2], row[3]) for row in rows} == {(11.0, 13.0, 14.0)}
    assert said(source, NoticeKind.UNREADABLE) == [
        ("b", "not readable at register 1: exception 2, no such register")
    ]


def test_a_failing_device_misses_one_channel_and_a_busy_one_is_asked_again(inbox, run_source):
    registers = Registers()
    registers.put(0, 5)
    registers.put(100, 6)
    failing, busy = threading.Event(), iter([6, 6])

    def answer(address, _count):
        if address == 100:
            return 4 if failing.is_set() else None
        return next(busy, None)

    registers.on_read = answer
    channels = [channel("a", 0, kind=CountType.U16), channel("b", 100, kind=CountType.U16)]
    with modbus_server(registers):
        source = run_source(ModbusSource(at(registers, channels)))
        first = inbox.wait_for_rows(1)[0]
        failing.set()
        inbox.wait_for(lambda blocks: math.isnan(blocks[-1].counts[-1, 1]))
        last = inbox.rows()[-1]

    assert first == [5.0, 6.0]
    assert last[0] == 5.0
    assert said(source, NoticeKind.UNREADABLE) == [
        ("b", "not readable at register 100: exception 4, device failure")
    ]


def test_a_device_that_goes_away_comes_back_with_a_gap_in_the_numbers(inbox, run_source):
    registers = Registers()
    registers.put(0, 1)
    with modbus_server(registers):
        source = run_source(
            ModbusSource(at(registers, [channel("a", 0, kind=CountType.U16)]), reconnect_s=QUICK)
        )
        inbox.wait_for_rows(5)
    port = registers.port
    before = len(inbox.rows())
    registers.put(0, 2)
    with modbus_server(registers, port=port):
        inbox.wait_for(lambda blocks: blocks[-1].counts[-1, 0] == 2)
        source.stop()

    last = inbox.blocks[-1]
    assert last.first_sample + len(last.counts) > len(inbox.rows()) > before
    assert said(source, NoticeKind.BACK) == [(None, "the connection came back")]


def test_nobody_at_the_address_is_refused_at_the_start(run_source):
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    source = ModbusSource(stream([channel("a", 0)], address=f"127.0.0.1:{port}"))

    with pytest.raises(StandError, match=f"cannot be reached, at stream gauges, 127.0.0.1:{port}"):
        run_source(source)


def test_a_device_that_gives_nothing_is_refused_at_the_start(run_source):
    registers = Registers()
    registers.on_read = lambda _address, _count: 2
    with (
        modbus_server(registers),
        pytest.raises(StandError, match="none of the channels: not readable at register 0 to 1"),
    ):
        run_source(ModbusSource(at(registers, [channel("a", 0)])))


def test_a_rate_that_polling_cannot_hold_is_refused():
    with pytest.raises(DocumentError, match="500 Hz at most"):
        ModbusSource(stream([channel("a", 0)], rate=900.0))


@pytest.mark.parametrize(("rate", "seconds"), [(10.0, 0.3), (100.0, 0.1), (0.5, 2.0)])
def test_an_answer_is_awaited_for_three_polls(rate, seconds):
    assert timeout_s(stream([channel("a", 0)], rate=rate)) == pytest.approx(seconds)


@contextmanager
def forging_server(forge):
    """Answer reads of one register with what ``forge`` makes of the right answer."""

    class Handler(socketserver.BaseRequestHandler):
        def handle(self):
            while asked := self.request.recv(260):
                answer = bytearray(asked[:4] + struct.pack(">H", 5) + asked[6:8] + b"\2\0\x2a")
                for reply in forge(answer):
                    self.request.sendall(reply)

    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler) as server:
        server.daemon_threads = True
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        try:
            yield server.server_address[1]
        finally:
            server.shutdown()
            thread.join(10)


@pytest.mark.parametrize("place", [1, 6], ids=["transaction", "unit"])
def test_an_answer_of_another_transaction_or_unit_is_no_sample(place, inbox, run_source):
    def forge(answer):
        false = bytearray(answer)
        false[place] ^= 5
        false[-1] = 99
        return [bytes(false), bytes(answer)]

    with forging_server(forge) as port:
        spec = stream(
            [channel("a", 0, kind=CountType.U16)], address=f"127.0.0.1:{port}", unit_id=7, rate=10.0
        )
        source = run_source(ModbusSource(spec, reconnect_s=QUICK))
        inbox.wait_for_rows(3)
        source.stop()

    assert {row[0] for row in inbox.rows()} == {42.0}
    assert said(source, NoticeKind.FOREIGN)


def test_a_device_that_stops_answering_is_lost_and_reached_again(inbox, run_source):
    """The connection stays open and nothing comes, as when a cable is pulled."""
    mute = iter([False] * 5 + [True] + [False] * 1000)

    def forge(answer):
        return [] if next(mute) else [bytes(answer)]

    with forging_server(forge) as port:
        spec = stream(
            [channel("a", 0, kind=CountType.U16)], address=f"127.0.0.1:{port}", unit_id=7, rate=20.0
        )
        source = run_source(ModbusSource(spec, reconnect_s=QUICK))
        inbox.wait_for_rows(12)
        source.stop()

    texts = [notice.text for notice in source.notices if notice.kind is NoticeKind.LOST]
    assert [text.partition(",")[0] for text in texts] == [
        "the device does not answer while reading register 0"
    ]
    last = inbox.blocks[-1]
    missed = last.first_sample + len(last.counts) - len(inbox.rows())
    assert missed >= 2  # the unanswered poll, and those that its three polls of patience cost
