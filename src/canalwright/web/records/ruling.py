"""What happens to a case and its person's data later: recall rule, closing, holding, archive, all data, erasing."""

import tempfile
from collections.abc import Callable
from pathlib import Path

from starlette.responses import Response
from starlette.routing import Route

from canalwright.records.accounts import Act
from canalwright.records.errors import BadEntry, IdentityLocked, SignInFailed, TooManyTries
from canalwright.records.events import Kind
from canalwright.records.recall import GUIDELINE, Rule
from canalwright.web.records.asking import Ask, change, look
from canalwright.web.records.cases import download
from canalwright.web.records.erasing import traces
from canalwright.web.records.house import House
from canalwright.web.records.screens import ruling as screens


def routes(house: House) -> list[Route]:
    """The screen and its acts."""
    return [
        look(house, "/case/{case}/rules", screen),
        change(house, "/case/{case}/rules/schedule", schedule),
        change(house, "/case/{case}/rules/close", close),
        change(house, "/case/{case}/rules/hold", hold),
        change(house, "/case/{case}/rules/archive", archive),
        change(house, "/case/{case}/rules/person", person),
        change(house, "/case/{case}/rules/erase", erase),
    ]


def screen(ask: Ask, problem: str = "", said: str = "", status: int = 200) -> Response:
    """All rules of one case, as far as the reader's role goes."""
    view, events = ask.desk.case(ask.request.path_params["case"])
    may = frozenset(act for act in Act if ask.desk.allowed(act))
    given = {key: ask.text(key) for key in ("reason", "pseudonym")} if "pseudonym" in ask.form else {}
    content = screens.rules(ask.words, ask.csrf, view, events, may, problem, said, given)
    return ask.page("Rules and erasing", content, status=status)


def schedule(ask: Ask) -> Response:
    """Recall by a rule of one's own, or by the guideline again."""

    def act(case: str) -> None:
        text = ask.text("months")
        rule = GUIDELINE if text in ("", GUIDELINE.name) else Rule(ask.text("name") or "own rule", _months(text))
        ask.desk.record(case, Kind.SCHEDULE, rule.as_json())

    return _done(ask, act)


def close(ask: Ask) -> Response:
    """Close the case: nobody is recalled for it any more."""

    def act(case: str) -> None:
        _sure(ask)
        ask.desk.record(case, Kind.CLOSE, {"reason": ask.text("reason") or "closed on the page"})

    return _done(ask, act)


def hold(ask: Ask) -> Response:
    """Hold the person's data beyond the rule of retention, or let go of it."""

    def act(case: str) -> None:
        view, _ = ask.desk.case(case)
        if not ask.text("reason"):
            raise BadEntry("holding and letting go need their reason, without a name")
        ask.desk.hold(view.patient, ask.text("act") != "release", ask.text("reason"))

    return _done(ask, act)


def archive(ask: Ask) -> Response:
    """The case as an archive that other records can take in."""
    name = ask.request.path_params["case"]
    return _file(ask, lambda path: ask.desk.write_case(name, path), f"{name}.zip")


def person(ask: Ask) -> Response:
    """All that is kept of the person, identity included."""
    view, _ = ask.desk.case(ask.request.path_params["case"])
    return _file(ask, lambda path: ask.desk.write_person(view.patient, path), f"{view.patient}.zip")


def erase(ask: Ask) -> Response:
    """Erase the person's data for good, in the backups beside the records too."""
    name = ask.request.path_params["case"]
    view, _ = ask.desk.case(name)
    try:
        if ask.text("pseudonym") != view.patient:
            raise BadEntry("nothing was erased: the pseudonym typed is another")
        known = traces(ask.house.store.patients.events(view.patient))
        ask.desk.erase(view.patient, ask.text("reason"), ask.secret_text("password"), ask.text("code"))
    except (BadEntry, SignInFailed, TooManyTries) as error:
        return screen(ask, str(error), status=422)
    ask.house.office.erase(known)
    ask.house.store.backups.renew()
    return ask.go("/records/")


def _done(ask: Ask, act: Callable[[str], None]) -> Response:
    """Do it and show the screen again."""
    try:
        act(ask.request.path_params["case"])
    except BadEntry as error:
        return screen(ask, str(error), status=422)
    return ask.go(f"/records/case/{ask.request.path_params['case']}/rules")


def _file(ask: Ask, write: Callable[[Path], None], name: str) -> Response:
    """A zip to keep; on the disk only for the moment of writing."""
    try:
        with tempfile.TemporaryDirectory(dir=ask.house.store.vault.home) as folder:
            path = Path(folder) / "made.zip"
            write(path)
            content = path.read_bytes()
    except IdentityLocked as error:
        return screen(ask, str(error), status=422)
    return download(content, "application/zip", name)


def _sure(ask: Ask) -> None:
    if ask.text("sure") != "yes":
        raise BadEntry("nothing was done: tick that you are sure")


def _months(text: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in text.split(","))
    except ValueError:
        raise BadEntry(f"months {text[:40]!r}: whole numbers with commas between, such as 6,12,24") from None
