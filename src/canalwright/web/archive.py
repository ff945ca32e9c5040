"""A case with all that belongs to it as one archive, and back: case, sessions at the chair, radiographs; cards, plans, checks to read."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from canalwright import __version__, casefile
from canalwright.casefile import Case, archive
from canalwright.imaging.errors import ScanError
from canalwright.planning import Plan, Story
from canalwright.report import card_pdf, plan_json, section_svg
from canalwright.report.card import ENGLISH, Tongue
from canalwright.web import filmkeep
from canalwright.web.chairbook import Chairbook, ChairbookError
from canalwright.web.checks import Check
from canalwright.web.radiographs import Open


@dataclass(frozen=True)
class Back:
    """What came out of an archive: the case, how many sessions at the chair came with it, and its radiographs, the last used at the end."""

    case: Case
    sessions: int
    films: tuple[filmkeep.Kept, ...] = ()


def packed(
    case: Case,
    filled: Iterable[tuple[Plan, Story]],
    book: Chairbook,
    films: Iterable[tuple[str, Open]] = (),
    checks: Iterable[Check] = (),
    tongue: Tongue = ENGLISH,
) -> bytes:
    """The archive of a case; `filled` are the plans to put in for reading, with what would happen, `films` its radiographs by key,
    `checks` those of its fillings: their numbers, and the labels of two scans (NRRD, and DICOM where those were), without what a file
    said of the patient; `tongue`: the language of the cards.

    Raises CaseError for more than an archive may hold.
    """
    made: dict[str, bytes] = {}
    for plan, story in filled:
        name = _plain(plan.canal.name)
        made[f"card-{name}.pdf"] = card_pdf(plan, story, label=case.label, tongue=tongue)
        made[f"plan-{name}.json"] = json.dumps(plan_json(plan), indent=2, allow_nan=False).encode()
        made[f"section-{name}.svg"] = section_svg(plan).encode()
    for check in checks:
        name = f"check-{_plain(check.assessment.canal)}"
        made[f"{name}.json"] = json.dumps(check.payload(), indent=2, allow_nan=False).encode()
        if check.labels is not None:
            made[f"{name}-labels.nrrd"] = check.labels
        if check.segmentation is not None:
            made[f"{name}-labels.dcm"] = check.segmentation
    return archive.pack(
        archive.Work(case, dict(_sessions(case, book)), {k: filmkeep.packed(f) for k, f in films}), made, by=__version__
    )


def restored(data: bytes, name: str, book: Chairbook) -> Back:
    """The case of an archive with what came back with it; sessions at the chair that are here already stay as they are.

    Raises CaseError; nothing is taken in then.
    """
    work = archive.unpack(data, name)
    films = tuple(_films(work.films, name))
    try:
        came = sum(book.restore(ident, text) for ident, text in work.sessions.items())
    except ChairbookError as error:
        problem = casefile.Problem(f"{name}: {error}", "", "", "", "make the archive again where it came from")
        raise casefile.CaseError((problem,)) from None
    return Back(work.case, came, films)


def _plain(name: str) -> str:
    """A name that is safe on any disk."""
    return "".join(c if c.isascii() and c.isalnum() else "-" for c in name)[:40]


def _films(films: Mapping[str, tuple[bytes, bytes]], name: str) -> Iterable[filmkeep.Kept]:
    for number, (picture, told) in enumerate(films.values(), 1):
        try:
            yield filmkeep.unpacked(picture, told, f"radiograph {number}")
        except ScanError as error:
            problem = casefile.Problem(f"{name}: {error}", "", "", "", "make the archive again where it came from")
            raise casefile.CaseError((problem,)) from None


def _sessions(case: Case, book: Chairbook) -> Iterable[tuple[str, str]]:
    for ident in book.listed():
        try:
            head, _ = book.read(ident)
            if casefile.loads(head.case, "session").digest == case.digest:
                yield ident, book.text(ident)
        except (ChairbookError, casefile.CaseError):
            continue
