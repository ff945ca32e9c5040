"""What came of a filling: the grade with its reasons, the numbers, what is not seen, and how it stands to the plan."""

from canalwright.assessment import Assessment, Criterion, PortalSeen, Sight
from canalwright.planning import Choices
from canalwright.quantities import Quantity
from canalwright.report.checking import length_words
from canalwright.web.choosing import to_query
from canalwright.web.markup import ready
from canalwright.web.markup.debrief import NOTED
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words

KIND = {True: "ready", False: "not-ready", None: "look"}
SIGN = {True: "✓", False: "×", None: "?"}
BANDS = (("two", "0 to 2 mm short of the terminus"), ("guideline", "0.5 to 2 mm short of the terminus"))


def grade(found: Assessment, words: Words) -> Safe:
    """The grade, and each criterion with its chance."""
    kind = {"adequate": True, "inadequate": False}.get(found.grade.word)
    head = el(
        "p",
        el("span", SIGN[kind], class_="ck-sign", aria_hidden="true"),
        el("b", words(found.grade.word)),
        el(
            "span",
            words("chance that all criteria are met"),
            " ",
            ready.figure("chance that all criteria are met", found.grade.chance, 0, words, key="check.chance.all"),
            class_="quiet",
        ),
        class_=f"rd-verdict {KIND[kind]}",
        data_grade=found.grade.word,
    )
    return join(head, el("ul", *(_criterion(c, words) for c in found.grade.criteria), class_="rd-items"))


def _criterion(c: Criterion, words: Words) -> Safe:
    return el(
        "li",
        el("span", SIGN[c.met], class_="ck-sign", aria_hidden="true"),
        el(
            "div",
            el("b", words(c.name)),
            el("p", words(c.limit)),
            el(
                "p",
                words("chance"),
                " ",
                ready.figure(f"chance of {c.name}", c.chance, 0, words, key=f"check.chance.{c.name}"),
                class_="rd-state",
            ),
            el("p", words(c.source), class_="quiet"),
        ),
        class_=f"rd-item {KIND[c.met]}",
        data_criterion=c.name,
    )


def numbers(found: Assessment, words: Words) -> Safe:
    """Length, taper, voids and what lies beyond."""
    told = [("length to the terminus", found.to_terminus), ("length filled", found.length_filled)]
    parts = [
        el("p", words("The filling ends {where}.", where=_where(found, words)), class_="lead", id="ck-length"),
        ready.numbers(told, words),
    ]
    kind = image(found)
    rows: list[tuple[str, Safe | str]] = []
    if found.taper is not None:
        rows.append((words("taper"), ready.figure("taper", found.taper, 1, words, key=f"check.{kind}.taper")))
    if found.void_share is not None:
        name = "voids, share of the filling"
        rows.append((words(name), ready.figure(name, found.void_share, 1, words, key=f"check.{kind}.voids")))
    name = "smallest void that would be seen"
    rows.append((words(name), ready.figure(name, found.smallest_void, 2, words, key=f"check.{kind}.smallest")))
    past, name = found.beyond, "filling past the root"
    rows.append((words(name), _seen(name, past.sight, past.reach, f"check.{kind}.beyond", words)))
    rows += [(words(p.name) + f", {p.z:.1f} mm", branch(p, kind, words)) for p in found.portals]
    parts.append(el("dl", *(join(el("dt", a), el("dd", b)) for a, b in rows), class_="rd-numbers ck-rows"))
    if found.voids:
        columns = [words("from the terminus, mm"), words("size, mm"), words("volume, mm3")]
        cells = [
            [
                f"{v.z:.1f}",
                ready.figure("size of the void", v.size, 2, words, key=f"check.{kind}.void", headed=True),
                ready.figure("volume of the void", v.volume, 3, words, key=f"check.{kind}.void", headed=True),
            ]
            for v in found.voids
        ]
        parts.append(ready.table(columns, cells, words("Voids seen")))
    return join(*parts)


def image(found: Assessment) -> str:
    """What a check was read from, as the formulas of its numbers call it: film or scan."""
    return "film" if found.basis == "radiograph" else "scan"


def branch(p: PortalSeen, kind: str, words: Words) -> Safe | str:
    """How far filling is seen in a side branch, or that it is not."""
    return _seen("filling in a side branch", p.sight, p.filled, f"check.{kind}.branch", words)


def _seen(name: str, sight: Sight, q: Quantity | None, key: str, words: Words) -> Safe | str:
    there = sight is Sight.THERE and q is not None
    return ready.figure(name, q, 1, words, key=key) if there and q is not None else words(sight.value)


def unseen(found: Assessment, words: Words) -> Safe:
    """What this image does not show, and the doubts."""
    items = [el("li", words(what)) for what in found.not_seen]
    parts = [
        el("h3", words("Not seen, which is not the same as absent")),
        el("ul", *items, class_="rg-missing", data_unseen=True),
    ]
    if found.notes:
        parts.append(el("ul", *(el("li", words(note)) for note in found.notes), class_="rd-note look"))
    return join(*parts)


def against(found: Assessment, words: Words) -> Safe:
    """Planned, done, came out."""
    if not found.residuals:
        return el("p", words("The plan is being made."), class_="quiet")
    columns = [words(c) for c in ("what", "planned", "done", "came out", "gap")]
    rows = []
    for r in found.residuals:
        came: Safe | str = words("not seen")
        if r.came is not None:
            came = _told(r.words, r.came, f"check.{image(found)}.{r.key.partition(' ')[0]}", words)
        noted = None if r.done is None else Quantity.exact(r.done, "mm", NOTED)
        rows.append(
            [
                words(r.words),
                _told(r.words, r.planned, f"check.planned.{r.key.partition(' ')[0]}", words),
                "" if noted is None else ready.figure(r.words, noted, 1, words, key="check.done"),
                came,
                "" if r.gap is None else _told(r.words, r.gap, "check.gap", words),
            ]
        )
    return ready.table(columns, rows, words("Planned, done, came out"))


def ways(key: str, index: int, choices: Choices, words: Words, *, kept: bool, labels: bool = False) -> Safe:
    """To save a check, with the `labels` of two scans, and where there are records (`kept`) to keep it."""
    query = to_query(choices)
    saved = el("a", words("Save this check"), href=f"/case/{key}/{index}/check.json", class_="button", download=True)
    if labels:
        mask = el(
            "a", words("Save the labels (NRRD)"), href=f"/case/{key}/{index}/check.nrrd", class_="button", download=True
        )
        saved = join(saved, mask)
    if not kept:
        return saved
    address = f"/records/keep-check/{key}/{index}" + (f"?{query}" if query else "")
    return join(el("a", words("Keep in the records"), href=address, class_="button main"), saved)


def _where(found: Assessment, words: Words) -> str:
    return words(length_words(found.to_terminus))


def _told(name: str, q: Quantity, key: str, words: Words) -> Safe:
    return ready.figure(name, q, 1, words, key=key)
