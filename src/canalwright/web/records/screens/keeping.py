"""Backups, the access log, the users."""

from collections.abc import Sequence

from canalwright.records.accounts import Role, User
from canalwright.records.accounts.access import Access
from canalwright.records.backup import Backup
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.records.screens.page import button, choice, field, form, table, told
from canalwright.web.words import Words


def keeping(words: Words, token: str, backups: Sequence[Backup], log: Sequence[Access], said: str) -> Safe:
    """Backups first, then who looked at what."""
    rows = [(b.path.name, f"{b.made:%Y-%m-%d %H:%M}", str(b.head.seq), b.label) for b in reversed(backups)]
    head = [words(h) for h in ("Backup file", "Made, UTC", "Events", "For")]
    ways = el(
        "div",
        form("/records/keeping/back-up", token, button(words("Back up now"))),
        form("/records/keeping/verify", token, button(words("Check everything"), main=False)),
        class_="actions",
    )
    lines = [(f"{a.time:%Y-%m-%d %H:%M:%S}", a.author, words(a.act), a.patient, a.case, a.detail) for a in log]
    top = [words(h) for h in ("UTC", "Who", "What", "Patient", "Case", "Detail")]
    logged = el(
        "section",
        el("h2", words("Access log")),
        table(top, lines, words("The newest lines of the access log")),
        class_="part",
    )
    return join(
        el("h1", words("Keeping")),
        el("p", said, role="status", class_="said") if said else "",
        ways,
        el(
            "p",
            words("Copy the backups to another disk: encrypted, and opened by the passphrase of their time."),
            class_="quiet",
        ),
        table(head, rows, words("Backups, the newest first")) if rows else el("p", words("None yet."), class_="quiet"),
        logged if log else "",
    )


def users(words: Words, token: str, found: Sequence[User], said: str, problem: str) -> Safe:
    """Who there is, and one more."""
    roles = [(r.value, words(r.value)) for r in Role]
    rows = [
        (
            u.name,
            words(u.role.value),
            words("yes") if u.second_factor else words("no"),
            words("shut out") if u.disabled else "",
            _acts(words, token, u, roles),
        )
        for u in found
    ]
    head = [words(h) for h in ("Name", "Role", "Second factor", "State", "Change")]
    add = el(
        "div",
        field(words("Name"), "name", required=True, autocapitalize="none", spellcheck="false", autocomplete="off"),
        choice(words("Role"), "role", roles, "student"),
        class_="fields",
    )
    return join(
        el("h1", words("Users")),
        told(words(problem)),
        el("p", said, role="status", class_="said") if said else "",
        table(head, rows, words("Users, by name")),
        el(
            "section",
            el("h2", words("Add a user")),
            form("/records/users", token, add, button(words("Add")), kind="stack wide"),
            class_="part",
        ),
    )


def _acts(words: Words, token: str, user: User, roles: Sequence[tuple[str, str]]) -> Safe:
    options = [el("option", shown, value=value, selected=value == user.role.value) for value, shown in roles]
    chosen = el("select", *options, name="role", aria_label=words("Role of {name}", name=user.name))
    acts = [("role", words("Give this role")), ("shut out", words("Shut out")), ("reset", words("Reset the password"))]
    inside = [el("button", shown, type="submit", name="act", value=value, class_="button") for value, shown in acts]
    return form(f"/records/users/{user.name}", token, chosen, *inside, kind="inline")
