"""Between the check page and the records: a check is kept as an event of its case, with its film; and the habits that checks teach."""

from starlette.responses import Response
from starlette.routing import Route

from canalwright import casefile
from canalwright.assessment import habits
from canalwright.assessment.scan import NAMES
from canalwright.casefile import Case
from canalwright.records.errors import BadEntry, Erased, IdentityLocked, NotFound
from canalwright.records.events import Kind
from canalwright.web.checks import Check
from canalwright.web.records.asking import Ask, change, look
from canalwright.web.records.cases import open_case
from canalwright.web.records.house import House
from canalwright.web.records.plans import NEW, measured
from canalwright.web.records.screens import checks as screens
from canalwright.web.records.screens import plans as plan_screens

LABELLED = "labels of the check on two scans"
SEGMENTED = "labels of the check on two scans, DICOM segmentation"


def routes(house: House) -> list[Route]:
    """Keeping, and the habits."""
    return [
        look(house, "/keep-check/{key}/{index:int}", keep_screen),
        change(house, "/keep-check/{key}/{index:int}", keep),
        look(house, "/habits", habits_screen),
    ]


def keep_screen(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """Ask which case a check belongs to."""
    case, index, found = _checked(ask)
    tooth = case.tooth.code
    known = [v for v in ask.desk.cases(tooth=tooth, limit=100).rows if v.status != "closed"]
    came = ask.house.shelf.came_from(ask.request.path_params["key"])
    given = {k: ask.text(k) for k in ("patient", "index_before", "name", "born", "number", "contact")}
    form = plan_screens.keep(
        ask.prefs, ask.csrf, case, index, known, ask.text("case") or came, given, ask.request.url.path, problem,
        "Keep this check",
    )  # fmt: skip
    return ask.page("Keep in the records", screens.kept(found, ask.words), form, status=status)


def keep(ask: Ask) -> Response:
    """Record the case file (when it is new) and the check, without what a file said of the patient: with its film, or with the labels of
    its two scans and by what these are known again."""
    case, _, found = _checked(ask)
    try:
        name = ask.text("case")
        if not name:
            raise BadEntry("say which case it is, or open a new one")
        if name == NEW:
            name = open_case(ask, case.tooth.code)
        view, events = ask.desk.case(name)
        if view.tooth != case.tooth.code:
            raise BadEntry(f"case {name} is of tooth {view.tooth}, this check is of tooth {case.tooth.code}")
        kept: dict[str, object] = {"on": ask.today.isoformat(), **found.payload()}
        ask.desk.weigh(name, Kind.CHECK, kept)
        last, text = measured(events, None), casefile.dumps(case)
        if last is None or last.field("case_file") != text:
            ask.desk.record(name, Kind.MEASUREMENT, {"case_file": text, "digest": case.digest})
        picture = found.png()
        film = ask.desk.attach(name, picture, "film of the check") if picture is not None else ""
        kept["film"] = film
        if found.labels is not None:
            kept["labels"] = ask.desk.attach(name, found.labels, LABELLED)
            kept["label_names"] = {str(number): called for number, called in enumerate(NAMES, 1)}
        if found.segmentation is not None:
            kept["segmentation"] = ask.desk.attach(name, found.segmentation, SEGMENTED)
        ask.desk.record(name, Kind.CHECK, kept)
    except (BadEntry, Erased, IdentityLocked) as error:
        return keep_screen(ask, str(error), 422)
    ask.house.shelf.note(ask.request.path_params["key"], name)
    ask.house.office.refile(ask.request.path_params["key"])
    return ask.go(f"/records/case/{name}")


def habits_screen(ask: Ask) -> Response:
    """Where one's own stops, trims and ends land, learned from the checks that were kept."""
    return ask.page(
        "Own habits", screens.habits(habits.of_events(ask.desk.checks()), ask.words), here="/records/habits"
    )


def _checked(ask: Ask) -> tuple[Case, int, Check]:
    """The open case, the canal and its last check. Raises NotFound."""
    key, index = ask.request.path_params["key"], ask.request.path_params["index"]
    case, found = ask.house.office.found(key, index), ask.house.office.checks.get(key, index)
    if case is None or found is None:
        raise NotFound("this check is not open any more; read the film again")
    return case, index, found
