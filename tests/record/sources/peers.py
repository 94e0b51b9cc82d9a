"""Peers that we did not write: pymodbus, asyncua and the broker, each in a thread or process."""

import asyncio
import threading
from contextlib import contextmanager

from pymodbus.constants import ExcCodes
from pymodbus.framer import FramerType
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.stream import SourceKind, StreamSpec

INSTRUMENT = Instrument(name="PG-4", standard_uncertainty=0.1)
HOLDING, INPUT = 3, 4


def channel(name, place, *, kind=CountType.F32, node=None, **more):
    """Give a channel of a stream."""
    return Channel(
        name=name,
        role=more.pop("role", Role.OTHER),
        first_register=place,
        node=node,
        type=kind,
        unit=more.pop("unit", "1"),
        sample_rate_hz=more.pop("rate", 50.0),
        instrument=INSTRUMENT,
        **more,
    )


def stream(channels, source=SourceKind.MODBUS_TCP, **more):
    """Give a stream of some channels."""
    return StreamSpec(
        name=more.pop("name", "gauges"),
        source=source,
        address=more.pop("address", "127.0.0.1:502"),
        sample_rate_hz=more.pop("rate", 50.0),
        channels=tuple(channels),
        **more,
    )


class Registers:
    """The registers of one unit behind pymodbus's own server, and what should go wrong."""

    def __init__(self, unit=7, size=200):
        self.unit = unit
        self.words = [0] * size
        self.port = 0
        self.on_read = None
        """Called with (address, count); may give an exception code."""

    def put(self, first, *words):
        """Set registers."""
        self.words[first : first + len(words)] = words

    async def answer(self, _function, start, address, count, registers, _values):
        """Answer one request, as the server asks."""
        if self.on_read and (code := self.on_read(address, count)):
            return ExcCodes(code)
        registers[address - start : address - start + count] = self.words[address : address + count]
        return None

    def device(self):
        """Give the device that a server serves."""
        bits = [SimData(0, count=1, values=True, datatype=DataType.BITS)]
        data = [SimData(0, count=len(self.words), values=0, datatype=DataType.REGISTERS)]
        return SimDevice(self.unit, (bits, list(bits), data, list(data)), action=self.answer)


@contextmanager
def in_loop():
    """Run an event loop in a thread; gives a function that runs a coroutine there."""
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()

    def run(work, seconds=30):
        return asyncio.run_coroutine_threadsafe(work, loop).result(seconds)

    try:
        yield run
    finally:
        loop.call_soon_threadsafe(loop.stop)
        thread.join(10)
        loop.close()


@contextmanager
def modbus_server(registers, *, framer=FramerType.SOCKET, port=0):
    """Serve registers by pymodbus's server, with either framing."""

    async def begin():
        server = ModbusTcpServer(registers.device(), framer=framer, address=("127.0.0.1", port))
        await server.serve_forever(background=True)
        return server

    with in_loop() as run:
        server = run(begin())
        registers.port = server.transport.sockets[0].getsockname()[1]
        try:
            yield registers
        finally:
            run(server.shutdown())
