"""The check from two scans: which they are, and what came out stretch by stretch."""

from collections.abc import Sequence

from canalwright.assessment import Assessment
from canalwright.quantities import Quantity
from canalwright.web.markup import check, ready
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words

BASES = (("cone-beam scan", "cone-beam scan"), ("micro-CT", "micro-CT"))


def form(words: Words, listed: Sequence[tuple[str, str]], *, paths: bool) -> Safe:
    """Choose both scans among the open ones `listed` (key, name), or name files of this machine."""
    options = [("", words("choose")), *listed]
    fields = []
    for name, title, path in (
        ("before", "Scan before the filling", "or its path"),
        ("after", "Scan after the filling", "or its path"),
    ):
        fields.append(ready.choice(f"cs-{name}", words(title), name, options))
        if paths:
            shown = f"{words(title)}, {words(path)}"
            field = el(
                "input", type="text", id=f"cs-{name}-path", name=f"{name}_path", autocomplete="off", spellcheck="false"
            )
            fields.append(el("div", el("label", shown, for_=f"cs-{name}-path"), field, class_="field"))
    fields.append(ready.choice("cs-basis", words("Kind of scan"), "basis", [(k, words(w)) for k, w in BASES]))
    fields.append(
        ready.choice("cs-band", words("The filling should end"), "band", [(k, words(w)) for k, w in check.BANDS])
    )
    return el(
        "form",
        el("div", *fields, class_="fields rd-fields"),
        el("button", words("Read both scans"), type="submit", class_="button main"),
        " ",
        el("a", words("Open a scan"), href="/scan", class_="button"),
        id="cs-form",
        novalidate=True,
    )  # fmt: skip


def stations(found: Assessment, words: Words) -> Safe:
    """Filled, void and unfilled by station, from the terminus up."""
    columns = [words(c) for c in ("from the terminus, mm", "filled", "void", "unfilled", "canal, mm3", "planned")]
    to = words(" to ")
    rows = [
        [
            f"{s.low:.1f}{to}{s.high:.1f}",
            ready.figure("filled", s.filled, 0, words, key="check.scan.filled"),
            _void(s.void, words),
            ready.figure("unfilled", s.unfilled, 0, words, key="check.scan.unfilled"),
            ""
            if s.volume is None
            else ready.figure("canal, mm3", s.volume, 3, words, key="check.scan.volume", headed=True),
            "" if s.planned is None else ready.figure("planned", s.planned, 0, words, key="check.planned.share"),
        ]
        for s in found.stations
    ]
    told = words(
        "A void too small for this scan is not seen and counts as filled here; the intervals hold room for it."
    )
    return join(ready.table(columns, rows, words("Filling by station"), grid=True), el("p", told, class_="quiet"))


def _void(q: Quantity, words: Words) -> Safe:
    """The share that is void; where it may as well be none it is not seen, which is not absent."""
    if q.low > 0:
        return ready.figure("void", q, 0, words, key="check.scan.void share")
    most = words("not seen, at most {share}", share=f"{100 * q.high:.0f} %")
    return ready.answering("void", q, (most, "", ""), words, key="check.scan.void share")


def segmented(key: str, index: int, words: Words, without: str) -> Safe:
    """To save the labels as DICOM, or why they cannot be."""
    if without:
        return el("p", words(without), class_="quiet", id="cs-without")
    address = f"/case/{key}/{index}/check.dcm"
    told = words(
        "It refers to the scan before the filling by that series' UIDs, and holds nothing else of its headers."
    )
    return join(
        el("a", words("Save the labels (DICOM segmentation)"), href=address, class_="button", download=True),
        el("p", told, class_="quiet"),
    )


def portals(found: Assessment, words: Words) -> Safe:
    """Side branches: what was planned, and what is seen of it."""
    if not found.portals:
        return el("p", words("No side branch was found in the scan before the filling."), class_="quiet")
    rows = [[words(p.name), f"{p.z:.1f}", check.branch(p, check.image(found), words)] for p in found.portals]
    return ready.table(
        [words(c) for c in ("branch", "from the terminus, mm", "filling in it")], rows, words("Side branches")
    )
