"""What came of a filling: the grade with its reasons, the numbers, what is not seen, and how it stands to the plan."""

from canalwright.assessment import Assessment, Criterion, PortalSeen, Sight
from canalwright.planning import Choices
from canalwright.quantities import Quantity
from canalwright.report.checking import length_words, percent
from canalwright.web.choosing import to_query
from canalwright.web.markup import ready
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
            words("chance that all criteria are met {chance}", chance=_share(found.grade.chance, words)),
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
            el("p", words("chance {chance}", chance=_share(c.chance, words)), class_="rd-state"),
            el("p", c.source, class_="quiet"),
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
    rows = []
    if found.taper is not None:
        taper = (
            f"{100 * found.taper.value:.1f} % ({100 * found.taper.low:.1f}{words(' to ')}{100 * found.taper.high:.1f})"
        )
        rows.append((words("taper"), taper))
    if found.void_share is not None:
        rows.append((words("voids, share of the filling"), _share(found.void_share, words, 1)))
    smallest = found.smallest_void
    rows.append(
        (
            words("smallest void that would be seen"),
            f"{smallest.value:.2f} mm ({smallest.low:.2f}{words(' to ')}{smallest.high:.2f})",
        )
    )
    past = found.beyond
    if past.sight is Sight.THERE and past.reach is not None:
        said = f"{past.reach.value:.1f} mm ({past.reach.low:.1f}{words(' to ')}{past.reach.high:.1f})"
    else:
        said = words(past.sight.value)
    rows.append((words("filling past the root"), said))
    rows += [(words(p.name) + f", {p.z:.1f} mm", _portal(p, words)) for p in found.portals]
    parts.append(el("dl", *(join(el("dt", a), el("dd", b)) for a, b in rows), class_="rd-numbers ck-rows"))
    if found.voids:
        columns = [words("from the terminus, mm"), words("size, mm"), words("volume, mm3")]
        cells = [
            [
                f"{v.z:.1f}",
                f"{v.size.value:.2f} ({v.size.low:.2f}{words(' to ')}{v.size.high:.2f})",
                f"{v.volume.value:.3f} ({v.volume.low:.3f}{words(' to ')}{v.volume.high:.3f})",
            ]
            for v in found.voids
        ]
        parts.append(ready.table(columns, cells, words("Voids seen")))
    return join(*parts)


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
        rows.append(
            [
                words(r.words),
                _shown(r.planned, words),
                "" if r.done is None else f"{r.done:.1f}",
                words("not seen") if r.came is None else _shown(r.came, words),
                "" if r.gap is None else _shown(r.gap, words),
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


def _portal(p: PortalSeen, words: Words) -> str:
    return _mm(p.filled, words) if p.sight is Sight.THERE and p.filled is not None else words(p.sight.value)


def _shown(q: Quantity, words: Words) -> str:
    return _share(q, words, 1) if q.unit == "" else _mm(q, words)


def _mm(q: Quantity, words: Words) -> str:
    return f"{q.value:.1f} ({q.low:.1f}{words(' to ')}{q.high:.1f}) mm"


def _share(q: Quantity, words: Words, digits: int = 0) -> str:
    return percent(q, digits).replace(" to ", words(" to "))
