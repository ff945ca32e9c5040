"""Who may talk to the page, how much they may send, and what a browser may do with it.

Without records the page has no sign-in: it answers this machine alone. So the socket is bound to loopback, and a request is refused
when it comes from elsewhere, when its `Host` names another machine (a web site that rebinds its name to 127.0.0.1 sends its own), or
when another site's page sends it (`Origin`).

The content policy lets a browser load from and talk to this server only, so that nothing of a case can leave. The framework
writes its start-up script into the document and compiles its templates in the browser, which needs 'unsafe-inline' and 'unsafe-eval'
for scripts; everything else is closed.
"""

import ipaddress
import sys
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import urlsplit

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

MOST_BYTES = 2 * 1024 * 1024
"""Longest body of a request; a case file is a few kilobytes."""
LONGER = {"/open-archive": 64 * 1024 * 1024, "/radiograph": 48 * 1024 * 1024}
"""Paths, and all below them, that take more."""
NAMES = frozenset({"127.0.0.1", "localhost", "::1"})
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self' 'unsafe-inline' 'unsafe-eval'",
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "object-src 'none'",
    )
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}


def longest(path: str) -> int:
    """Longest body that a path takes."""
    return next((most for begin, most in LONGER.items() if path == begin or path.startswith(f"{begin}/")), MOST_BYTES)


class Guard:
    """Middleware around the whole page.

    `names` under which a browser may ask for it; `outside` lets other machines in (then there are accounts and TLS); `most` gives the
    longest body of a path.
    """

    def __init__(
        self,
        app: App,
        port: int,
        *,
        names: frozenset[str] = NAMES,
        outside: bool = False,
        most: Callable[[str], int] = longest,
    ) -> None:
        self.app, self.port, self.names, self.outside, self.most = app, port, names, outside, most

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse strangers, bound bodies, add the headers."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = {key.decode("latin-1"): value.decode("latin-1") for key, value in scope["headers"]}
        if not self._from_here(scope, headers):
            await _refuse(scope, send, 403, "This page answers only the machine it runs on.")
            return
        most = self.most(scope["path"])
        if scope["type"] == "http" and _announced(headers) > most:
            await _refuse(scope, send, 413, f"Too long: at most {most // 1024} kB.")
        else:
            await self.app(scope, _bounded(receive, most), _with_headers(send))

    def _from_here(self, scope: Scope, headers: dict[str, str]) -> bool:
        client = scope.get("client")
        if client and not (self.outside or _loopback(client[0])):
            return False
        if not self._names_us(f"//{headers.get('host', '')}"):
            return False
        origin = headers.get("origin")
        return origin is None or self._names_us(origin)

    def _names_us(self, address: str) -> bool:
        try:
            parts = urlsplit(address)
            return parts.hostname in self.names and parts.port == self.port
        except ValueError:
            return False


def _loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _announced(headers: dict[str, str]) -> int:
    length = headers.get("content-length", "0")
    return int(length) if length.isascii() and length.isdigit() else sys.maxsize


def _bounded(receive: Receive, most: int) -> Receive:
    """A body that grows past the bound without having announced it ends the connection."""
    seen = 0

    async def inner() -> Message:
        nonlocal seen
        message = await receive()
        if message["type"] == "http.request":
            seen += len(message.get("body", b""))
            if seen > most:
                return {"type": "http.disconnect"}
        return message

    return inner


def _with_headers(send: Send) -> Send:
    added = [(key.encode(), value.encode()) for key, value in HEADERS.items()]

    async def inner(message: Message) -> None:
        if message["type"] == "http.response.start":
            there = {key.lower() for key, _ in message.get("headers", [])}
            message["headers"] = [*message.get("headers", []), *(h for h in added if h[0] not in there)]
        await send(message)

    return inner


async def _refuse(scope: Scope, send: Send, status: int, words: str) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    body = words.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
