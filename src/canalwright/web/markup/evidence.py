"""The evidence as the page shows it: how many rows, misses first, then every row by room, each with its source."""

import json
from collections import Counter
from functools import cache
from importlib.resources import files

from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words

Row = dict[str, str]
COLUMNS = ("What", "Ours", "Theirs", "Tolerance, and why", "Source (how seen)", "Verdict")


@cache
def rows() -> tuple[Row, ...]:
    """Every row, built from the tests of this version."""
    return tuple(json.loads(files("canalwright.web").joinpath("evidence.json").read_text(encoding="utf-8")))


def evidence(words: Words) -> Safe:
    """The whole page. The rows are in English, as their sources are."""
    found = rows()
    misses = [row for row in found if row["miss"]]
    rooms = Counter(row["room"] for row in found)
    told = words(
        "{rows} rows compare what this program computes with published figures, standards, closed forms and general-purpose libraries; "
        "{misses} of them miss, and stay here with the reason.",
        rows=len(found),
        misses=len(misses),
    )
    memory = words("“from memory” means that nobody could open the source: look it up before you lean on it.")
    return join(
        el("h1", words("Evidence")),
        el("p", told, class_="lead"),
        el("p", memory, class_="quiet"),
        _filter(words),
        el("h2", words("Where we miss"), id="misses"),
        _table(misses, words, "misses"),
        *(
            el(
                "details",
                el("summary", room, " ", el("span", str(n), class_="pill")),
                _room(found, room, words),
                class_="part",
            )
            for room, n in rooms.items()
        ),
    )


def _filter(words: Words) -> Safe:
    return el(
        "p",
        el("label", words("Find in the evidence"), for_="find"),
        " ",
        el("input", type="search", id="find", autocomplete="off"),
        " ",
        el("span", "", id="found", role="status", class_="quiet", data_words=words("{n} rows")),
    )


def _room(found: tuple[Row, ...], room: str, words: Words) -> Safe:
    return _table([row for row in found if row["room"] == room], words, f"r-{room.replace(' ', '-')}")


def _table(found: list[Row], words: Words, name: str) -> Safe:
    head = el("tr", *(el("th", words(c), scope="col") for c in COLUMNS))
    body = [
        el(
            "tr",
            el(
                "th",
                row["name"],
                el("span", row["conditions"], class_="quiet block") if row["conditions"] else "",
                scope="row",
            ),
            el("td", row["ours"]),
            el("td", row["theirs"]),
            el("td", row["tolerance"]),
            el("td", f"{row['source']} ({row['seen']})"),
            el("td", _verdict(row, words)),
            data_row=True,
        )
        for row in found
    ]
    table = el("table", el("thead", head), el("tbody", *body, lang="en"), class_="evidence", id=name)
    return el("div", table, class_="wide", tabindex="0", role="region", aria_label=words("Evidence"))


def _verdict(row: Row, words: Words) -> Safe | str:
    if row["miss"]:
        return join(el("b", words("miss")), ": ", el("span", row["miss"], lang="en"))
    return words("set from it") if row["role"] == "calibration" else words("agrees")
