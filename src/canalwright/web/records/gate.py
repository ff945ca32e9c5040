"""Nobody past the gate without a session: every route and every socket of the page, once records are open.

Requests count as use and keep the session awake; the socket's own chatter does not, only what somebody did in the window.
A session that locks or ends cuts its sockets. Pages are never kept by the browser's cache.
"""

import asyncio
import time
from http.cookies import CookieError, SimpleCookie
from urllib.parse import quote

from canalwright.records.accounts import Session
from canalwright.records.accounts.sessions import State
from canalwright.records.errors import RecordsError, SessionEnded, SessionLocked
from canalwright.web.guard import App, Message, Receive, Scope, Send
from canalwright.web.reader import reads
from canalwright.web.records.house import House

OPEN = ("/static/", "/records/static/")
OPEN_EXACT = frozenset(
    {"/colours.css", "/ready", "/favicon.ico", "/records/sign-in", "/records/choose", "/records/first"}
)
LOCKED = frozenset({"/records/unlock", "/records/sign-out"})
SOCKET = "/_nicegui_ws/"
LOOK_EVERY = 10.0  # seconds between two looks at the session of an open socket
CHANGING = frozenset({"POST", "PUT", "PATCH", "DELETE"})
KEEP = 365 * 24 * 3600


class Gate:
    """Middleware around the whole page, inside the guard."""

    def __init__(self, app: App, house: House) -> None:
        self.app, self.house = app, house

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let through who has a session; others to the sign-in."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        path, headers = scope["path"], {k.decode("latin-1"): v.decode("latin-1") for k, v in scope["headers"]}
        token = cookies(headers).get(self.house.cookie, "")
        scope.setdefault("state", {})["token"] = token
        sending = _private(send, self.house.secure, path)
        if scope["type"] == "http" and scope["method"] in CHANGING and "origin" not in headers:
            await _answer(sending, 403, "A form of this page comes with its origin; this request had none.")
            return
        if _is_open(path, scope.get("method", "")):
            del scope["state"]["token"]
            await self.app(scope, receive, sending)
            return
        session = None
        try:
            session = await self._session(token, path, scope["type"])
        except SessionLocked:
            if path not in LOCKED:
                await _away(scope, sending, "/records/unlock")
                return
        except SessionEnded:
            await _away(scope, sending, "/records/sign-in")
            return
        except RecordsError as error:
            await _answer(sending, 503, str(error))
            return
        reads(session.name if session else "")
        watching = self._watched(receive, token) if scope["type"] == "websocket" else receive
        await self.app(scope, watching, sending)

    async def _session(self, token: str, path: str, kind: str) -> Session:
        if not token:
            raise SessionEnded("nobody is signed in")
        if kind == "websocket" or path.startswith(SOCKET):
            return await asyncio.to_thread(self._peek, token)
        return await asyncio.to_thread(self.house.door.session, token)

    def _peek(self, token: str) -> Session:
        """The session without using it."""
        found = self.house.door.peek(token)
        state = found.state(self.house.store.vault.clock(), self.house.door.terms)
        if state is State.ENDED:
            raise SessionEnded("this session is over")
        if state is State.LOCKED:
            raise SessionLocked("this session is locked")
        return found

    def _watched(self, receive: Receive, token: str) -> Receive:
        """What a window sends, as long as its session lives; what somebody did counts as use."""
        looked = time.monotonic()

        async def inner() -> Message:
            nonlocal looked
            message = await receive()
            did = message["type"] == "websocket.receive" and (message.get("text") or "").startswith('42["event"')
            if message["type"] != "websocket.receive" or (not did and time.monotonic() - looked < LOOK_EVERY):
                return message
            looked = time.monotonic()
            try:
                await asyncio.to_thread(self.house.door.session if did else self._peek, token)
            except RecordsError:
                return {"type": "websocket.disconnect", "code": 1008}
            return message

        return inner


def cookies(headers: dict[str, str]) -> dict[str, str]:
    """The cookies of a request; none from a header that is no list of cookies."""
    try:
        return {name: morsel.value for name, morsel in SimpleCookie(headers.get("cookie", "")).items()}
    except CookieError:
        return {}


def _is_open(path: str, method: str) -> bool:
    if path in OPEN_EXACT:
        return True
    bundled = path.startswith("/_nicegui/") and "/client/" not in path and "/auto/" not in path
    return method in ("GET", "HEAD") and (path.startswith(OPEN) or bundled)


def _private(send: Send, secure: bool, path: str) -> Send:
    """No copy in a cache, but for what is the same for everybody; with TLS, TLS from now on."""
    added: list[tuple[bytes, bytes]] = []
    if not path.startswith((*OPEN, "/_nicegui/")):
        added.append((b"cache-control", b"no-store"))
    if secure:
        added.append((b"strict-transport-security", f"max-age={KEEP}".encode()))

    async def inner(message: Message) -> None:
        if message["type"] == "http.response.start":
            names = {name for name, _ in added}
            message["headers"] = [h for h in message.get("headers", []) if h[0].lower() not in names] + added
        await send(message)

    return inner


async def _away(scope: Scope, send: Send, to: str) -> None:
    """A reader is led to the form and afterwards back; a program is told."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    path = scope["path"]
    wants = dict(scope["headers"]).get(b"accept", b"")
    if scope["method"] != "GET" or b"text/html" not in wants:
        await _answer(send, 401, "Sign in first.")
        return
    query = scope.get("query_string", b"").decode("latin-1")
    back = quote(f"{path}?{query}" if query else path, safe="")
    headers = [(b"location", f"{to}?back={back}".encode()), (b"content-length", b"0")]
    await send({"type": "http.response.start", "status": 303, "headers": headers})
    await send({"type": "http.response.body", "body": b""})


async def _answer(send: Send, status: int, words: str) -> None:
    body = words.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
