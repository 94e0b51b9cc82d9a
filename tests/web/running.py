"""The pages served in process, on a port of their own."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from spinproof.app.home import Home
from spinproof.app.passwords import Passwords
from spinproof.web.serving import address_of, listen, page_server
from spinproof.web.tls import Identity


@contextmanager
def served(
    home: Home,
    *,
    allowed_hosts: tuple[str, ...] = (),
    beyond: bool = False,
    passwords: Passwords | None = None,
    identity: Identity | None = None,
    on_code: Callable[[str], None] = lambda _: None,
) -> Iterator[str]:
    """Serve a home folder; gives the address of the shop's page."""
    listener = listen("127.0.0.1", 0)
    server = page_server(
        home,
        allowed_hosts=allowed_hosts,
        beyond=beyond,
        identity=identity,
        passwords=passwords,
        on_code=on_code,
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    try:
        yield address_of(*listener.getsockname()[:2], tls=identity is not None)
    finally:
        server.should_exit = True
        thread.join(timeout=20)
    assert not thread.is_alive(), "the server did not end"
