"""Keeping the records: backups, checks, users, the access log."""

import secrets

from starlette.responses import Response
from starlette.routing import Route

from canalwright.records.accounts import Act, Role
from canalwright.records.errors import BadEntry, NotFound
from canalwright.web.records.asking import Ask, change, look
from canalwright.web.records.house import House
from canalwright.web.records.screens import keeping as screens

LINES = 200


def routes(house: House) -> list[Route]:
    """The screens for who keeps the records."""
    return [
        look(house, "/keeping", screen),
        change(house, "/keeping/back-up", back_up),
        change(house, "/keeping/verify", verify),
        look(house, "/users", users_screen),
        change(house, "/users", add_user),
        change(house, "/users/{name}", change_user),
    ]


def screen(ask: Ask, said: str = "") -> Response:
    """Backups and, for who may, the access log."""
    found = ask.house.store.backups.all() if ask.desk.allowed(Act.BACK_UP) else []
    log = ask.desk.access_log.read(limit=LINES) if ask.desk.allowed(Act.SEE_ACCESS_LOG) else []
    return ask.page("Keeping", screens.keeping(ask.words, ask.csrf, found, log, said), here="keeping")


def back_up(ask: Ask) -> Response:
    """Make a backup now."""
    made = ask.desk.back_up()
    ask.house.trouble = ""
    return screen(ask, f"{made.path.name}: {made.head.seq} events, restored on trial and good.")


def verify(ask: Ask) -> Response:
    """Check everything."""
    head = ask.desk.verify()
    return screen(ask, f"All {head.seq} events are as they were written. Head {head.hash}.")


def users_screen(ask: Ask, said: str = "", problem: str = "", status: int = 200) -> Response:
    """The users."""
    content = screens.users(ask.words, ask.csrf, ask.desk.users.all(), said, problem)
    return ask.page("Users", content, here="users", status=status)


def add_user(ask: Ask) -> Response:
    """Add a user with a password made up here."""
    given, users = secrets.token_urlsafe(15), ask.desk.users
    try:
        users.add(ask.text("name"), _role(ask.text("role")), given, ask.session.name)
    except BadEntry as error:
        return users_screen(ask, problem=str(error), status=422)
    return users_screen(ask, f"{ask.text('name')} signs in once, within a week, with: {given}")


def change_user(ask: Ask) -> Response:
    """Another role, shut out, or let in again."""
    name, users, by = ask.request.path_params["name"], ask.desk.users, ask.session.name
    try:
        match ask.text("act"):
            case "role":
                users.set_role(name, _role(ask.text("role")), by)
            case "shut out":
                users.disable(name, by)
            case "reset":
                given = secrets.token_urlsafe(15)
                users.reset(name, given, by)
                return users_screen(ask, f"{name} signs in once, within a week, with: {given}")
            case other:
                raise BadEntry(f"{other[:40]!r} is nothing that can be done to a user")
    except (BadEntry, NotFound) as error:
        return users_screen(ask, problem=str(error), status=422)
    return ask.go("/records/users")


def _role(text: str) -> Role:
    try:
        return Role(text)
    except ValueError:
        raise BadEntry(f"there is no role {text[:40]!r}") from None
