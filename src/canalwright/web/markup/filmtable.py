"""The radiograph tool: its keys beside the film, and what the marks say."""

from canalwright.imaging.radiograph.marks import FilmReading
from canalwright.imaging.radiograph.parallax import Depth
from canalwright.report.radiograph import film_numbers
from canalwright.web.markup import ready
from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words

TOOLS = (
    ("known", "Known instrument", "tip, then stop, then between where it bends"),
    ("reference", "Reference point", "where the stop rests"),
    ("canal", "Canal", "from coronal to apical"),
    ("terminus", "Terminus", "the radiographic apex"),
    ("pair", "Two canals", "the known one, then the other, at one level"),
)

OPENED = (
    "DICOM, PNG, TIFF or JPEG. It stays on this machine: picture and marks are kept there until the case is closed or for 30 days without "
    "use, and an archive of the case takes them along; the file's header is not kept."
)
"""What becomes of a film."""

CHECKED = (*TOOLS[:4], ("end", "End of the filling", "only where it was found wrongly"))
"""What is marked on a film after the filling."""


def opening(words: Words, count: int = 2) -> Safe:
    """How a film comes in, for one or two of them."""
    slots = [
        el(
            "label",
            el("input", type="radio", name="rg-slot", value=i, checked=i == 0),
            el("span", words(title)),
            class_="pp-key",
        )
        for i, title in enumerate(("First film", "Second film")[:count])
    ]
    file = el(
        "input", type="file", id="rg-file", class_="unseen", accept=".dcm,.png,.tif,.tiff,.jpg,.jpeg,application/dicom,image/*",
        data_failed=words("The file could not be sent; is the page still running?"),
        data_large=words("This file is larger than 48 MB."),
        data_unread=words("The film kept with this case could not be fetched; is the page still running?"),
    )  # fmt: skip
    slot = el(
        "fieldset", el("legend", words("Film"), class_="unseen"), el("div", *slots, class_="pp-row"), class_="pp-field",
        hidden=count < 2,
    )  # fmt: skip
    load = el("div", el("label", words("Load a film"), for_="rg-file", class_="button main"), file)
    away = el(
        "button", words("Take this film away"), type="button", class_="button", data_rg="away", id="rg-away", hidden=True,
        data_sure=words("The picture and its marks are erased from this machine. Go on?"),
    )  # fmt: skip
    return join(
        el("div", slot, load, away, class_="rg-open"),
        el(
            "p",
            words(
                el("p", words(OPENED), class_="quiet"),
            ),
            class_="quiet",
        ),
        el("p", id="rg-wrong", class_="wrong", role="alert"),
    )


def stage(words: Words) -> Safe:
    """The film itself, with its own keys."""
    help_ = words(
        "Click or tap to set a mark, drag to move it. Keys: arrows move the cross or the chosen mark (with Shift ten times), "
        "Enter sets a mark, N and P choose the next and the one before, Delete takes it out, + and − zoom, Ctrl+Z undoes."
    )
    view = el(
        "div",
        el("canvas", id="rg-canvas", aria_hidden="true"),
        el("svg", id="rg-marks", aria_hidden="true"),
        el("p", words("No film loaded yet."), id="rg-empty", class_="quiet"),
        el("p", words("Opening…"), id="rg-coming", role="status", hidden=True),
        id="rg-stage",
        tabindex="0",
        role="application",
        aria_label=words("Film with marks"),
        aria_describedby="rg-help",
    )
    ways = (("in", "+", "zoom in"), ("out", "−", "zoom out"), ("fit", "⤢", "show the whole film"))
    moves = (
        ("left", "←", "to the left"),
        ("up", "↑", "upwards"),
        ("down", "↓", "downwards"),
        ("right", "→", "to the right"),
    )
    keys = [_key(f"zoom-{n}", sign, words(said)) for n, sign, said in ways]
    keys += [_key(f"move-{n}", sign, words("move {way}", way=words(said))) for n, sign, said in moves]
    keys += [
        _key("next", "⇥", words("next mark")),
        _key("remove", "×", words("take the mark out")),
        _key("undo", "↶", words("undo")),
    ]
    sliders = [_slider("level", words("Level"), 1, 65535), _slider("window", words("Window"), 256, 65535)]
    return join(
        view,
        el("div", *keys, class_="rg-keys", role="group", aria_label=words("Keys of the film")),
        el("div", *sliders, class_="rg-sliders"),
        el("ul", id="rg-notes", class_="rg-notes"),
        el("p", help_, id="rg-help", class_="quiet"),
        el("p", id="rg-told", role="status", aria_live="polite", class_="unseen"),
    )


def tools(words: Words, kinds: tuple[tuple[str, str, str], ...] = TOOLS) -> Safe:
    """What the next mark is, and the length of the instrument."""
    boxes = [
        el(
            "label",
            el("input", type="radio", name="rg-tool", value=name, checked=i == 0),
            el("span", el("b", words(title)), el("small", words(about)), el("em", id=f"rg-n-{name}")),
            class_="pp-key rg-tool",
            data_kind=name,
        )
        for i, (name, title, about) in enumerate(kinds)
    ]
    known = el(
        "div",
        el("label", words("Length of the instrument, tip to stop, mm"), for_="rg-known"),
        el("input", type="text", id="rg-known", inputmode="decimal", autocomplete="off", maxlength=8),
        class_="field",
    )
    return join(el("fieldset", el("legend", words("The next mark is")), *boxes, class_="rg-tools"), known)


def pair_form(words: Words, angle: str = "20", towards: str = "right") -> Safe:
    """How the tube was moved for the second film: by how many degrees, and towards which side."""
    ways = (("right", words("to the right of the picture")), ("left", words("to the left of the picture")))
    return el(
        "div",
        ready.choice("rg-towards", words("The tube was moved"), "towards", ways, towards),
        ready.entry("rg-angle", words("By how many degrees"), "angle", value=angle),
        class_="fields rd-fields",
    )


def told(found: FilmReading, words: Words) -> Safe:
    """What the marks of the first film say."""
    parts = []
    if found.length is not None:
        parts.append(ready.numbers([("tooth length", found.length)], words))
        if not found.corrected:
            parts.append(
                el(
                    "p",
                    words("Not corrected: magnification is supposed. Mark an instrument of known length."),
                    class_="rd-note look",
                )
            )
        use = words("Put {value} mm into the measurements", value=f"{found.length.value:.1f}")
        parts.append(
            el("p", el("button", use, type="button", class_="button main", data_film_use="length"), class_="rd-ways")
        )
    curve = found.curve
    if curve is not None:
        parts.append(ready.numbers([n for n in film_numbers(found) if n[0] != "tooth length"], words))
        if curve.straight:
            parts.append(el("p", words("So gentle a curve has no radius."), class_="quiet"))
        else:
            use = words("Use this curve for the canal")
            parts.append(
                el("p", el("button", use, type="button", class_="button", data_film_use="curve"), class_="rd-ways")
            )
    parts += _geometry(found, words)
    if found.missing:
        items = [el("li", words(m)) for m in found.missing]
        parts += [el("h3", words("Next")), el("ul", *items, class_="rg-missing")]
    return join(*parts)


def _geometry(found: FilmReading, words: Words) -> list[Safe]:
    if found.shown is None or found.tilt is None or found.magnified is None:
        return []
    lines = [words("the instrument shows as {shown} mm on the receptor", shown=f"{found.shown:.1f}")]
    if found.magnified > 1.0:
        lines.append(words("magnified at least {factor} times", factor=f"{found.magnified:.2f}"))
    if found.tilt > 8:
        lines.append(
            words(
                "it lies tilted by some {tilt}°: the canal is foreshortened too, and corrected with it",
                tilt=f"{found.tilt:.0f}",
            )
        )
    return [el("ul", *(el("li", line) for line in lines), class_="rg-notes")]


def beside(found: Depth, words: Words) -> Safe:
    """Where the second canal lies."""
    side = words("the second canal lies {side}", side=words(found.side))
    sure = words("sure to {chance}", chance=f"{found.chance:.0%}")
    kind = "look" if found.side == "in one plane" else "ready"
    return join(
        el("p", f"{side}, {sure}", class_=f"rd-note {kind}", data_side=found.side),
        ready.numbers([("buccally of the known canal", found.apart)], words),
        el(
            "p",
            words("Receptor supposed on the lingual side. What moves the way the tube went lies lingually."),
            class_="quiet",
        ),
    )


def _key(what: str, sign: str, said: str) -> Safe:
    return el("button", sign, type="button", class_="button rg-key", data_rg=what, aria_label=said)


def _slider(name: str, title: str, low: int, high: int) -> Safe:
    slider = el("input", type="range", id=f"rg-{name}", min=low, max=high, step=64, value=(low + high) // 2)
    return el("div", el("label", title, for_=f"rg-{name}"), slider)
