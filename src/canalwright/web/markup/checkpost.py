"""Post and ferrule on the check page: what was measured of the crown, and what the root allows."""

from collections.abc import Mapping

from canalwright.assessment.restoration import Post, Restoration
from canalwright.quantities import Quantity
from canalwright.web.markup import ready
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words

FIELDS = (
    ("ferrule", "Height of the ferrule, mm"),
    ("thickness", "Thickness of the ferrule, mm"),
    ("crown", "Height of the crown, mm"),
)


def form(words: Words, given: Mapping[str, str] | None = None) -> Safe:
    """What the restoration depends on; `given` is what stands in the fields, by name."""
    fields = [
        ready.entry(f"ck-{name}", words(title), name, value=(given or {}).get(name, "")) for name, title in FIELDS
    ]
    return join(
        el("div", *fields, class_="fields rd-fields", id="ck-restore"),
        el("p", id="e-restore", class_="wrong", role="alert"),
    )


def told(found: Restoration, words: Words) -> Safe:
    """The post that the root allows, rule by rule."""
    parts = []
    if found.best is None:
        parts.append(el("p", words("no post"), class_="rd-note look", data_post=""))
    else:
        p = found.best
        parts.append(
            el(
                "p",
                words("A post of {diameter} mm.", diameter=f"{p.diameter:.1f}"),
                class_="lead",
                data_post=f"{p.diameter:g}",
            )
        )
        parts.append(ready.numbers([("post down to, from the reference point", p.depth), *lengths(p)], words))
    signs = {True: ("ready", "✓"), False: ("not-ready", "×"), None: ("look", "?")}
    items = []
    for rule in found.told:
        kind, sign = signs[rule.holds]
        inside = el("div", el("b", words(rule.rule)), el("p", words(rule.words)))
        items.append(el("li", el("span", sign, class_="ck-sign", aria_hidden="true"), inside, class_=f"rd-item {kind}"))
    parts.append(el("ul", *items, class_="rd-items"))
    columns = [words(c) for c in ("diameter, mm", "length, mm", "filling left, mm", "ends for")]
    rows = [
        [
            f"{p.diameter:.1f}",
            *(ready.figure(name, q, 1, words, key=f"named.{name}", headed=True) for name, q in lengths(p)),
            words(p.stopped),
        ]
        for p in found.posts
    ]
    parts.append(ready.table(columns, rows, words("Posts by diameter")))
    left_out = words("Left out: {what}", what="; ".join(words(w) for w in found.leaves_out))
    parts.append(el("p", left_out, class_="quiet"))
    return join(*parts)


def lengths(p: Post) -> tuple[tuple[str, Quantity], ...]:
    """How long a post is in the canal, and how much filling it leaves."""
    return ("length in the canal", p.length), ("filling left below it", p.left)
