"""Coming in and going out: first user, sign-in, a password of one's own, unlocking, the second factor."""

import secrets
from collections.abc import Callable
from hmac import compare_digest

from starlette.responses import Response
from starlette.routing import Route

from canalwright.records.accounts import totp
from canalwright.records.errors import BadEntry, NotFound, PasswordTemporary, SessionEnded, SignInFailed, TooManyTries
from canalwright.web.markup.html import Safe
from canalwright.web.records.asking import Ask, change, look
from canalwright.web.records.house import House, csrf
from canalwright.web.records.screens import door as screens


def routes(house: House) -> list[Route]:
    """The screens of the door."""
    return [
        look(house, "/sign-in", sign_in_screen),
        change(house, "/sign-in", sign_in),
        look(house, "/first", first_screen),
        change(house, "/first", first),
        look(house, "/choose", choose_screen),
        change(house, "/choose", choose),
        look(house, "/unlock", unlock_screen),
        change(house, "/unlock", unlock),
        change(house, "/sign-out", sign_out),
        look(house, "/here", lambda ask: Response(status_code=204)),
        look(house, "/me", me),
        change(house, "/me/password", change_password),
        change(house, "/me/factor", begin_factor),
        change(house, "/me/factor/confirm", confirm_factor),
        change(house, "/me/others", end_others),
    ]


def sign_in_screen(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """Name, password, and a code where there is a second factor."""
    return _before(ask, "Sign in", lambda token: screens.sign_in(ask.words, token, ask.back, problem), status)


def sign_in(ask: Ask) -> Response:
    """A fresh session with a fresh token, or no word about what was wrong."""
    name, code = ask.text("name"), ask.text("code")
    try:
        token = ask.house.door.sign_in(name, ask.secret_text("password"), code, ask.source)
    except PasswordTemporary:
        return ask.go("/records/choose")
    except TooManyTries as error:
        answer = sign_in_screen(ask, str(error), 429)
        answer.headers["retry-after"] = str(round(error.wait))
        return answer
    except SignInFailed as error:
        return sign_in_screen(ask, str(error), 401)
    return _with_token(ask, ask.go(ask.back), token)


def first_screen(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """The first user; only for who has the key that the server printed when it started."""
    key = ask.request.query_params.get("key") or ask.text("key")
    _has_first_key(ask, key)
    return _before(ask, "First user", lambda token: screens.first(ask.words, token, key, problem), status)


def first(ask: Ask) -> Response:
    """Add the first user, a clinician."""
    _has_first_key(ask, ask.text("key"))
    try:
        _same(ask)
        ask.house.door.users.first(ask.text("name"), ask.secret_text("password"))
    except BadEntry as error:
        return first_screen(ask, str(error), 422)
    ask.house.first_key = ""
    return ask.go("/records/sign-in")


def choose_screen(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """A password of one's own in place of one that was given."""
    return _before(ask, "A password of your own", lambda token: screens.choose(ask.words, token, problem), status)


def choose(ask: Ask) -> Response:
    """Change a given password."""
    try:
        _same(ask)
        old, new = ask.secret_text("old"), ask.secret_text("password")
        ask.house.door.change_password(ask.text("name"), old, new, ask.text("code"), ask.source)
    except (BadEntry, SignInFailed, TooManyTries) as error:
        return choose_screen(ask, str(error), 429 if isinstance(error, TooManyTries) else 422)
    return ask.go("/records/sign-in")


def unlock_screen(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """The password again after a pause."""
    name = ask.house.door.peek(ask.token).name
    return ask.page("Locked", screens.unlock(ask.words, ask.csrf, name, ask.back, problem), status=status, locked=True)


def unlock(ask: Ask) -> Response:
    """Go on, with a fresh token."""
    try:
        token = ask.house.door.unlock(ask.token, ask.secret_text("password"), ask.text("code"))
    except SessionEnded:
        return _without_token(ask, ask.go("/records/sign-in"))
    except TooManyTries as error:
        return unlock_screen(ask, str(error), 429)
    except SignInFailed as error:
        return unlock_screen(ask, str(error), 401)
    return _with_token(ask, ask.go(ask.back), token)


def sign_out(ask: Ask) -> Response:
    """End the session and forget what was open."""
    try:
        ask.house.forget(ask.house.door.peek(ask.token).name)
    finally:
        ask.house.door.sign_out(ask.token)
    answer = _without_token(ask, ask.go("/records/sign-in"))
    answer.headers["clear-site-data"] = '"cache"'
    return answer


def me(ask: Ask, problem: str = "", status: int = 200) -> Response:
    """One's own account."""
    users = {u.name: u for u in ask.house.door.users.all()}
    mine, open_ones = users[ask.session.name], ask.house.door.sessions_of(ask.session.name)
    begun = ask.house.begun_factor(ask.token)
    uri = totp.uri(begun, mine.name) if begun else ""
    content = screens.account(ask.words, ask.csrf, mine, open_ones, begun, uri, problem)
    return ask.page("Your account", content, here="me", status=status)


def change_password(ask: Ask) -> Response:
    """Another password; all sessions end."""

    def act() -> Response:
        _same(ask)
        old, new = ask.secret_text("old"), ask.secret_text("password")
        name = ask.session.name
        ask.house.door.change_password(name, old, new, ask.text("code"), ask.source)
        ask.house.forget(name)
        return _without_token(ask, ask.go("/records/sign-in"))

    return _mine(ask, act)


def begin_factor(ask: Ask) -> Response:
    """Show the secret of a second factor; it counts once a code of it was given."""

    def act() -> Response:
        name = ask.session.name
        secret = ask.house.door.enrol(name, ask.secret_text("password"), ask.text("code"), ask.source)
        ask.house.begin_factor(ask.token, secret)
        return ask.go("/records/me#factor")

    return _mine(ask, act)


def confirm_factor(ask: Ask) -> Response:
    """A code of the new second factor; from now on it is asked for, and all sessions end."""

    def act() -> Response:
        begun = ask.house.begun_factor(ask.token)
        if not begun:
            raise BadEntry("begin with the second factor first")
        name = ask.session.name
        ask.house.door.users.confirm_second_factor(name, begun, ask.text("code"))
        ask.house.forget(name)
        return _without_token(ask, ask.go("/records/sign-in"))

    return _mine(ask, act)


def end_others(ask: Ask) -> Response:
    """End all of one's sessions, this one too: the way to be sure that none is left open elsewhere."""
    name = ask.session.name
    ask.house.door.end_sessions(name)
    ask.house.forget(name)
    return _without_token(ask, ask.go("/records/sign-in"))


def _mine(ask: Ask, act: Callable[[], Response]) -> Response:
    try:
        return act()
    except (BadEntry, SignInFailed, TooManyTries) as error:
        return me(ask, str(error), 429 if isinstance(error, TooManyTries) else 422)


def _before(ask: Ask, title: str, made: Callable[[str], Safe], status: int) -> Response:
    """A form before there is a session: bound to a cookie of its own."""
    secret = ask.request.cookies.get(ask.house.before, "") or secrets.token_urlsafe(32)
    answer = ask.page(title, made(csrf(secret)), status=status)
    _set(ask, answer, ask.house.before, secret)
    return answer


def _with_token(ask: Ask, answer: Response, token: str) -> Response:
    _set(ask, answer, ask.house.cookie, token)
    answer.delete_cookie(ask.house.before, path="/", secure=ask.house.secure, httponly=True, samesite="strict")
    return answer


def _without_token(ask: Ask, answer: Response) -> Response:
    answer.delete_cookie(ask.house.cookie, path="/", secure=ask.house.secure, httponly=True, samesite="strict")
    return answer


def _set(ask: Ask, answer: Response, name: str, value: str) -> None:
    answer.set_cookie(name, value, path="/", secure=ask.house.secure, httponly=True, samesite="strict")


def _has_first_key(ask: Ask, key: str) -> None:
    wanted = ask.house.first_key
    if not wanted or not compare_digest(wanted.encode(), key.encode()):
        raise NotFound("there is nobody to add here: sign in, or start the server anew")


def _same(ask: Ask) -> None:
    if ask.secret_text("password") != ask.secret_text("again"):
        raise BadEntry("the two passwords differ: type the same one twice")
