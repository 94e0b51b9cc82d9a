"""The stand's server: two heads over Modbus TCP, one unit id each."""

import asyncio
import contextlib
import errno
import logging
import signal
import socket
import time
from collections.abc import Callable, Sequence
from typing import cast

from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from spinproof.model.errors import PortInUseError, StandError
from spinproof.model.head import HeadSpec
from spinproof.model.registers import SAMPLE_RATE_HZ, SAMPLES_PER_BLOCK
from spinproof.virtualhead.data_logger import (
    HOLDING_REGISTERS,
    INPUT_REGISTERS,
    DataLogger,
    RefusedWriteError,
)
from spinproof.virtualhead.head import VirtualHead

READ_INPUT = 4
"""Modbus function that reads input registers."""
BIT_FUNCTIONS = frozenset({1, 2, 5, 15})
"""Modbus functions that read and write single bits; the stand has none."""
BLOCK_S = SAMPLES_PER_BLOCK / SAMPLE_RATE_HZ
"""Time that one block covers. [s]"""
IN_USE = "another program listens there already"
FREE_IT = "Stop that program, or give another port; port 0 lets the system choose one."
UPTIME_S = 3600
"""What the first head's clock shows at first; each further head is as much later. [s]"""


def serve_stand(
    heads: Sequence[HeadSpec],
    host: str = "127.0.0.1",
    port: int = 0,
    *,
    speed_up: float | None = 1.0,
    on_ready: Callable[[int], None] | None = None,
) -> None:
    """Serve a stand until SIGINT or SIGTERM.

    Parameters
    ----------
    heads : sequence of HeadSpec
        The heads; the first has unit id 1.
    host : str
        Address to listen on.
    port : int
        Port to listen on; 0 lets the system choose.
    speed_up : float or None
        1 for real time, N for N times real time, 0 or None for as fast as the reader acknowledges.
    on_ready : callable, optional
        Called with the real port once the stand answers.

    Raises
    ------
    PortInUseError
        If another program listens there already.
    StandError
        If the address is not one of this machine.
    """
    loggers = virtual_stand(heads, waits=speed_up != 1.0)
    asyncio.run(_serve(loggers, host, port, speed_up or 0.0, on_ready))


def virtual_stand(heads: Sequence[HeadSpec], *, waits: bool) -> list[DataLogger]:
    """Put virtual heads side by side on one stand, each with its logger."""
    bench = [VirtualHead(spec, UPTIME_S * (1 + place)) for place, spec in enumerate(heads)]
    for place, head in enumerate(bench):
        head.neighbour = bench[place - 1] if len(bench) > 1 else None
    return [DataLogger(head, waits=waits) for head in bench]


async def _serve(
    loggers: list[DataLogger],
    host: str,
    port: int,
    speed_up: float,
    on_ready: Callable[[int], None] | None,
) -> None:
    _check_address(host, port)
    logging.getLogger("pymodbus").addHandler(logging.NullHandler())
    wakers = [asyncio.Event() for _ in loggers]
    devices = [
        _device(unit, logger, woken)
        for unit, (logger, woken) in enumerate(zip(loggers, wakers, strict=True), start=1)
    ]
    server = ModbusTcpServer([*devices, _nobody()], address=(host, port))
    try:
        await server.serve_forever(background=True)
    except RuntimeError as error:
        raise PortInUseError(IN_USE, where=f"{host}:{port}", mend=FREE_IT) from error
    stopped = asyncio.create_task(_signalled().wait())
    plays = [
        asyncio.create_task(_play(logger, speed_up, woken))
        for logger, woken in zip(loggers, wakers, strict=True)
    ]
    if on_ready is not None:
        on_ready(_port_of(server))
    try:
        done, _ = await asyncio.wait([stopped, *plays], return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()
    finally:
        for task in (stopped, *plays):
            task.cancel()
        await server.shutdown()  # type: ignore[no-untyped-call] # the library leaves it untyped


async def _play(logger: DataLogger, speed_up: float, woken: asyncio.Event) -> None:
    """Let a logger step: at its pace, or as fast as its reader acknowledges."""
    while True:
        await woken.wait()
        woken.clear()
        begun = time.monotonic()
        while logger.is_running:
            if logger.is_held_up:
                await woken.wait()
                woken.clear()
                continue
            wait = 0.0
            if speed_up:
                due = begun + (logger.blocks_written + 1) * BLOCK_S / speed_up
                wait = max(due - time.monotonic(), 0.0)
            await asyncio.sleep(wait)
            logger.step()


def _device(unit: int, logger: DataLogger, woken: asyncio.Event) -> SimDevice:
    """Give one head as the library wants a device: its registers, and what a request does."""

    async def answer(
        function: int,
        start: int,
        address: int,
        count: int,
        registers: list[int],
        values: list[int] | list[bool] | None,
    ) -> ExcCodes | None:
        if function in BIT_FUNCTIONS:
            return ExcCodes.ILLEGAL_FUNCTION
        if values is None:
            read = logger.read_input if function == READ_INPUT else logger.read_holding
            registers[address - start : address - start + count] = read(address, count)
            return None
        try:
            logger.write(address, [int(value) for value in values])
        except RefusedWriteError as error:
            return ExcCodes.DEVICE_BUSY if error.is_busy else ExcCodes.ILLEGAL_VALUE
        woken.set()
        return None

    return SimDevice(unit, _registers(HOLDING_REGISTERS, INPUT_REGISTERS), action=answer)


def _nobody() -> SimDevice:
    """Give the device that answers for every unit id without a head."""

    async def answer(*_request: object) -> ExcCodes:
        return ExcCodes.GATEWAY_NO_RESPONSE

    return SimDevice(0, _registers(HOLDING_REGISTERS, INPUT_REGISTERS), action=answer)


def _registers(
    holding: int, inputs: int
) -> tuple[list[SimData], list[SimData], list[SimData], list[SimData]]:
    """Lay out coils and discrete inputs (unused), holding and input registers."""
    bits = [SimData(0, values=[False] * 16, datatype=DataType.BITS)]
    return (
        bits,
        list(bits),
        [SimData(0, count=holding, datatype=DataType.REGISTERS)],
        [SimData(0, count=inputs, datatype=DataType.REGISTERS)],
    )


def _port_of(server: ModbusTcpServer) -> int:
    """Give the port that the server really listens on."""
    listener = cast("asyncio.Server", server.transport)
    return int(listener.sockets[0].getsockname()[1])


def _check_address(host: str, port: int) -> None:
    """Bind once, for the library does not say why it could not.

    Raises
    ------
    PortInUseError
        If another program listens there already.
    StandError
        If the address is not one of this machine, or not free to this user.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                raise PortInUseError(IN_USE, where=f"{host}:{port}", mend=FREE_IT) from error
            raise StandError(
                f"the stand cannot listen there ({error.strerror or error})",
                where=f"{host}:{port}",
                mend="Give an address of this machine, such as 127.0.0.1, and a port above 1023.",
            ) from error


def _signalled() -> asyncio.Event:
    """Give an event that SIGINT and SIGTERM set."""
    stopped = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError):  # Windows: Ctrl-C ends asyncio.run itself
            loop.add_signal_handler(number, stopped.set)
    return stopped
