"""Shape on the page: the trade-off drawn and in a table, what each file of the sequence did, how long the finishing file lives."""

from canalwright.anatomy import Canal
from canalwright.instruments import iso3630
from canalwright.quantities import Quantity
from canalwright.readiness import TradeOff
from canalwright.report.ready_pictures import trade_off_svg
from canalwright.shaping import Pass
from canalwright.web.markup import ready
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words


def form(words: Words) -> Safe:
    """The form for one file of the sequence."""
    sizes = [(str(s), f"{s:02d}") for s in iso3630.SIZES]
    fields = (
        ready.choice("n-size", words("ISO size"), "size", sizes, "25"),
        ready.entry("n-taper", words("Its taper"), "taper", placeholder="0.04", needed=True),
        ready.entry("n-short", words("Short of the end, mm"), "short_mm", placeholder="0"),
    )
    return ready.adding("files_used", fields, words("Add"))


def rows(files: list[dict[str, object]], words: Words) -> list[str]:
    """Files as lines."""
    shown = []
    for row in files:
        short = float(str(row.get("short_mm") or 0))
        told = words(", {short} mm short of the end", short=f"{short:g}") if short else ""
        shown.append(f"{int(str(row['size'])):02d}/{row['taper']}{told}")
    return shown


def passes(found: tuple[Pass, ...], canal: Canal, words: Words) -> Safe:
    """What each noted file did."""
    if not found:
        return Safe("")
    lines = []
    for one in found:
        locks = words("may lock") if one.locks else ""
        share = ready.reckoned("of its length", 100 * one.share, 0, "%", words, key="pass.share")
        volume = ready.reckoned("dentine taken", one.volume, 2, "mm³", words, key="pass.volume")
        lines.append((one.file.name, _between(one, canal, words) if one.cuts.any() else "–", share, volume, locks))
    columns = [words(c) for c in ("file", "cuts at depth", "of its length", "dentine taken", "mind")]
    return ready.table(columns, lines, words("What each file of the sequence does in the native canal"))


def _between(one: Pass, canal: Canal, words: Words) -> Safe:
    """The depths between which a file cuts."""
    ends = (canal.depth(one.highest), canal.depth(one.lowest))
    top, deep = (ready.reckoned("cuts at depth", z, 1, "mm", words, key="pass.depth") for z in ends)
    return join(top, " – ", deep)


def trade_off(found: TradeOff, words: Words) -> Safe:
    """The curve, and its options in numbers."""
    shown = list(found.curve) if found.present in found.curve else [*found.curve, found.present]
    names = [o.file.name for o in shown]
    lines = [
        (
            o.file.name,
            _maybe("plugger short of the end", o.plugger_short, words),
            _maybe("needle short of the end", o.needle_short, words),
            ready.asked("least dentine", o.dentine, words),
            ready.answering("share of wall untouched", o.untouched, _share(o.untouched), words),
            ready.reckoned("uses left", o.life.left, 0, "", words, key="named.canals like this one")
            if o.life.left < 99
            else words("many"),
        )
        for o in shown
    ]
    columns = [
        words(c)
        for c in (
            "file",
            "plugger short of the end",
            "needle short of the end",
            "least dentine",
            "wall untouched",
            "uses left",
        )
    ]
    title = words("Files that no other beats in all of plugger reach, needle reach and dentine; yours is marked")
    return join(
        el("p", words("There is no best file: each step of reach costs dentine."), class_="quiet"),
        Safe(trade_off_svg(found, words)),
        ready.table(columns, lines, title, marked={names.index(found.present.file.name): "chosen"}),
        el("p", title, class_="quiet"),
    )


def _share(q: Quantity) -> tuple[str, str, str]:
    """Value and interval of a share, short enough for a table."""
    return f"{100 * q.value:.0f}", f"{100 * q.low:.0f}–{100 * q.high:.0f}", "%"


def _maybe(name: str, q: Quantity | None, words: Words) -> Safe:
    return Safe("–") if q is None else ready.asked(name, q, words)
