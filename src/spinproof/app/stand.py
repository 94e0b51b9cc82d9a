"""Serve a virtual stand: two heads to try things on, made of physics and marked SIMULATED."""

from collections.abc import Callable

from spinproof.model.head import HeadSpec
from spinproof.virtualhead.process_host import StandProcess
from spinproof.virtualhead.server import serve_stand


def serve_virtual_stand(
    upper: HeadSpec,
    lower: HeadSpec,
    host: str,
    port: int,
    *,
    speed_up: float | None,
    on_ready: Callable[[int], None],
) -> None:
    """Serve two heads over Modbus TCP until interrupted; unit id 1 is the upper one.

    Raises
    ------
    PortInUseError
        If another program listens there already.
    """
    serve_stand((upper, lower), host, port, speed_up=speed_up, on_ready=on_ready)


def stand_aside(upper: HeadSpec, lower: HeadSpec) -> StandProcess:
    """Give a virtual stand in a process of its own, as fast as its reader."""
    return StandProcess((upper, lower))
