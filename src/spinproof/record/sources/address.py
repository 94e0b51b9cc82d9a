"""Addresses of sources, as the map writes them."""

from spinproof.model.errors import DocumentError


def host_and_port(address: str, stream: str) -> tuple[str, int]:
    """Split HOST:PORT.

    Raises
    ------
    DocumentError
        If it is not of that form.

    Examples
    --------
    >>> host_and_port("gateway-2:502", "flow meter")
    ('gateway-2', 502)
    """
    host, _, port = address.rpartition(":")
    if not host or not port.isdecimal() or not 0 < int(port) < 65536:
        raise DocumentError(
            f'"{address}" is not the address of a device',
            where=f"stream {stream}",
            mend="Give host and port, for example gateway-2:502.",
        )
    return host.strip("[]"), int(port)
