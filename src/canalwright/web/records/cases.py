"""The lists, a new case, one case with everything that happened to it."""

from collections.abc import Callable
from datetime import date

from starlette.responses import Response
from starlette.routing import Route

from canalwright.records.accounts import Act
from canalwright.records.errors import BadEntry, Erased, IdentityLocked
from canalwright.records.events import Kind
from canalwright.records.patients import Identity
from canalwright.web.records.asking import Ask, change, look
from canalwright.web.records.chairs import sessions_of
from canalwright.web.records.house import House
from canalwright.web.records.screens import cases as screens
from canalwright.web.records.screens import onecase

ROWS = 50
STATUS = ("open", "planned", "filled", "closed")
SHOWN = ("image/png", "image/jpeg")
"""What a browser shows by itself; the rest is a file to keep."""


def routes(house: House) -> list[Route]:
    """The screens of lists and cases."""
    return [
        look(house, "/", cases),
        look(house, "/recalls", recalls),
        look(house, "/recalls.ics", calendar),
        look(house, "/find", find),
        look(house, "/new", new_screen),
        change(house, "/new", new),
        look(house, "/case/{case}", case_screen),
        change(house, "/case/{case}/note", note),
        change(house, "/case/{case}/filled", filled),
        change(house, "/case/{case}/withdraw", withdraw),
        look(house, "/case/{case}/image/{image}", image),
    ]


def cases(ask: Ask) -> Response:
    """All cases, the one touched last first."""
    status = ask.request.query_params.get("status", "")
    patient = ask.request.query_params.get("patient", "")
    start = _start(ask)
    page = ask.desk.cases(
        status=status if status in STATUS else None,  # type: ignore[arg-type]
        patient=patient or None,
        limit=ROWS,
        offset=start,
    )
    view = screens.cases(ask.prefs, page, status, patient, start, ROWS, ask.today, _may(ask))
    return ask.page("Cases", view, here="")


def recalls(ask: Ask) -> Response:
    """Recalls overdue first, then those due within sixty days."""
    today, start = ask.today, _start(ask)
    late = ask.desk.overdue(today, limit=ROWS, offset=start)
    soon = ask.desk.due(date.fromordinal(today.toordinal() + 60), limit=ROWS, offset=start)
    view = screens.recalls(ask.prefs, late, soon, start, ROWS, today, _may(ask))
    return ask.page("Recalls", view, here="recalls")


def calendar(ask: Ask) -> Response:
    """Recalls of the next year as iCalendar, under pseudonyms."""
    until = date.fromordinal(ask.today.toordinal() + 366)
    return download(ask.desk.calendar(until), "text/calendar", "recalls.ics")


def find(ask: Ask) -> Response:
    """Patients by name, number or date of birth."""
    words = ask.request.query_params.get("words", "").strip()[:200]
    try:
        found, problem = (ask.desk.find(words) if words else []), ""
    except IdentityLocked as error:
        found, problem = [], str(error)
    return ask.page("Find a patient", screens.found(ask.prefs, words, found, problem), here="")


def new_screen(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """A new case, of a new patient or a known one."""
    given = {k: ask.text(k) for k in ("patient", "tooth", "index_before", "name", "born", "number", "contact")}
    given["patient"] = given["patient"] or ask.request.query_params.get("patient", "")
    return ask.page("New case", screens.new(ask.prefs, ask.csrf, given, problem), here="", status=status)


def new(ask: Ask) -> Response:
    """Open a case."""
    try:
        case = open_case(ask, ask.number("tooth", 11, 48))
    except (BadEntry, Erased, IdentityLocked) as error:
        return new_screen(ask, str(error), 422)
    return ask.go(f"/records/case/{case}")


def open_case(ask: Ask, tooth: int | None) -> str:
    """Open a case for the patient of the form, who is added when new; gives its name. Raises BadEntry."""
    if tooth is None:
        raise BadEntry("a case needs its tooth, by ISO 3950 (46, say)")
    payload: dict[str, object] = {"tooth": tooth}
    if (before := ask.number("index_before", 1, 5)) is not None:
        payload["index_before"] = before
    who = Identity(ask.text("name"), ask.text("born"), ask.text("number"), ask.text("contact"))
    check(payload)
    patient = ask.text("patient") or ask.desk.add_patient(who if who != Identity() else None)
    return ask.desk.open_case(patient, payload)


def check(payload: dict[str, object]) -> None:
    """Refuse a bad case before a patient is added for it."""
    from canalwright.records.payloads import check_payload

    check_payload(Kind.CASE, payload)


def case_screen(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """One case."""
    name = ask.request.path_params["case"]
    view, events = ask.desk.case(name)
    who, locked = None, ""
    if "who" in ask.request.query_params:
        try:
            who = ask.desk.identity(view.patient)
        except IdentityLocked as error:
            locked = str(error)
    begun = sessions_of(ask, view.tooth, events) if ask.desk.allowed(Act.RECORD_TREATMENT) else []
    typed = {key: ask.text(key) for key in onecase.TYPED if key in ask.form}
    content = onecase.case(
        ask.prefs, ask.csrf, view, events, ask.today, _may(ask), who, begun, problem or locked, typed
    )
    return ask.page(f"Case {name}", content, here="", status=status)


def note(ask: Ask) -> Response:
    """A note."""
    return _recorded(ask, Kind.NOTE, lambda: {"text": _needed(ask.text("text"), "the note")})


def filled(ask: Ask) -> Response:
    """The tooth is filled: what the film after it shows."""

    def payload() -> dict[str, object]:
        given = {key: ask.text(key) for key in ("short_mm", "void_percent")}
        return {"on": ask.text("on")} | {key: _decimal(key, text) for key, text in given.items() if text}

    return _recorded(ask, Kind.CHECK, payload)


def withdraw(ask: Ask) -> Response:
    """Withdraw an entry; it stays readable in the history."""
    name = ask.request.path_params["case"]
    try:
        seq = ask.number("seq", 1, 10**12)
        if seq is None:
            raise BadEntry("say which entry")
        ask.desk.correct(name, seq, None, ask.text("reason"))
    except BadEntry as error:
        return case_screen(ask, str(error), 422)
    return ask.go(f"/records/case/{name}")


def image(ask: Ask) -> Response:
    """A film as it was kept."""
    name = ask.request.path_params["image"]
    media, content = ask.desk.image(ask.request.path_params["case"], name)
    if media in SHOWN:
        return Response(content, media_type=media)
    return download(content, media, f"{name}.{media.partition('/')[2].removeprefix('x-')}")


def download(content: bytes, media: str, name: str) -> Response:
    """A file to keep."""
    return Response(content, media_type=media, headers={"content-disposition": f'attachment; filename="{name}"'})


def _recorded(ask: Ask, kind: Kind, payload: Callable[[], dict[str, object]]) -> Response:
    name = ask.request.path_params["case"]
    try:
        ask.desk.record(name, kind, payload())
    except BadEntry as error:
        return case_screen(ask, str(error), 422)
    return ask.go(f"/records/case/{name}")


def _may(ask: Ask) -> frozenset[Act]:
    return frozenset(act for act in Act if ask.desk.allowed(act))


def _start(ask: Ask) -> int:
    text = ask.request.query_params.get("start", "0")
    return min(int(text), 10**6) if text.isascii() and text.isdigit() and len(text) < 8 else 0


def _needed(text: str, what: str) -> str:
    if not text:
        raise BadEntry(f"{what} is empty")
    return text


def _decimal(key: str, text: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise BadEntry(f"{key} = {text[:40]!r}: a number") from None
    if not -100 <= value <= 100:
        raise BadEntry(f"{key} = {value:g} is outside -100 to 100")
    return value
