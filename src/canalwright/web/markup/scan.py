"""The page of a scan: slices, straightened canal, three dimensions, canals and what is done with them; and where a scan is opened."""

import json
from typing import Any

from canalwright.anatomy import Tooth
from canalwright.instruments import iso3630
from canalwright.web.markup.form import TEETH
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.markup.where import live
from canalwright.web.prefs import Prefs
from canalwright.web.words import Words

LOOKING = ("look", "window", "move", "length", "angle")
TRACING = ("tooth", "points", "canal", "branch", "wall", "reference")
ICONS = {
    "look": "M12 2v7M12 15v7M2 12h7M15 12h7",
    "window": "M12 3a9 9 0 1 0 .01 0zM12 3v18M15 5v14M18 7.5v9",
    "move": "M12 2v20M2 12h20M9 5l3-3 3 3M9 19l3 3 3-3M5 9l-3 3 3 3M19 9l3 3-3 3",
    "length": "M3 18 18 3M3 18l.5-4M3 18l4-.5M18 3l-.5 4M18 3l-4 .5",
    "angle": "M4 20 18 4M4 20h17M11 12a10 10 0 0 1 4 8",
    "tooth": "M6 3q6 3 12 0 3 4-1 9l-2 9-3-7-3 7-2-9Q3 7 6 3z",
    "points": "M7 3q7 8 4 18M7 3m-2 0a2 2 0 1 0 4 0 2 2 0 1 0-4 0M11.5 12m-2 0a2 2 0 1 0 4 0 2 2 0 1 0-4 0",
    "canal": "M8 3q6 8 3 18M16 8v8M12 12h8",
    "branch": "M9 2v20M9 10q6 0 9 6",
    "wall": "M3 8h18M3 16h18M8 8v8M16 8v8",
    "reference": "M12 22V8M5 8h14M8 4l4 4 4-4",
}


def tool_words(words: Words) -> dict[str, tuple[str, str]]:
    """Name of each tool and what to do with it."""
    return {
        "look": (words("Look"), words("Click or drag: the cross-hair goes there. Wheel or Page Up and Down: slices.")),
        "window": (words("Window"), words("Drag across for contrast, up and down for brightness.")),
        "move": (words("Move"), words("Drag the picture. Ctrl and wheel, two fingers, + and − zoom.")),
        "length": (words("Length"), words("Two places, in one picture.")),
        "angle": (words("Angle"), words("Three places: one arm, the corner, the other arm.")),
        "tooth": (words("Find canals"), words("Click inside the tooth: its canals are found and measured.")),
        "points": (words("Drag points"), words("Drag a point of the canal, or N and the arrow keys, then Enter.")),
        "canal": (words("Add canal"), words("Its orifice, then its end: the canal between them is traced.")),
        "branch": (words("Add branch"), words("A place on the canal, then where the branch ends.")),
        "wall": (words("Cut leak"), words("Click where the trace has run out: it will not go through there.")),
        "reference": (words("Reference"), words("Click the point where the rubber stop will rest.")),
    }


def viewer(prefs: Prefs, key: str, name: str, author: str, case: str) -> Safe:
    """The viewer of one scan, filled in by the browser."""
    words = prefs.words
    lamp = el("i", class_="lamp", aria_hidden="true")
    state = el("p", lamp, el("span", words("Opening…")), class_="state refining sv-state")
    title = Safe("") if case else el("h1", words("Scan"), " ", el("span", name, class_="quiet"))
    return el(
        "div",
        el("div", title, state, class_="sv-head"),
        el("div", id="sv-problem", role="alert", class_="problems", hidden=True),
        _toolbar(words),
        el("div", *(_pane(p, words) for p in ("axial", "coronal", "sagittal")), _beside(words), class_="sv-grid"),
        el("aside", _side(prefs, author), class_="sv-side", aria_label=words("Canals and measurements")),
        id="sv",
        class_="sv",
        data_key=key,
        data_name=name,
        data_author=author,
        data_case=case,
        data_words=json.dumps(_told(words)),
    )


def _toolbar(words: Words) -> Safe:
    told = tool_words(words)

    def group(title: str, names: tuple[str, ...]) -> Safe:
        buttons = [
            el(
                "button",
                el("svg", el("path", d=ICONS[n]), viewBox="0 0 24 24", aria_hidden="true"),
                el("span", told[n][0]),
                type="button",
                class_="sv-tool",
                data_tool=n,
                aria_pressed="true" if n == "look" else "false",
                title=told[n][1],
            )
            for n in names
        ]
        return el("div", *buttons, role="group", aria_label=title)

    act = [
        el("button", text, type="button", class_="button small", data_act=name, disabled=off)
        for name, text, off in (
            ("undo", words("Undo"), True),
            ("redo", words("Redo"), True),
            ("fit", words("Whole picture"), False),
            ("clear", words("Clear measures"), True),
        )
    ]
    return join(
        el(
            "div",
            group(words("Look and measure"), LOOKING),
            group(words("Find and correct"), TRACING),
            el("div", *act, role="group", aria_label=words("Undo, zoom, measures"), class_="sv-acts"),
            class_="sv-bar",
        ),
        el("p", told["look"][1], id="sv-hint", class_="quiet sv-hint", aria_live="polite"),
    )


def _pane(plane: str, words: Words) -> Safe:
    title = {"axial": words("Axial"), "coronal": words("Coronal"), "sagittal": words("Sagittal")}[plane]
    return el(
        "figure",
        el(
            "figcaption",
            el("i", class_=f"sv-mark {plane}", aria_hidden="true"),
            title,
            el("output", "", class_="quiet"),
        ),
        el(
            "div",
            el("canvas", tabindex="0", role="application", aria_label=title, aria_describedby="sv-keys"),
            class_="sv-canvas",
        ),
        el("input", type="range", min=0, max=1, value=0, aria_label=words("{plane} slice", plane=title), disabled=True),
        class_="sv-pane",
        data_plane=plane,
    )


def _beside(words: Words) -> Safe:
    """The fourth place: the straightened canal with its section, or three dimensions."""
    tabs = el(
        "div",
        *(
            el("button", text, type="button", class_="tab", role="tab", id=f"sv-tab-{n}", data_view=n,
               aria_selected="true" if n == "straight" else "false", aria_controls=f"sv-{n}")
            for n, text in (("straight", words("Straightened")), ("solid", words("Three dimensions")))
        ),
        role="tablist",
        aria_label=words("Beside the slices"),
        class_="tabs",
    )  # fmt: skip
    straight = el(
        "div",
        el("canvas", tabindex="0", role="application", aria_label=words("Straightened canal"), id="sv-line",
           aria_describedby="sv-keys"),
        el("canvas", role="img", aria_label=words("Section across the canal"), id="sv-across"),
        el("p", words("Find the canals first: click inside the tooth."), class_="sv-empty"),
        el("div", _range("sv-depth", words("Level"), 0, 1, 0.1), _range("sv-turn", words("Turn"), 0, 180, 1), class_="sv-ranges"),
        id="sv-straight",
        role="tabpanel",
        aria_labelledby="sv-tab-straight",
    )  # fmt: skip
    return el(
        "div",
        tabs,
        straight,
        el("div", id="sv-solid", role="tabpanel", aria_labelledby="sv-tab-solid", hidden=True, class_="solid"),
        class_="sv-pane sv-beside",
    )


def _side(prefs: Prefs, author: str) -> Safe:
    words = prefs.words
    return join(
        el(
            "section",
            el("h2", words("Window")),
            _range("sv-bright", words("Window level"), 0, 1, 1),
            _range("sv-wide", words("Window width"), 1, 2, 1),
            el("p", "", id="sv-here", class_="quiet"),
            class_="sv-box",
        ),
        el(
            "section",
            el("h2", words("Canals")),
            el("div", id="sv-work", class_="sv-work", hidden=True),
            el("div", el("p", words("None yet."), class_="quiet"), id="sv-canals"),
            el("dl", id="sv-values", class_="numbers"),
            class_="sv-box",
        ),
        el("section", el("h2", words("Measured lengths and angles")), el("ul", id="sv-measures", class_="rests"),
           class_="sv-box", id="sv-measured", hidden=True),
        el(
            "details",
            el("summary", words("Corrections")),
            _text("sv-author", words("Your name"), author, readonly=bool(author)),
            _text("sv-reason", words("Why (if you like)"), ""),
            _range("sv-radius", words("Size of a cut"), 0.2, 3, 0.1),
            el("ol", id="sv-log", class_="rests"),
            class_="sv-box",
        ),
        _accept(prefs),
        el("details", el("summary", words("Keys")), el("p", _keys(words), id="sv-keys"), class_="sv-box"),
    )  # fmt: skip


def _accept(prefs: Prefs) -> Safe:
    words = prefs.words
    teeth = [
        el("option", f"{prefs.tooth(Tooth(c))} {words(Tooth(c).kind)}, {words(Tooth(c).side)}", value=c) for c in TEETH
    ]
    sizes = [el("option", f"{s:02d}", value=s, selected=s == 35) for s in iso3630.SIZES]
    return el(
        "form",
        el("h2", words("Take these canals on")),
        el("div", el("label", words("Tooth"), for_="sv-tooth"), el("select", *teeth, id="sv-tooth"), class_="field"),
        _text("sv-label", words("Label, a pseudonym"), words("My case")),
        el("div", id="sv-names"),
        el("div", el("label", words("Finishing file, ISO size"), for_="sv-size"), el("select", *sizes, id="sv-size"), class_="field"),
        _text("sv-taper", words("Its taper"), "0.04"),
        el("p", "", id="sv-length", class_="quiet"),
        el("button", words("Accept and go on"), type="submit", class_="button main", disabled=True, id="sv-accept"),
        class_="sv-box",
        id="sv-take",
    )  # fmt: skip


def _range(ident: str, title: str, low: float, high: float, step: float) -> Safe:
    return el(
        "div",
        el("label", title, for_=ident),
        el("output", "", id=f"o-{ident}"),
        el("input", type="range", id=ident, min=low, max=high, step=step, value=low),
        class_="slider",
    )


def _text(ident: str, title: str, value: str, *, readonly: bool = False) -> Safe:
    box = el("input", type="text", id=ident, value=value, maxlength=80, autocomplete="off", readonly=readonly)
    return el("div", el("label", title, for_=ident), box, class_="field")


def _keys(words: Words) -> str:
    return words(
        "In a slice: arrows move the cross-hair, Page Up and Page Down the slice, + and − zoom, Shift and arrows move the picture, "
        "[ and ] change the brightness, Enter does what the tool does at the cross-hair, N and P choose a point of the canal, "
        "Escape lets go, Ctrl Z and Ctrl Y undo and redo."
    )


def _told(words: Words) -> dict[str, Any]:
    """Texts that the browser writes."""
    told = {
        "hint": "",
        "opening": words("Opening…"),
        "reading": words("Reading"),
        "failed": words("This scan cannot be used:"),
        "cancelled": words("Cancelled."),
        "cancel": words("Cancel"),
        "close": words("Close"),
        "ready": words("{a} × {b} × {c} voxels of {size} mm"),
        "tilt": words("lies {degrees}° off the patient's axes"),
        "slice": words("{n} of {most}"),
        "spoken": words("slice {n} of {most}"),
        "here": words("Cross-hair at {x}, {y}, {z} mm; grey {grey}"),
        "seconds": words("{told}, {seconds} s"),
        "none": words("None yet."),
        "canal": words("{name}: {length} mm ({low}–{high}) to the orifice"),
        "quality": words("quality {score} of 1"),
        "joins": words("joins {name}"),
        "by": words("corrected by {names}"),
        "remove": words("Take out"),
        "taken": words("undone"),
        "portal": words("{kind} at {mm} mm, {wide} mm wide ({low}–{high})"),
        "anew": words("Finding the canals anew drops {n} correction(s). Go on?"),
        "level": words("{mm} mm from the end"),
        "depth": words("{mm} mm from the reference point"),
        "place": words("Level"),
        "unmeasured": words("not measured"),
        "known": words("Reference point set: lengths are measured from it."),
        "unknown": words(
            "No reference point yet: the crown's published average stands in, and the length is marked so."
        ),
        "called": words("Name of {name}"),
        "point": words("Point {n} of {most}, {mm} mm from the end"),
        "first": words("Now the second place."),
        "outside": words("That place is outside the scan: click inside the picture."),
        "third": words("Now the third place."),
        "gone": words("The server does not answer; is the program still running?"),
        "nowebgl": words(
            "This browser offers no WebGL, so nothing can be turned here; a still picture stands in. Try another browser, or "
            "allow hardware acceleration in its settings."
        ),
        "triangles": words("{shown} of {all} triangles, {frames} frames a second"),
        "still": words("{all} triangles"),
        "turnable": words("Three dimensions: drag or arrow keys turn, wheel or + and − zoom, Home as at first"),
        "tooth": words("Tooth"),
        "lumen": words("Canals"),
        "root": words("Root"),
    }
    figures = {
        name: live(words(title), words, key=f"traced.{name}", places={"place": "#o-sv-depth"}, spread=True)
        for name, title in (("minor", "Least width"), ("major", "Greatest width"), ("wall", "Thinnest wall"))
    }
    return told | {f"tool.{k}": hint for k, (_, hint) in tool_words(words).items()} | {"figures": figures}


def opening(prefs: Prefs, listed: tuple[tuple[str, str, str], ...], *, paths: bool) -> Safe:
    """Where a scan is opened; `listed`: key, name and phase of those that are open."""
    words = prefs.words
    ways = [_sending(words)]
    if paths:
        ways.insert(0, _naming(words))
    ways.append(
        el(
            "section",
            el("h2", words("Try it")),
            el("p", words("An invented tooth in an invented scan, for learning the page.")),
            el("button", words("Open the practice scan"), type="button", class_="button", data_open="practice"),
            class_="way",
        )
    )
    rows = [
        el("li", el("a", el("b", name), el("span", words(phase), class_="quiet"), href=f"/scan/{key}"),
           el("button", words("Close"), type="button", class_="button small", data_close=key,
              aria_label=words("Close {name}", name=name)))
        for key, name, phase in listed
    ]  # fmt: skip
    return join(
        el("h1", words("Read the canals from a scan")),
        el(
            "p",
            words("DICOM, NIfTI, NRRD, MHA, or a stack of TIFF pictures. Names and dates of the patient are left out."),
            class_="lead",
        ),
        el("div", *ways, class_="ways", id="drop-scan"),
        el("div", id="sv-progress", class_="sv-work", hidden=True, role="status"),
        el("div", id="sv-problem", role="alert", class_="problems", hidden=True, data_title=words("This scan cannot be used:")),
        el("div", hidden=True, id="sv-open-words", data_words=json.dumps({
            "sending": words("Sending {name}, {share} %"), "cancel": words("Cancel"),
            "gone": words("The server does not answer; is the program still running?")})),
        join(el("h2", words("Open now")), el("ul", *rows, class_="open-cases scans")) if rows else Safe(""),
    )  # fmt: skip


def _naming(words: Words) -> Safe:
    return el(
        "form",
        el("h2", words("On this machine")),
        el("div", el("label", words("File or folder"), for_="sv-path"),
           el("input", type="text", id="sv-path", autocomplete="off", spellcheck="false", placeholder="/scans/series-1"),
           class_="field"),
        el("button", words("Open it"), type="submit", class_="button main"),
        class_="way",
        data_open="path",
    )  # fmt: skip


def _sending(words: Words) -> Safe:
    def choose(ident: str, title: str, **more: bool) -> Safe:
        box = el("input", type="file", id=ident, class_="unseen", multiple=True, **more)
        return join(el("label", title, for_=ident, class_="button"), box)

    return el(
        "section",
        el("h2", words("Choose or drop")),
        el("p", words("A file, a ZIP, or all files of a series. They go to this program only.")),
        el("div", choose("sv-files", words("Files")), choose("sv-folder", words("A folder"), webkitdirectory=True), class_="actions"),
        el("div", el("label", words("Voxel size, mm (for TIFF pictures only)"), for_="sv-voxel"),
           el("input", type="text", id="sv-voxel", autocomplete="off", placeholder="0.15", aria_describedby="sv-voxel-how"),
           el("p", words("One number, or three: along a row, down the rows, between slices."), id="sv-voxel-how", class_="usual"),
           class_="field"),
        class_="way",
    )  # fmt: skip
