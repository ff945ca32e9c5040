"""Entering a recall."""

from datetime import date

from starlette.datastructures import UploadFile
from starlette.responses import Response
from starlette.routing import Route

from canalwright.records.blind import to_read
from canalwright.records.caseview import CaseView
from canalwright.records.desk import Desk
from canalwright.records.errors import BadEntry, NotFound
from canalwright.records.events import Event, Kind
from canalwright.records.images import LABELS, media_of
from canalwright.records.recall import Visit
from canalwright.web.records.asking import Ask, change, content_of, look
from canalwright.web.records.cases import SHOWN
from canalwright.web.records.house import House
from canalwright.web.records.screens import recalls as screens
from canalwright.web.records.screens.recalls import MOST_ROOTS

ANSWERS = {"": None, "yes": True, "no": False}


def routes(house: House) -> list[Route]:
    """The recall form."""
    return [
        look(house, "/case/{case}/recall", screen),
        change(house, "/case/{case}/recall", enter),
        look(house, "/case/{case}/second/{seq:int}", second_screen),
        change(house, "/case/{case}/second/{seq:int}", read_second),
    ]


def screen(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """The form, with what was entered when something was wrong with it."""
    view, events = ask.desk.case(ask.request.path_params["case"])
    roots = _roots(events)
    given = ask.form if len(ask.form) else None
    content = screens.recall(ask.prefs, ask.csrf, view, roots, ask.session.name, given, ask.today, problem)
    return ask.page("Recall", content, status=status)


def enter(ask: Ask) -> Response:
    """Record a recall, its films first."""
    name = ask.request.path_params["case"]
    try:
        visit = visit_of(ask)
        films = [content_of(f) for f in ask.form.getlist("films") if isinstance(f, UploadFile) and f.size]
        for film in films:
            if media_of(film) == LABELS:
                raise BadEntry("labels of a scan are no film: choose the picture itself")
        ask.desk.weigh(name, Kind.RECALL, visit.as_json())
        images = tuple(attach(ask.desk, name, film, visit.on) for film in films)
        ask.desk.record(name, Kind.RECALL, {**visit.as_json(), "images": list(images)})
    except BadEntry as error:
        return screen(ask, str(error), 422)
    return ask.go(f"/records/case/{name}")


def second_screen(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """The film and nothing of the first reading."""
    view, event, shown = _awaited(ask)
    content = screens.second(ask.prefs, ask.csrf, view, event, shown, ask.session.name, problem)
    return ask.page("Second reading", content, status=status)


def read_second(ask: Ask) -> Response:
    """Record the second reading."""
    view, event, _ = _awaited(ask)
    try:
        roots = ask.texts("root")
        grades = [ask.number(f"index_{i}", 1, 5) for i in range(len(roots))]
        given = {root: grade for root, grade in zip(roots, grades, strict=True) if grade is not None}
        ask.desk.read_second(view.case_id, event.seq, given)
    except BadEntry as error:
        return second_screen(ask, str(error), 422)
    return ask.go(f"/records/case/{view.case_id}")


def _awaited(ask: Ask) -> tuple[CaseView, Event, frozenset[str]]:
    """The case, the recall that awaits a second reading with its grades hidden, and the images that a browser can show."""
    name, seq = ask.request.path_params["case"], ask.request.path_params["seq"]
    view, events = ask.desk.case(name)
    event = next((e for e in events if e.seq == seq and to_read(e)), None)
    if event is None:
        raise NotFound(f"case {name} has no film {seq} that awaits a second reader")
    media = {str(e.field("image")): e.field("media") for e in events if e.kind is Kind.IMAGE}
    return view, event, frozenset(name for name, kind in media.items() if kind in SHOWN)


def visit_of(ask: Ask) -> Visit:
    """What the form says. Raises BadEntry."""
    first, second = ask.text("reader_1"), ask.text("reader_2")
    index: dict[str, dict[str, int]] = {}
    agreed: dict[str, int] = {}
    for i in range(MOST_ROOTS):
        grades = [ask.number(f"index_{i}_{n}", 1, 5) for n in (1, 2)]
        both = ask.number(f"agreed_{i}", 1, 5)
        root = ask.text(f"root_{i}")
        if grades == [None, None] and both is None:
            continue
        if not root or root in index:
            raise BadEntry("each root that was graded needs a name of its own")
        readers = {r: g for r, g in zip((first, second), grades, strict=True) if g is not None}
        if "" in readers or (None not in grades and first == second):
            raise BadEntry("each reading of the film needs the name of its reader, and two readers are two persons")
        index[root] = readers
        if both is not None:
            agreed[root] = both
    blind = ask.text("blind") == "yes"
    if blind and ({r for each in index.values() for r in each} != {ask.session.name} or agreed):
        raise BadEntry(
            "for a blind second reading grade the film under your own name, and leave the second reader to grade"
        )
    return Visit.from_json(
        {
            "blind": blind,
            "on": ask.text("on"),
            "signs": ask.texts("signs"),
            "symptoms": ask.texts("symptoms"),
            "percussion": ANSWERS.get(ask.text("percussion")),
            "index": index,
            "agreed": agreed,
            "lesion": ask.text("lesion"),
            "restoration": ANSWERS.get(ask.text("restoration")),
            "restoration_sound": ANSWERS.get(ask.text("restoration_sound")),
            "lost": ask.text("lost"),
            "note": ask.text("note"),
        }
    )


def attach(desk: Desk, case: str, film: bytes, on: date) -> str:
    """Keep a film of the recall; gives its name."""
    return desk.attach(case, film, f"recall {on.isoformat()}")


def _roots(events: list[Event]) -> list[str]:
    """Names of roots graded before, else of the canals planned, else none."""
    graded = [root for e in events if e.kind is Kind.RECALL for root in _keys(e.field("index"))]
    planned = [str(e.field("canal")) for e in events if e.kind is Kind.PLAN and e.field("canal")]
    return list(dict.fromkeys(graded or planned))[:MOST_ROOTS]


def _keys(value: object) -> list[str]:
    return [str(k) for k in value] if isinstance(value, dict) else []
