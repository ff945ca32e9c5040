"""One dataset cleaned, in place and all the way down, with a count of what was done to what."""

from collections import Counter
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset
from pydicom.sr._concepts_dict import concepts
from pydicom.tag import Tag

from canalwright.exchange.deid import dummies, rules
from canalwright.exchange.deid.key import Key, Options, shifted_date

SCHEMES = {"SCT": "SCT", "DCM": "DCM", "UCUM": "UCUM", "SRT": "SRT"}
PROFILE, DATES = ("113100", "Basic Application Confidentiality Profile"), (
    "113107", "Retain Longitudinal Temporal Information Modified Dates Option",
)  # fmt: skip
CODE_PARTS = ("CodeValue", "LongCodeValue", "URNCodeValue", "CodingSchemeDesignator", "CodeMeaning")
DEEPEST = 64
CODE_VALUE = Tag("CodeValue")


@dataclass
class Tally:
    """What was done: (path of keywords, tag, what) counted, values never kept."""

    done: Counter[tuple[str, str, str]] = field(default_factory=Counter)

    def note(self, path: str, element: DataElement | None, tag: Any, what: str) -> None:
        """Count one attribute."""
        private = tag.is_private
        name = "private attribute" if private else (element.keyword if element is not None else "") or "attribute"
        number = f"({tag.group:04X},xxxx)" if private else f"({tag.group:04X},{tag.element:04X})"
        self.done[f"{path}{name}", number, what] += 1


def clean(dataset: Dataset, key: Key, options: Options) -> Tally:
    """Clean a dataset in place: its attributes, those in its sequences, and the marks that it was cleaned."""
    tally = Tally()
    patient = str(dataset.get("PatientID", "") or "") or str(dataset.get("PatientName", "") or "")
    palette = str(dataset.get("PhotometricInterpretation", "")) == "PALETTE COLOR"
    by = key.shift(patient) if options.shift_dates else None
    _level(dataset, tally, "", key, by, palette, 0)
    pseudonym = options.pseudonym or key.pseudonym(patient)
    dataset.PatientName, dataset.PatientID = f"{pseudonym}^", pseudonym
    dataset.SpecificCharacterSet = "ISO_IR 192"
    dataset.PatientIdentityRemoved = "YES"
    dataset.DeidentificationMethod = "Basic Profile, PS3.15 2026c; no free text; unlisted ones by kind"
    dataset.DeidentificationMethodCodeSequence = [_method(*code) for code in (PROFILE, *([DATES] if by else []))]
    dataset.LongitudinalTemporalInformationModified = "MODIFIED" if by else "REMOVED"
    if "VerificationFlag" in dataset:
        dataset.VerificationFlag = "UNVERIFIED"
    return tally


def _level(dataset: Dataset, tally: Tally, path: str, key: Key, by: Any, palette: bool, depth: int) -> None:
    if path and any(part in dataset for part in CODE_PARTS) and _code(dataset):
        tally.note(path, None, CODE_VALUE, "code replaced: not one of the standard's lists")
        return
    for tag in list(dataset.keys()):
        try:
            element = dataset[tag]
            what = rules.fate(element, shift=by is not None, palette=palette)
        except Exception:  # the parser raises of every kind on damaged values: such an attribute cannot stay
            del dataset[tag]
            tally.note(path, None, tag, "removed: cannot be read")
            continue
        if element.keyword in CODE_PARTS and "CodeMeaning" in dataset and path:
            continue
        if depth >= DEEPEST:
            what = "remove"
        _apply(dataset, element, what, tally, path, key, by)
        if what == "inside" and element.tag in dataset:
            for item in element.value or []:
                _level(item, tally, f"{path}{element.keyword} > ", key, by, palette, depth + 1)


def _apply(dataset: Dataset, element: DataElement, what: str, tally: Tally, path: str, key: Key, by: Any) -> None:
    tag, vr, keyword = element.tag, str(element.VR), element.keyword
    match what:
        case "remove":
            del dataset[tag]
            tally.note(path, element, tag, "removed")
        case "empty":
            if len(element.value) if vr == "SQ" else rules.listed(element.value):
                tally.note(path, element, tag, "emptied")
            dataset[tag] = DataElement(tag, vr, [] if vr == "SQ" else None)
        case "dummy":
            if keyword == "EncapsulatedDocument":
                dataset[tag] = DataElement(tag, "OB", dummies.BLANK_PDF + b"\0" * (len(dummies.BLANK_PDF) % 2))
                dataset.EncapsulatedDocumentLength = len(dummies.BLANK_PDF)
            else:
                dataset[tag] = DataElement(tag, vr, dummies.dummy(vr, keyword))
            tally.note(path, element, tag, "replaced by a dummy")
        case "uid":
            _uid(dataset, element, tally, path, key)
        case "term":
            kept, replaced = rules.known_terms(element)
            dataset[tag] = DataElement(tag, "CS", kept if len(kept) > 1 else kept[0] if kept else None)
            if replaced:
                tally.note(path, element, tag, "replaced by OTHER: not a defined term")
        case "shift":
            moved = [shifted_date(str(v), by) for v in rules.listed(element.value)]
            dataset[tag] = DataElement(tag, vr, moved if len(moved) > 1 else moved[0] if moved else None)
            tally.note(path, element, tag, "moved in time")
        case "time":
            clock = str(element.value or "")
            digits = clock.replace(".", "")
            good = digits.isascii() and digits.isdigit() and len(clock) <= 13
            dataset[tag] = DataElement(tag, vr, clock if good else None)


def _uid(dataset: Dataset, element: DataElement, tally: Tally, path: str, key: Key) -> None:
    if str(element.VR) != "UI":  # a rare attribute that the table calls a UID but that holds something else
        del dataset[element.tag]
        tally.note(path, element, element.tag, "removed")
        return
    old = [str(v) for v in rules.listed(element.value)]
    new = [v if rules.registered(v) else key.uid(v) for v in old]
    dataset[element.tag] = DataElement(element.tag, "UI", new if len(new) > 1 else new[0] if new else None)
    if new != old:
        tally.note(path, element, element.tag, "replaced by another UID")


def _code(item: Dataset) -> bool:
    """Keep a code that a public list carries, with that list's own meaning; make any other one that says nothing (True)."""
    scheme, value = str(item.get("CodingSchemeDesignator", "")), str(item.get("CodeValue", ""))
    meaning = _meanings().get((scheme, value))
    if meaning is None:
        dummies.code(item)
        return True
    item.CodeMeaning = meaning
    for word in ("LongCodeValue", "URNCodeValue"):
        if word in item:
            delattr(item, word)
    return False


@cache
def _meanings() -> dict[tuple[str, str], str]:
    """Meanings by scheme and value, of the lists of DICOM that pydicom carries."""
    listed: Any = concepts
    return {
        (scheme, value): meaning
        for scheme, named in listed.items()
        if scheme in SCHEMES
        for entry in named.values()
        for value, (meaning, _) in entry.items()
    }


def _method(value: str, meaning: str) -> Dataset:
    made = Dataset()
    made.CodeValue, made.CodingSchemeDesignator, made.CodeMeaning = value, "DCM", meaning
    return made
