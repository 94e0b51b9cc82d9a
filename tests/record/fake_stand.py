"""A stand of a few registers that a test fills and bends as it likes."""

import asyncio
import threading
from contextlib import contextmanager

from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice
from tests.record.raw_run import make_block

from spinproof.model.registers import (
    BLOCK_REGISTERS,
    HOLDING_ACKNOWLEDGE,
    HOLDING_PROGRAM_LENGTH,
    IDENTITY_REGISTERS,
    MAGIC,
    PROTOCOL,
    RING,
    RING_SLOTS,
    Header,
    StandFlag,
    StandState,
)

READ, WRITE = 4, 16


class FakeStand:
    """Registers of one unit, and hooks for what should go wrong."""

    def __init__(self, unit=2):
        self.unit = unit
        self.registers = [0] * (RING + RING_SLOTS * BLOCK_REGISTERS)
        self.written = {}
        self.block_reads = 0
        self.on_read = None
        """Called with (address, count) before each read; may give an exception code."""
        self.on_write = None
        """Called with the address of each write."""
        self.accepts = True
        """Whether programs are accepted."""
        self.delay_s = 0.0
        """How long each answer takes."""
        self.port = 0
        self.identify("virtual stand, head QM-207-L")
        self.set(Header.MAGIC, MAGIC)
        self.set(Header.PROTOCOL, PROTOCOL)
        self.set(Header.FLAGS, StandFlag.SIMULATED | StandFlag.WANTS_ACKNOWLEDGE)
        self.set(Header.RECORD_REGISTERS, 23)
        self.set(Header.SAMPLES_PER_BLOCK, 5)
        self.set(Header.RING_SLOTS, RING_SLOTS)
        self.set(Header.SAMPLE_PERIOD_US + 1, 50_000)

    def set(self, at, value):
        """Set one register."""
        self.registers[at] = int(value)

    def identify(self, text):
        """Say who the stand is."""
        raw = text.encode().ljust(2 * IDENTITY_REGISTERS, b"\0")
        for i in range(IDENTITY_REGISTERS):
            self.set(Header.IDENTITY + i, int.from_bytes(raw[2 * i : 2 * i + 2], "big"))

    def begin(self, run):
        """Begin a run, with no block yet."""
        self.set(Header.RUN_NUMBER, run)
        self.set(Header.STATE, StandState.RUNNING)
        self.count(0)

    def finish(self):
        """End the run."""
        self.set(Header.STATE, StandState.FINISHED)

    def count(self, blocks):
        """Say how many blocks the run has."""
        self.set(Header.BLOCKS_WRITTEN, blocks >> 16)
        self.set(Header.BLOCKS_WRITTEN + 1, blocks & 0xFFFF)

    def put(self, slot_of, payload):
        """Lay a raw block into the slot of a block number."""
        start = RING + slot_of % RING_SLOTS * BLOCK_REGISTERS
        words = memoryview(payload).cast("B")
        for i in range(len(payload) // 2):
            self.registers[start + i] = words[2 * i] << 8 | words[2 * i + 1]

    def deliver(self, number, payload):
        """Lay a block into its slot and count it."""
        self.put(number, payload)
        self.count(number + 1)

    def program_text(self):
        """Give the program that was written."""
        length = self.written[HOLDING_PROGRAM_LENGTH]
        words = [self.written[16 + i] for i in range((length + 1) // 2)]
        return b"".join(word.to_bytes(2, "big") for word in words)[:length]

    @property
    def acknowledged(self):
        """Give the number of blocks that the reader acknowledged."""
        high, low = (self.written.get(HOLDING_ACKNOWLEDGE + i, 0) for i in (0, 1))
        return high << 16 | low

    async def answer(self, function, start, address, count, registers, values):
        """Answer one request, as the server asks."""
        if self.delay_s:
            await asyncio.sleep(self.delay_s)
        if function == READ:
            self.block_reads += count == BLOCK_REGISTERS
            if self.on_read and (code := self.on_read(address, count)):
                return code
            registers[address - start : address - start + count] = self.registers[
                address : address + count
            ]
        elif function == WRITE:
            for i, value in enumerate(values):
                self.written[address + i] = value
            if address == HOLDING_PROGRAM_LENGTH:
                self.set(Header.PROGRAM_STATUS, 1 if self.accepts else 2)
            if self.on_write:
                self.on_write(address)
        return None

    def device(self):
        """Give the device that a server serves."""
        bits = [SimData(0, count=1, values=True, datatype=DataType.BITS)]
        holding = [SimData(0, count=5000, values=0, datatype=DataType.REGISTERS)]
        readable = [SimData(0, count=len(self.registers), values=0, datatype=DataType.REGISTERS)]
        return SimDevice(
            id=self.unit, simdata=(bits, list(bits), holding, readable), action=self.answer
        )


@contextmanager
def serving(stand, port=0):
    """Serve a fake stand from a thread of its own; its port is filled in."""
    ready = threading.Event()
    held = {}

    async def serve():
        server = ModbusTcpServer(stand.device(), address=("127.0.0.1", port))
        await server.serve_forever(background=True)
        stand.port = server.transport.sockets[0].getsockname()[1]
        held.update(loop=asyncio.get_running_loop(), server=server)
        ready.set()
        await server.serving

    thread = threading.Thread(target=asyncio.run, args=(serve(),), daemon=True)
    thread.start()
    assert ready.wait(10)
    try:
        yield stand
    finally:
        asyncio.run_coroutine_threadsafe(held["server"].shutdown(), held["loop"]).result(10)
        thread.join(10)


def serve_quick_run(blocks, run, pipe):
    """Serve one whole run as fast as it is read; for a process of its own."""
    stand = FakeStand()
    made = [make_block(n, run=run) for n in range(blocks)]
    delivered = 0

    def refill(address, _count):
        nonlocal delivered
        if address == 0:
            room = min(blocks, stand.acknowledged + RING_SLOTS)
            for n in range(delivered, room):
                stand.deliver(n, made[n])
            delivered = max(delivered, room)
            if delivered == blocks:
                stand.finish()

    stand.on_read = refill
    stand.begin(run)
    with serving(stand):
        pipe.send(stand.port)
        pipe.recv()
