"""Forms of the door."""

from collections.abc import Sequence

from canalwright.records.accounts import Session, User
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.records.screens.page import button, field, form, told
from canalwright.web.words import Words

LEAST = "At least 12 characters; several words in a row are easy to keep in mind."


def sign_in(words: Words, token: str, back: str, problem: str) -> Safe:
    """Name, password, code."""
    inside = (
        told(words(problem)),
        el("input", type="hidden", name="back", value=back),
        field(words("Name"), "name", autocomplete="username", required=True, autocapitalize="none", spellcheck="false"),
        field(words("Password"), "password", kind="password", autocomplete="current-password", required=True),
        _code(words),
        button(words("Sign in")),
    )
    return _narrow(words("Sign in"), form("/records/sign-in", token, *inside, kind="stack"))


def first(words: Words, token: str, key: str, problem: str) -> Safe:
    """The first user."""
    inside = (
        el(
            "p",
            words("These records have no user yet. The first one is a clinician, and can add others."),
            class_="quiet",
        ),
        told(words(problem)),
        el("input", type="hidden", name="key", value=key),
        field(words("Name"), "name", autocomplete="username", required=True, autocapitalize="none", spellcheck="false"),
        *_new(words),
        button(words("Add the first user")),
    )
    return _narrow(words("First user"), form("/records/first", token, *inside, kind="stack"))


def choose(words: Words, token: str, problem: str) -> Safe:
    """A password of one's own in place of a given one."""
    inside = (
        el("p", words("Your password was given to you. Choose one that only you know."), class_="quiet"),
        told(words(problem)),
        field(words("Name"), "name", autocomplete="username", required=True, autocapitalize="none", spellcheck="false"),
        field(words("Given password"), "old", kind="password", autocomplete="current-password", required=True),
        *_new(words),
        button(words("Keep this password")),
    )
    return _narrow(words("A password of your own"), form("/records/choose", token, *inside, kind="stack"))


def unlock(words: Words, token: str, name: str, back: str, problem: str) -> Safe:
    """The password again."""
    inside = (
        el("p", words("Locked after a pause. Signed in as {name}.", name=name), class_="quiet"),
        told(words(problem)),
        el("input", type="hidden", name="back", value=back),
        field(words("Password"), "password", kind="password", autocomplete="current-password", required=True),
        _code(words),
        button(words("Go on")),
    )
    out = form("/records/sign-out", token, button(words("Sign out"), main=False))
    return _narrow(words("Locked"), join(form("/records/unlock", token, *inside, kind="stack"), out))


def account(
    words: Words, token: str, user: User, sessions: Sequence[Session], begun: str, uri: str, problem: str
) -> Safe:
    """Password, second factor, sessions."""
    password = (
        field(words("Present password"), "old", kind="password", autocomplete="current-password", required=True),
        *_new(words),
        _code(words, "password-code") if user.second_factor else "",
        button(words("Change the password")),
    )
    listed = el(
        "ul", *(el("li", f"{s.created:%Y-%m-%d %H:%M} UTC, {s.source or words('this machine')}") for s in sessions)
    )
    return join(
        el("h1", words("Your account")),
        el("p", f"{user.name}, {words(user.role.value)}", class_="quiet"),
        told(words(problem)),
        _part(words("Password"), form("/records/me/password", token, *password, kind="stack")),
        _part(words("Second factor"), _factor(words, token, user, begun, uri), ident="factor"),
        _part(
            words("Sessions"),
            listed,
            form("/records/me/others", token, button(words("End all sessions, this one too"), main=False)),
        ),
    )


def _factor(words: Words, token: str, user: User, begun: str, uri: str) -> Safe:
    if begun:
        spaced = " ".join(begun[i : i + 4] for i in range(0, len(begun), 4))
        return join(
            el("p", words("Type this secret into your authenticator (by time, 6 digits, 30 s), then give its code.")),
            el("p", el("code", spaced), class_="secret"),
            el("p", el("a", words("Or open it on this device"), href=uri)),
            form(
                "/records/me/factor/confirm",
                token,
                field(words("Code"), "code", inputmode="numeric", autocomplete="one-time-code", required=True),
                button(words("Ask for codes from now on")),
                kind="stack",
            ),
        )
    state = words("A code is asked for at each sign-in.") if user.second_factor else words("No second factor yet.")
    inside = (
        el("p", state, class_="quiet"),
        _unique(words("Password"), "factor-password", "password"),
        _code(words, "factor-code") if user.second_factor else "",
        button(words("Begin with a new second factor"), main=False),
    )
    return form("/records/me/factor", token, *inside, kind="stack")


def _unique(title: str, ident: str, name: str) -> Safe:
    made = el("input", type="password", id=ident, name=name, autocomplete="current-password", required=True)
    return el("div", el("label", title, for_=ident), made, class_="field")


def _code(words: Words, ident: str = "f-code") -> Safe:
    made = el(
        "input", id=ident, name="code", inputmode="numeric", autocomplete="one-time-code", aria_describedby=f"{ident}-h"
    )
    hint = el("span", words("Only where you have set up a second factor."), id=f"{ident}-h", class_="usual")
    return el("div", el("label", words("Code"), for_=ident), made, hint, class_="field")


def _new(words: Words) -> tuple[Safe, Safe]:
    return (
        field(
            words("New password"),
            "password",
            kind="password",
            hint=words(LEAST),
            autocomplete="new-password",
            required=True,
        ),
        field(words("New password again"), "again", kind="password", autocomplete="new-password", required=True),
    )


def _narrow(title: str, inside: Safe) -> Safe:
    return el("div", el("h1", title), inside, class_="door")


def _part(title: str, *inside: Safe, ident: str = "") -> Safe:
    return el("section", el("h2", title), *inside, class_="part", id=ident or None)
