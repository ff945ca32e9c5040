"""A case with all that belongs to it as one archive, and back: the case, its sessions at the chair, cards and plans for reading."""

import json
from collections.abc import Iterable

from canalwright import __version__, casefile
from canalwright.casefile import Case, archive
from canalwright.planning import Plan, Story
from canalwright.report import card_pdf, plan_json, section_svg
from canalwright.web.chairbook import Chairbook, ChairbookError


def packed(case: Case, filled: Iterable[tuple[Plan, Story]], book: Chairbook) -> bytes:
    """The archive of a case; `filled` are the plans to put in for reading, with what would happen."""
    made: dict[str, bytes] = {}
    for plan, story in filled:
        name = "".join(c if c.isascii() and c.isalnum() else "-" for c in plan.canal.name)[:40]
        made[f"card-{name}.pdf"] = card_pdf(plan, story, label=case.label)
        made[f"plan-{name}.json"] = json.dumps(plan_json(plan), indent=2, allow_nan=False).encode()
        made[f"section-{name}.svg"] = section_svg(plan).encode()
    return archive.pack(archive.Work(case, dict(_sessions(case, book))), made, by=__version__)


def restored(data: bytes, name: str, book: Chairbook) -> tuple[Case, int]:
    """The case of an archive and how many sessions at the chair came back with it; those that are here already stay as they are.

    Raises CaseError; nothing is taken in then.
    """
    work = archive.unpack(data, name)
    try:
        came = sum(book.restore(ident, text) for ident, text in work.sessions.items())
    except ChairbookError as error:
        problem = casefile.Problem(f"{name}: {error}", "", "", "", "make the archive again where it came from")
        raise casefile.CaseError((problem,)) from None
    return work.case, came


def _sessions(case: Case, book: Chairbook) -> Iterable[tuple[str, str]]:
    for ident in book.listed():
        try:
            head, _ = book.read(ident)
            if casefile.loads(head.case, "session").digest == case.digest:
                yield ident, book.text(ident)
        except (ChairbookError, casefile.CaseError):
            continue
