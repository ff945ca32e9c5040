"""The measurement form: a handful of fields asked for, the rest offered."""

from collections.abc import Mapping

from canalwright.anatomy import Tooth, averages
from canalwright.anatomy.centreline import DIRECTIONS
from canalwright.instruments import iso3630
from canalwright.web.draft import BY_KEY, FIELDS, MISSING, Draft, Field
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.prefs import Prefs
from canalwright.web.words import Words

ELSEWHERE = "The section appears when what is listed below is put right."
LEVELS = "Level: mm above the end of the canal (terminus), along the canal. Depth: mm below the reference point, such as a cusp tip."
TEETH = tuple(10 * quadrant + position for quadrant in (1, 2, 4, 3) for position in range(1, 9))


def form(draft: Draft, index: int, prefs: Prefs) -> Safe:
    """The whole form for one canal of a draft."""
    words, tooth = prefs.words, _tooth(draft)
    groups = [
        el(
            "section",
            el("h2", words(title) if title else words("Asked for")),
            el("p", words(LEVELS), class_="usual") if any("level" in f.title.lower() for f in fields) else Safe(""),
            el("div", *(_field(draft, index, f, tooth, prefs) for f in fields), class_="fields"),
            class_="part",
        )
        for title, fields in FIELDS.items()
    ]
    return join(_case(draft, prefs), _canals(draft, index, prefs), *groups)


def missing(wrong: Mapping[str, str], words: Words) -> Safe:
    """In the place of the section: which fields of this canal still keep it away, each one click from its field."""
    listed = []
    for key in (key for key in BY_KEY if key in wrong):
        empty, field = wrong[key] == words(MISSING), words(BY_KEY[key].title)
        link = el("a", words("Fill in: {field}" if empty else "Put right: {field}", field=field), href=f"#f-{key}")
        listed.append(el("li", link, "" if empty else f" ({wrong[key]})"))
    told = words("The section appears when these are filled in or put right:") if listed else words(ELSEWHERE)
    return el("div", el("div", el("p", told), el("ul", *listed) if listed else Safe("")), class_="waiting")


def _tooth(draft: Draft) -> Tooth:
    table = draft.table["tooth"]
    number = int(table["number"])
    return Tooth.from_universal(number) if table.get("notation") == "universal" else Tooth(number)


def _case(draft: Draft, prefs: Prefs) -> Safe:
    words, chosen = prefs.words, _tooth(draft)
    teeth = []
    for code in TEETH:
        tooth = Tooth(code)
        shown = f"{prefs.tooth(tooth)} {words(tooth.kind)}, {words(tooth.side)}"
        teeth.append(el("option", shown, value=code, selected=tooth == chosen))
    return el(
        "div",
        el(
            "div",
            el("label", words("Tooth"), for_="f-tooth"),
            el("select", *teeth, id="f-tooth", data_form="tooth"),
            class_="field",
        ),
        el(
            "div",
            el("label", words("Label, a pseudonym"), for_="f-label"),
            el(
                "input",
                type="text",
                id="f-label",
                value=draft.table["case"].get("label", ""),
                maxlength=80,
                data_form="label",
                autocomplete="off",
            ),
            el("span", words("No name and no birth date."), class_="usual"),
            class_="field",
        ),
        class_="fields",
    )


def _canals(draft: Draft, index: int, prefs: Prefs) -> Safe:
    words = prefs.words
    chosen = [
        el(
            "button",
            words(str(c.get("name", ""))) or str(i + 1),
            type="button",
            class_="tab",
            data_form="canal",
            data_value=i,
            aria_current="true" if i == index else None,
        )
        for i, c in enumerate(draft.canals)
    ]
    more = (
        el("button", words("Add a canal"), type="button", class_="button", data_form="add")
        if len(chosen) < 8
        else Safe("")
    )
    less = (
        el("button", words("Remove this canal"), type="button", class_="button", data_form="remove")
        if len(chosen) > 1
        else Safe("")
    )
    return el(
        "div", el("div", *chosen, class_="tabs", role="group", aria_label=words("Canals")), more, less, class_="actions"
    )


def _field(draft: Draft, index: int, place: Field, tooth: Tooth, prefs: Prefs) -> Safe:
    words, ident, text = prefs.words, f"f-{place.key}", draft.text(index, place.key)
    title = words(place.title) + (f", {words(place.unit)}" if place.unit else "")
    need = el("span", " *", class_="need", aria_hidden="true") if place.needed else Safe("")
    parts = [el("label", title, need, for_=ident), _entry(place, ident, text, tooth, prefs)]
    if place.quantity:
        parts.append(_method(draft, index, place, prefs))
    parts += [el("span", id=f"u-{place.key}", class_="usual"), el("span", id=f"w-{place.key}", class_="wrong")]
    return el("div", *parts, class_="field", data_field=place.key)


def _entry(place: Field, ident: str, text: str, tooth: Tooth, prefs: Prefs) -> Safe:
    words, about = prefs.words, f"u-{place.key} w-{place.key}"

    def select(options: list[tuple[str, str]]) -> Safe:
        shown = [el("option", words(said), value=value, selected=value == text) for value, said in options]
        return el(
            "select",
            *shown,
            id=ident,
            data_field_key=place.key,
            aria_describedby=about,
            aria_required="true" if place.needed else None,
        )

    if place.kind == "size":
        return select([("", "–"), *((str(s), f"{s:02d} {words(iso3630.colour(s))}") for s in iso3630.SIZES)])
    if place.kind == "towards":
        return select([("", "–"), *((d, d) for d in DIRECTIONS)])
    if place.kind == "yes":
        return select([("", "no"), ("yes", "yes")])
    entry = el(
        "input",
        type="text",
        id=ident,
        value=text,
        data_field_key=place.key,
        inputmode="decimal" if place.kind in ("number", "taper") else None,
        list=f"l-{place.key}" if place.kind == "name" else None,
        autocomplete="off",
        maxlength=400,
        aria_describedby=about,
        aria_required="true" if place.needed else None,
    )
    if place.kind != "name":
        return entry
    known = averages.tooth_averages(tooth)
    return join(
        entry, el("datalist", *(el("option", value=n) for n in (*known.usual, *known.possible)), id=f"l-{place.key}")
    )


def _method(draft: Draft, index: int, place: Field, prefs: Prefs) -> Safe:
    words, chosen = prefs.words, draft.method(index, place.key)
    options = [el("option", words("how it was found"), value="")]
    options += [el("option", words(m), value=m, selected=m == chosen) for m in averages.methods(place.quantity)]
    label = words("{field}: how it was found", field=words(place.title))
    return el("select", *options, data_method_key=place.key, aria_label=label)
