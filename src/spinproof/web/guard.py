"""The one middleware: hosts, origins, sizes, security headers, and no stack trace ever."""

import logging
from collections.abc import Callable

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
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
    "Referrer-Policy": "same-origin",  # with "no-referrer" a form would name no origin either
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "X-Robots-Tag": "noindex",
}
"""What every answer carries."""
OVER_TLS = {"Strict-Transport-Security": "max-age=31536000"}
"""And over TLS: for a year the browser asks for nothing else (RFC 6797)."""

Refuse = Callable[[Request, str], Response]
"""Makes the answer to a request that is refused: "host", "method", "origin", "size", "internal"."""

log = logging.getLogger(__name__)


class Guard:
    """Lets in what asks an allowed host, and writes from a page of that host; completes headers."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        hosts: frozenset[str],
        refuse: Refuse,
        most_bytes: Callable[[str, str], int],
        tls: bool = False,
    ) -> None:
        self.app = app
        self.headers = HEADERS | OVER_TLS if tls else HEADERS
        self.hosts = LOCAL_HOSTS | {host.lower() for host in hosts}
        self.refuse = refuse
        self.most_bytes = most_bytes

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
                _complete(MutableHeaders(scope=message), scope["path"], self.headers)
            await send(message)

        request = Request(scope)
        refused = self._refusal(request)
        if refused is not None:
            await self.refuse(request, refused)(scope, receive, complete)
        else:
            limited = _limited(receive, self.most_bytes(request.method, request.url.path))
            try:
                await self.app(scope, limited, complete)
            except Exception:
                if begun:
                    raise
                log.exception("a page failed: %r", scope["path"])
                await self.refuse(request, "internal")(scope, receive, complete)

    def _refusal(self, request: Request) -> str | None:
        if host_of(request.headers) not in self.hosts:
            return "host"
        if request.method in {"GET", "HEAD"}:
            return None
        if request.method != "POST":
            return "method"
        if not is_of_own_page(request.headers):
            return "origin"
        length = request.headers.get("content-length", "0")
        fits = length.isascii() and length.isdecimal()
        if not fits or int(length) > self.most_bytes(request.method, request.url.path):
            return "size"
        return None


def _limited(receive: Receive, most: int) -> Receive:
    taken = 0

    async def limited() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > most:  # a body that did not say its length
            raise HTTPException(413)
        return message

    return limited


def is_of_own_page(headers: Headers) -> bool:
    """Tell whether a request that writes was sent by a page of the host that it asks."""
    origin, site = headers.get("origin"), headers.get("sec-fetch-site")
    if site is not None and site != "same-origin":
        return False
    if origin is None:
        return site is not None
    return origin.lower().partition("://")[2] == headers.get("host", "").lower()


def host_of(headers: Headers) -> str:
    """Give the host that a request names, without its port and in lower case."""
    named = headers.get("host", "").lower()
    name, _, port = named.rpartition(":")
    return name if name and port.isascii() and port.isdecimal() else named


def _complete(headers: MutableHeaders, path: str, every: dict[str, str]) -> None:
    for name, value in every.items():
        headers.setdefault(name, value)
    headers.setdefault("Cache-Control", "no-cache" if path.startswith("/static/") else "no-store")
