"""Serve the pages of a home folder until somebody presses Ctrl-C."""

import errno
import ipaddress
import socket
from collections.abc import Callable
from contextlib import suppress

import uvicorn

from spinproof.app.home import Home
from spinproof.app.passwords import Passwords
from spinproof.model.errors import PortInUseError, StorageError
from spinproof.web.application import create_app
from spinproof.web.tls import Identity, require_tls

PORT = 8040


def serve(
    home: Home,
    *,
    host: str = "127.0.0.1",
    port: int = PORT,
    allowed_hosts: tuple[str, ...] = (),
    identity: Identity | None = None,
    plain: bool = False,
    on_ready: Callable[[str], None] = lambda _: None,
    on_code: Callable[[str], None] = lambda _: None,
) -> None:
    """Serve the pages until Ctrl-C.

    Parameters
    ----------
    home : Home
        What to show.
    host : str
        Address to listen on; only this machine reaches the default.
    port : int
        Port to listen on; 0 takes a free one.
    allowed_hosts : tuple of str
        Names by which browsers may reach the pages, besides this machine's own and the address.
    identity : Identity, optional
        Certificate and key; the pages are then served over TLS alone.
    plain : bool
        Whether other machines may be served without TLS.
    on_ready : callable
        Gets the address of the shop's page once requests are accepted.
    on_code : callable
        Gets the code that the owner's first sign-in from another machine needs.

    Raises
    ------
    DocumentError
        If certificate and key cannot be used.
    GateClosedError
        If other machines could reach the pages, and no owner has a password, or without TLS.
    PortInUseError
        If another program listens on the port.
    StorageError
        If this machine has no such address, or the ledger cannot be opened.
    """
    beyond = not is_this_machine(host) or bool(allowed_hosts)
    if not is_this_machine(host):
        require_tls(host, identity, plain=plain)
    listener = listen(host, port)
    names = names_of(host, allowed_hosts)
    try:
        server = page_server(
            home, allowed_hosts=names, beyond=beyond, identity=identity, on_code=on_code
        )
    except BaseException:
        listener.close()
        raise
    bound, taken = listener.getsockname()[:2]
    shown = names[0] if names and ipaddress.ip_address(bound).is_unspecified else bound
    on_ready(address_of(shown, taken, tls=identity is not None))
    with suppress(KeyboardInterrupt):  # how the server ends after Ctrl-C
        server.run(sockets=[listener])


def is_this_machine(host: str) -> bool:
    """Tell whether an address is reached from this machine alone.

    Examples
    --------
    >>> is_this_machine("127.0.0.1"), is_this_machine("::1"), is_this_machine("0.0.0.0")
    (True, True, False)
    """
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def names_of(host: str, allowed: tuple[str, ...]) -> tuple[str, ...]:
    """Give the names by which browsers reach the pages, besides this machine's own.

    Examples
    --------
    >>> names_of("127.0.0.1", ()), names_of("192.0.2.7", ()), names_of("::", ("bench.lan",))
    ((), ('192.0.2.7',), ('bench.lan',))
    """
    if is_this_machine(host):
        return allowed
    written = f"[{host}]" if ":" in host else host
    return allowed if host in {"0.0.0.0", "::"} else (*allowed, written)  # noqa: S104 - compared, not bound


def page_server(
    home: Home,
    *,
    allowed_hosts: tuple[str, ...] = (),
    beyond: bool = False,
    identity: Identity | None = None,
    on_code: Callable[[str], None] = lambda _: None,
    passwords: Passwords | None = None,
) -> uvicorn.Server:
    """Make the server, not yet running; setting its ``should_exit`` ends it, streams included."""
    servers: list[uvicorn.Server] = []
    context = None if identity is None else identity.context()
    app = create_app(
        home,
        allowed_hosts=allowed_hosts,
        is_stopping=lambda: any(server.should_exit for server in servers),
        beyond=beyond,
        tls=identity is not None,
        passwords=passwords,
    )
    if beyond and (code := app.state.desk.open_beyond()):
        on_code(code)
    config = uvicorn.Config(
        app,
        log_level="error",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=5,
        limit_concurrency=200,
        ssl_context_factory=None if context is None else (lambda *_: context),
    )
    servers.append(uvicorn.Server(config))
    return servers[0]


def listen(host: str, port: int) -> socket.socket:
    """Take the port, before anything else is done.

    Raises
    ------
    PortInUseError
        If another program listens on the port.
    StorageError
        If this machine has no such address, or the port is not for this user.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen(64)
    except OSError as error:
        listener.close()
        if error.errno == errno.EADDRINUSE:
            raise PortInUseError(
                "another program listens there already",
                where=f"{host}:{port}",
                mend="End that program, or choose another port with --port.",
            ) from error
        raise StorageError(
            f"nothing can listen there ({error.strerror})",
            where=f"{host}:{port}",
            mend="Give an address of this machine and a port above 1023.",
        ) from error
    return listener


def address_of(host: str, port: int, *, tls: bool = False) -> str:
    """Give the address of the shop's page.

    Examples
    --------
    >>> address_of("127.0.0.1", 8040), address_of("::1", 8040)
    ('http://127.0.0.1:8040/', 'http://[::1]:8040/')
    """
    scheme = "https" if tls else "http"
    return f"{scheme}://[{host}]:{port}/" if ":" in host else f"{scheme}://{host}:{port}/"
