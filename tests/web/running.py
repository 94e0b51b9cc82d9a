"""The pages served in process, on a port of their own."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from spinproof.app.home import Home
from spinproof.web.serving import address_of, listen, page_server


@contextmanager
def served(home: Home, *, allowed_hosts: tuple[str, ...] = ()) -> Iterator[str]:
    """Serve a home folder; gives the address of the shop's page."""
    listener = listen("127.0.0.1", 0)
    server = page_server(home, allowed_hosts=allowed_hosts)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    try:
        yield address_of(*listener.getsockname()[:2])
    finally:
        server.should_exit = True
        thread.join(timeout=20)
    assert not thread.is_alive(), "the server did not end"
