"""The one middleware: allowed hosts, security headers, and no stack trace ever."""

import logging
from collections.abc import Callable

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOCAL_HOSTS = frozenset({"127.0.0.1", "localhost", "[::1]"})
"""Hosts that are always allowed; others are a setting."""

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self'; font-src 'self'; connect-src 'self'; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "X-Robots-Tag": "noindex",
}
"""What every answer carries."""

Refuse = Callable[[Request, str], Response]
"""Makes the answer to a request that is refused: "host", "method" or "internal"."""

log = logging.getLogger(__name__)


class Guard:
    """Lets in requests to allowed hosts that only read, and completes every answer's headers."""

    def __init__(self, app: ASGIApp, *, hosts: frozenset[str], refuse: Refuse) -> None:
        self.app = app
        self.hosts = LOCAL_HOSTS | {host.lower() for host in hosts}
        self.refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        begun = False

        async def complete(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                _complete(MutableHeaders(scope=message), scope["path"])
            await send(message)

        request = Request(scope)
        if host_of(Headers(scope=scope)) not in self.hosts:
            await self.refuse(request, "host")(scope, receive, complete)
        elif scope["method"] not in {"GET", "HEAD"}:
            await self.refuse(request, "method")(scope, receive, complete)
        else:
            try:
                await self.app(scope, receive, complete)
            except Exception:
                if begun:
                    raise
                log.exception("a page failed: %r", scope["path"])
                await self.refuse(request, "internal")(scope, receive, complete)


def host_of(headers: Headers) -> str:
    """Give the host that a request names, without its port and in lower case."""
    named = headers.get("host", "").lower()
    name, _, port = named.rpartition(":")
    return name if name and port.isascii() and port.isdecimal() else named


def _complete(headers: MutableHeaders, path: str) -> None:
    for name, value in HEADERS.items():
        headers.setdefault(name, value)
    headers.setdefault("Cache-Control", "no-cache" if path.startswith("/static/") else "no-store")
