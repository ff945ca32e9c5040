"""One request to a record screen: who asks, what the form held, and how screens answer."""

from collections.abc import Callable
from datetime import date
from functools import cached_property
from hmac import compare_digest
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import FormParser, MultiPartException, MultiPartParser
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from canalwright.records.accounts import Session
from canalwright.records.desk import Desk
from canalwright.records.errors import BadEntry
from canalwright.web import guard
from canalwright.web.markup.html import Safe
from canalwright.web.prefs import Prefs
from canalwright.web.records.house import House, csrf
from canalwright.web.records.screens.page import Who, document
from canalwright.web.words import Words

MOST_FIELDS, MOST_FILES, MOST_TEXT = 300, 4, 64 * 1024
LARGEST_UPLOAD = 33 * 1024 * 1024
CLEAN = "/share/clean"
MOST_STUDY, LARGEST_STUDY = 3000, 512 * 1024 * 1024
"""Files, and bytes, of a study that is sent to have its identity taken out."""
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {"content-security-policy": POLICY, "referrer-policy": "same-origin"}
"""With `no-referrer` a browser would send forms with the origin `null`, which the guard refuses as another site's."""


class Ask:
    """What a screen needs of one request. `form` is empty for a look."""

    def __init__(self, house: House, request: Request, form: FormData | None = None) -> None:
        self.house, self.request, self.form = house, request, form or FormData()
        self.token: str = getattr(request.state, "token", "")

    @cached_property
    def desk(self) -> Desk:
        """The records at the hand of who asks."""
        return self.house.desk(self.token)

    @cached_property
    def session(self) -> Session:
        """Who asks. Raises SessionEnded, SessionLocked."""
        return self.house.door.session(self.token)

    @cached_property
    def prefs(self) -> Prefs:
        """Language and tooth numbers."""
        return Prefs.of(self.request.cookies)

    @property
    def today(self) -> date:
        """The day where this server stands, by the clock that the records go by."""
        return self.house.store.vault.clock().astimezone().date()

    @property
    def words(self) -> Words:
        """The catalogue of the reader's language."""
        return self.prefs.words

    @property
    def source(self) -> str:
        """Where the request comes from."""
        return self.request.client.host if self.request.client else ""

    @property
    def secret(self) -> str:
        """The cookie that binds forms to this browser: the session's, or the one set with the sign-in form."""
        return self.token or self.request.cookies.get(self.house.before, "")

    @property
    def back(self) -> str:
        """Where to go on to afterwards: a path of this page, never another site."""
        asked = self.request.query_params.get("back") or self.text("back")
        return asked if local(asked) else "/records/"

    def text(self, name: str) -> str:
        """A field of the form, without blanks around it."""
        value = self.form.get(name, "")
        return value.strip() if isinstance(value, str) else ""

    def texts(self, name: str) -> list[str]:
        """All values of a field."""
        return [v for v in self.form.getlist(name) if isinstance(v, str)]

    def secret_text(self, name: str) -> str:
        """A password as it was typed."""
        value = self.form.get(name, "")
        return value if isinstance(value, str) else ""

    def number(self, name: str, low: int, high: int) -> int | None:
        """A whole number of the form, None when the field is empty. Raises BadEntry."""
        text = self.text(name)
        if not text:
            return None
        if not text.isascii() or not text.isdigit() or not low <= int(text) <= high:
            raise BadEntry(f"{name} = {text[:40]!r}: a whole number from {low} to {high}")
        return int(text)

    def page(
        self, title: str, *content: Safe | str, here: str = "", status: int = 200, locked: bool = False
    ) -> Response:
        """A screen."""
        who = None
        if self.token and not locked:
            who = Who(self.session.name, self.session.role, csrf(self.token), here, self.house.trouble)
        html = document(self.prefs, title, content, who)
        return HTMLResponse(html, status, HEADERS)

    def go(self, to: str) -> Response:
        """On to another screen, after something was done."""
        return RedirectResponse(to, 303)

    @property
    def csrf(self) -> str:
        """What every form brings along."""
        return csrf(self.secret)


def look(house: House, path: str, act: Callable[[Ask], Response]) -> Route:
    """A screen that shows."""

    async def endpoint(request: Request) -> Response:
        return await run_in_threadpool(act, Ask(house, request))

    return Route(path, endpoint, methods=["GET"])


def change(house: House, path: str, act: Callable[[Ask], Response]) -> Route:
    """A form that changes something: bound to the session's cookie, read into memory and never onto a disk."""

    async def endpoint(request: Request) -> Response:
        form = await read_form(request)
        try:
            ask = Ask(house, request, form)
            if not ask.secret or not compare_digest(ask.secret_text("csrf").encode(), ask.csrf.encode()):
                raise HTTPException(
                    403, "This form is out of date: go back, load the page again and send it once more."
                )
            return await run_in_threadpool(act, ask)
        finally:
            await form.close()

    return Route(path, endpoint, methods=["POST"])


async def read_form(request: Request) -> FormData:
    """The fields and files of a form. Raises HTTPException when it is none, or too large."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip()
    try:
        if kind == "multipart/form-data":
            parser = MultiPartParser(
                request.headers,
                request.stream(),
                max_files=MOST_STUDY if request.url.path.endswith(CLEAN) else MOST_FILES,
                max_fields=MOST_FIELDS,
                max_part_size=MOST_TEXT,
            )
            parser.spool_max_size = 2 * LARGEST_STUDY
            return await parser.parse()
        if kind == "application/x-www-form-urlencoded":
            return await FormParser(request.headers, request.stream()).parse()
    except MultiPartException as error:
        raise HTTPException(400, f"This form cannot be read: {error.message}") from None
    raise HTTPException(415, "A form was expected.")


def content_of(upload: UploadFile) -> bytes:
    """What was sent as a file; its name is used for nothing."""
    upload.file.seek(0)
    return bytes(upload.file.read())


def local(address: str) -> bool:
    """Whether an address is a path of this page."""
    parts = urlsplit(address)
    safe = address.startswith("/") and not address.startswith("//") and "\\" not in address
    return safe and not parts.scheme and not parts.netloc and address.isprintable()


def longest(path: str) -> int:
    """Longest body of a request to a path: films come with a recall, a study to be cleaned is large, everything else is small."""
    if path.startswith("/records/case/") and path.endswith(CLEAN):
        return LARGEST_STUDY
    return LARGEST_UPLOAD if path.startswith("/records/case/") and path.endswith("/recall") else guard.longest(path)
