"""What happened in a case, entry by entry, in the reader's words."""

from collections.abc import Callable, Iterator, Mapping

from canalwright.quantities import Quantity
from canalwright.records.events import Event, Kind
from canalwright.report.checking import length_words
from canalwright.web.markup.html import Safe, el
from canalwright.web.prefs import Prefs
from canalwright.web.records.screens.cases import tooth_words
from canalwright.web.words import LANGUAGES, Words, canal_words

Payload = Mapping[str, object]
LONGEST = 600


def said(prefs: Prefs, case: str, event: Event) -> Safe:
    """An entry in a line; an image as the way to it."""
    words, payload = prefs.words, event.payload or {}
    if event.kind is Kind.IMAGE:
        label = words(str(payload.get("label") or "film"))
        return el("a", label, href=f"/records/case/{case}/image/{payload.get('image')}")
    if event.kind is Kind.CASE:
        return _line(opened(prefs, payload))
    tell = TELLERS.get(event.kind)
    return _line(tell(words, payload) if tell else _any(words, payload))


def _line(parts: Iterator[str]) -> Safe:
    return el("span", "; ".join(filter(None, parts))[:LONGEST])


def opened(prefs: Prefs, payload: Payload) -> Iterator[str]:
    """The opening of a case."""
    words, tooth, before = prefs.words, payload.get("tooth"), payload.get("index_before")
    if isinstance(tooth, int):
        yield tooth_words(prefs, tooth)
    if before:
        yield words("periapical index before: {n}", n=_grades(words, before))
    if payload.get("operator"):
        yield words("operator: {name}", name=payload["operator"])
    yield from _any(words, payload, "tooth", "index_before", "operator")


def _measured(words: Words, payload: Payload) -> Iterator[str]:
    if "case_file" in payload:
        yield words("the values measured at the tooth, as a case file")
    yield from _any(words, payload, "case_file", "digest")


def _planned(words: Words, payload: Payload) -> Iterator[str]:
    yield canal_words(words, str(payload.get("canal", "")))


def _chair(words: Words, payload: Payload) -> Iterator[str]:
    yield words(str(payload.get("canal", "")))
    if payload.get("on"):
        yield str(payload["on"])
    if "seconds" in payload:
        yield words("{s} s at the chair", s=payload["seconds"])
    if payload.get("off"):
        yield words("{n} steps off the plan", n=payload["off"])
    if payload.get("finished"):
        yield words("the tooth is filled with it")
    yield from _any(words, payload, "canal", "on", "seconds", "off", "finished", "session", "steps", "holds_kept")


def _checked(words: Words, payload: Payload) -> Iterator[str]:
    found = payload.get("assessment")
    yield words(str(payload.get("canal", "")))
    if payload.get("on"):
        yield str(payload["on"])
    if isinstance(found, Mapping):
        grade = found.get("grade")
        if isinstance(grade, Mapping):
            yield words(str(grade.get("word", "")))
        yield ends(words, found.get("to_terminus"))
        yield words("voids: {what}", what=voids(words, found))
    elif "short_mm" in payload:
        yield words("{mm} mm short of the terminus", mm=payload["short_mm"])
    if "void_percent" in payload:
        yield words("voids {n} %", n=payload["void_percent"])
    seen = (
        "canal",
        "on",
        "assessment",
        "short_mm",
        "void_percent",
        "marks",
        "habits",
        "film",
        "labels",
        "label_names",
        "segmentation",
        "scans",
    )
    yield from _any(words, payload, *seen)


def _scheduled(words: Words, payload: Payload) -> Iterator[str]:
    months = payload.get("months")
    shown = ", ".join(map(str, months)) if isinstance(months, list) else ""
    yield words("{name}: {months} months after the filling", name=words(str(payload.get("name", ""))), months=shown)


def _recalled(words: Words, payload: Payload) -> Iterator[str]:
    yield str(payload.get("on", ""))
    for key in ("signs", "symptoms"):
        listed = payload.get(key)
        yield from (words(str(each)) for each in (listed if isinstance(listed, list) else []))
    if payload.get("percussion") is not None:
        yield words("tender") if payload["percussion"] else words("not tender")
    index, agreed = payload.get("index"), payload.get("agreed")
    if isinstance(index, Mapping):
        for root, readers in index.items():
            if isinstance(readers, Mapping) and readers:
                yield words("index of {root}: {grades}", root=words(str(root)), grades=_by(readers))
    if isinstance(agreed, Mapping):
        yield from (words("{root}, agreed: {n}", root=words(str(root)), n=n) for root, n in agreed.items())
    if payload.get("lesion"):
        yield words("lesion: {change}", change=words(str(payload["lesion"])))
    if payload.get("restoration") is not None:
        yield words("permanent restoration") if payload["restoration"] else words("no permanent restoration")
    if payload.get("restoration_sound") is not None:
        yield words("restoration sound") if payload["restoration_sound"] else words("restoration not sound")
    if payload.get("lost"):
        yield words("tooth lost: {why}", why=words(str(payload["lost"])))
    if payload.get("blind"):
        yield words("read blind by two")
    images = payload.get("images")
    if isinstance(images, list) and images:
        yield words("films: {n}", n=len(images))
    yield str(payload.get("note") or "")


def _noted(words: Words, payload: Payload) -> Iterator[str]:
    yield str(payload.get("text") or "")
    yield from _any(words, payload, "text")


def _corrected(words: Words, payload: Payload) -> Iterator[str]:
    values = {"n": payload.get("of"), "why": payload.get("reason")}
    if payload.get("payload") is None:
        yield words("entry {n} withdrawn: {why}", **values)
    else:
        yield words("entry {n} corrected: {why}", **values)


def _closed(words: Words, payload: Payload) -> Iterator[str]:
    yield words(str(payload.get("reason") or ""))


def _identified(words: Words, payload: Payload) -> Iterator[str]:
    listed = payload.get("fields")
    yield words(
        "written down: {what}",
        what=", ".join(words(FIELDS.get(str(f), str(f))) for f in listed) if isinstance(listed, list) else "",
    )


def _held(words: Words, payload: Payload) -> Iterator[str]:
    why = payload.get("reason")
    yield words("held: {why}", why=why) if payload.get("hold") else words("let go: {why}", why=why)


def _handed(words: Words, payload: Payload) -> Iterator[str]:
    yield words(str(payload.get("what") or ""))
    if payload.get("language"):
        yield LANGUAGES.get(str(payload["language"]), str(payload["language"]))
    if payload.get("identity") is not None:
        yield words("with the name") if payload["identity"] else words("without the name")
    if payload.get("files") is not None:
        yield words("files: {n}", n=payload["files"])
    yield from _any(words, payload, "what", "language", "identity", "files", "text")


def ends(words: Words, told: object) -> str:
    """Where a filling ends, from what was kept of it; nothing where that cannot be read."""
    numbers = [told.get(k) for k in ("value", "low", "high")] if isinstance(told, Mapping) else []
    value, low, high = numbers if len(numbers) == 3 else (None, None, None)
    if isinstance(value, int | float) and isinstance(low, int | float) and isinstance(high, int | float):
        return words(length_words(Quantity(value, low, high, "mm")))
    return ""


def voids(words: Words, found: Payload) -> str:
    """How many voids were seen, and how small the image would have shown them: none seen does not say that there is none."""
    seen, smallest = found.get("voids"), found.get("smallest_void")
    count = len(seen) if isinstance(seen, list) else 0
    size = smallest.get("value") if isinstance(smallest, Mapping) else None
    if isinstance(size, int | float):
        return words("{n} seen; under {size} mm none would be", n=count, size=f"{size:.2f}")
    return words("{n} seen", n=count)


def _grades(words: Words, index: object) -> str:
    if isinstance(index, Mapping):
        return ", ".join(f"{words(str(root))} {n}" for root, n in index.items())
    return str(index)


def _by(readers: Mapping[str, object]) -> str:
    return ", ".join(f"{reader} {n}" for reader, n in readers.items())


def _any(words: Words, payload: Payload, *told: str) -> Iterator[str]:
    """What an entry holds besides: what somebody else's program or a study logged."""
    for key, value in payload.items():
        if key not in told and value not in (None, "", [], {}, False):
            yield f"{words(key)}: {_short(words, value)}"


def _short(words: Words, value: object) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{words(str(k))} {_short(words, v)}" for k, v in value.items())
    if isinstance(value, list):
        return ", ".join(_short(words, v) for v in value)
    return words(str(value))


FIELDS = {"name": "Name", "born": "Date of birth", "number": "Number", "contact": "Contact"}
TELLERS: Mapping[Kind, Callable[[Words, Payload], Iterator[str]]] = {
    Kind.MEASUREMENT: _measured,
    Kind.PLAN: _planned,
    Kind.CHAIR: _chair,
    Kind.CHECK: _checked,
    Kind.SCHEDULE: _scheduled,
    Kind.RECALL: _recalled,
    Kind.NOTE: _noted,
    Kind.CORRECTION: _corrected,
    Kind.CLOSE: _closed,
    Kind.IDENTITY: _identified,
    Kind.EXPORT: _handed,
    Kind.HOLD: _held,
}
