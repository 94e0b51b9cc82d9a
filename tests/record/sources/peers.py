"""Peers that we did not write: pymodbus, asyncua and the broker, each in a thread or process."""

import asyncio
import hashlib
import shutil
import socket
import subprocess
import threading
from contextlib import contextmanager

import aiomqtt
from asyncua import Server, ua
from asyncua.crypto.cert_gen import setup_self_signed_certificate
from pymodbus.constants import ExcCodes
from pymodbus.framer import FramerType
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.stream import SourceKind, StreamSpec

INSTRUMENT = Instrument(name="PG-4", standard_uncertainty=0.1)
MOSQUITTO = shutil.which("mosquitto") or "/usr/sbin/mosquitto"


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


class NodeServer:
    """An OPC UA server of asyncua with some nodes; every call runs in the server's loop."""

    def __init__(self, run, url, keys=None):
        self._run = run
        self._url = url
        self._keys = keys
        self.nodes = {}
        self.sha256 = None

    @property
    def url(self):
        """Where it listens."""
        return self._url

    def begin(self, **values):
        """Start, with a node for each value."""
        self._run(self._begin(values))
        return self

    async def _begin(self, values):
        server = self.server = Server()
        await server.init()
        server.set_endpoint(self._url)
        if self._keys is not None:
            await self._secure(server)
        space = await server.register_namespace("bench")
        for name, value in values.items():
            self.nodes[name] = await server.nodes.objects.add_variable(
                ua.NodeId(name, space), name, value
            )
        await server.start()

    async def _secure(self, server):
        server.set_security_policy([ua.SecurityPolicyType.Basic256Sha256_SignAndEncrypt])
        key, certificate = self._keys / "server.key.pem", self._keys / "server.der"
        await setup_self_signed_certificate(
            key, certificate, server._application_uri, "127.0.0.1", [], {}
        )
        await server.load_certificate(str(certificate))
        await server.load_private_key(str(key))
        self.sha256 = hashlib.sha256(certificate.read_bytes()).hexdigest()

    def write(self, name, value, *, at=None, status=ua.StatusCodes.Good):
        """Write a value with its source time and status."""
        self.write_all([(name, value, at)], status=status)

    def write_all(self, writes, *, status=ua.StatusCodes.Good):
        """Write many values, one after the other."""
        self._run(self._write(writes, status))

    async def _write(self, writes, status):
        for name, value, at in writes:
            self_made = ua.DataValue(
                ua.Variant(value, ua.VariantType.Double), ua.StatusCode(status), at, at
            )
            await self.nodes[name].write_value(self_made)

    def state_unit(self, name, unit):
        """Give a node the property in which OPC UA states a unit."""
        stated = ua.EUInformation(DisplayName=ua.LocalizedText(unit))
        node = self.nodes[name]
        self._run(node.add_property(ua.NodeId(f"{name}.unit", 2), "0:EngineeringUnits", stated))

    def delete(self, name):
        """Take a node away."""
        self._run(self.server.delete_nodes([self.nodes[name]]))

    def end(self):
        """Stop."""
        self._run(self.server.stop())


@contextmanager
def node_server(*, url=None, keys=None, **values):
    """Serve nodes by asyncua's server."""
    with in_loop() as run:
        server = NodeServer(run, url or f"opc.tcp://127.0.0.1:{free_port()}/bench", keys)
        server.begin(**values)
        try:
            yield server
        finally:
            server.end()


def free_port():
    """Give a port that nobody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return listener.getsockname()[1]


class Broker:
    """A Mosquitto broker in a process of its own."""

    def __init__(self, folder, port=None, *settings):
        self.port = port or free_port()
        self._config = folder / f"broker-{self.port}.conf"
        lines = (f"listener {self.port} 127.0.0.1", "allow_anonymous true", *settings)
        self._config.write_text("\n".join(lines) + "\n")
        self._process = None

    @property
    def address(self):
        """Where it listens."""
        return f"127.0.0.1:{self.port}"

    def begin(self):
        """Start, and wait until it says that it runs."""
        self._process = subprocess.Popen(
            [MOSQUITTO, "-v", "-c", str(self._config)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        said = []
        for line in self._process.stderr:
            said.append(line)
            if "running" in line:
                break
        else:
            raise AssertionError("".join(said))
        self._reader = threading.Thread(target=self._process.stderr.read, daemon=True)
        self._reader.start()  # a full pipe would stop the broker
        return self

    def end(self):
        """Stop."""
        self._process.terminate()
        self._process.wait(10)
        self._reader.join(10)
        self._process.stderr.close()

    @contextmanager
    def publisher(self):
        """Give a function that publishes messages at QoS 1, and waits until the broker has them."""

        async def publish(messages, topic, retain):
            async with aiomqtt.Client("127.0.0.1", self.port) as client:
                for message in messages:
                    await client.publish(topic, message, qos=1, retain=retain)

        with in_loop() as run:
            yield lambda messages, topic, retain=False: run(publish(messages, topic, retain), 60)


@contextmanager
def broker(folder, port=None, *settings):
    """Serve topics by Mosquitto."""
    serving = Broker(folder, port, *settings).begin()
    try:
        yield serving
    finally:
        serving.end()
