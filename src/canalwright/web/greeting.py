"""The first page in a reader's own language: what their browser asks for, until they choose one in the settings.

The pages read the language from the reader's cookie (see `prefs`). Where there is none yet, a request that asks for a language that the
catalogue has (`Accept-Language`, RFC 9110, 12.5.4) is answered as if that one had been chosen; nothing is kept.
"""

from canalwright.web.guard import App, Receive, Scope, Send
from canalwright.web.words import LANGUAGES

COOKIE = b"cw_language="
MOST = 20
"""Languages that are looked at; a browser asks for a few."""


class Greeting:
    """Answers in the language that the browser asks for where none was chosen."""

    def __init__(self, app: App) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] in ("http", "websocket"):
            headers = list(scope["headers"])
            cookies = b"; ".join(value for name, value in headers if name == b"cookie")
            wanted = asked(next((value.decode("latin-1") for name, value in headers if name == b"accept-language"), ""))
            if wanted and COOKIE not in cookies:
                others = [(name, value) for name, value in headers if name != b"cookie"]
                said = COOKIE + wanted.encode()
                scope = {**scope, "headers": [*others, (b"cookie", cookies + b"; " + said if cookies else said)]}
        await self._app(scope, receive, send)


def asked(header: str) -> str:
    """The language of ours that an `Accept-Language` header asks for most, the first of equals; empty where it asks for none of them."""
    best, most = "", 0.0
    for part in header.split(",")[:MOST]:
        tag, *rest = (piece.strip() for piece in part.lower().split(";"))
        language = tag.partition("-")[0]
        weight = next((_share(piece[2:]) for piece in rest if piece.startswith("q=")), 1.0)
        if language in LANGUAGES and weight > most:
            best, most = language, weight
    return best


def _share(text: str) -> float:
    """A weight of 0 to 1; 0 where it is none."""
    try:
        value = float(text)
    except ValueError:
        return 0.0
    return value if 0.0 <= value <= 1.0 else 0.0
