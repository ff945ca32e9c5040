"""What becomes of one attribute: the action of Table E.1-1, or, where the table is silent, a rule by its kind of value.

Combined actions take their last letter: the value goes, the attribute stays as far as the standard may want it (`X/Z`: emptied, `X/D`,
`Z/D`, `X/Z/D`: a dummy), so that no knowledge of the kind of object is needed. Free text that the table does not list is emptied.
"""

import re
from typing import Any, Literal

from pydicom._uid_dict import UID_dictionary
from pydicom.datadict import dictionary_has_tag
from pydicom.dataelem import DataElement

from canalwright.exchange.deid.profile import actions, terms

Fate = Literal["keep", "remove", "empty", "dummy", "uid", "inside", "term", "shift", "time"]
NUMBERS = frozenset({"DS", "IS", "US", "SS", "UL", "SL", "UV", "SV", "FL", "FD", "AT"})
TEXTS = frozenset({"LO", "SH", "LT", "ST", "UT", "UC", "UR", "PN", "AE"})
TIMES = frozenset({"DA", "TM", "DT", "AS"})
GROUPS = frozenset({0x0008, 0x0018, 0x0020, 0x0022, 0x0028, 0x0048, 0x0052, 0x0054, 0x0062, 0x0066, 0x5200})
"""Groups whose numbers stay: acquisition, relation, picture, segments, functional groups. Those of others are emptied."""
KEPT = frozenset(
    {
        "PixelData", "FloatPixelData", "DoubleFloatPixelData", "LUTData", "RedPaletteColorLookupTableData",
        "GreenPaletteColorLookupTableData", "BluePaletteColorLookupTableData", "RealWorldValueSlope", "RealWorldValueIntercept",
        "RealWorldValueFirstValueMapped", "RealWorldValueLastValueMapped", "SegmentNumber", "ReferencedSegmentNumber",
        "EncapsulatedDocumentLength",
    }
)  # fmt: skip
PALETTES = frozenset(k for k in KEPT if "Palette" in k)
SHIFTED = frozenset(
    {
        "StudyDate", "SeriesDate", "AcquisitionDate", "ContentDate", "AcquisitionDateTime", "InstanceCreationDate",
        "FrameAcquisitionDateTime", "FrameReferenceDateTime",
    }
)  # fmt: skip
CLOCK = frozenset({"StudyTime", "SeriesTime", "AcquisitionTime", "ContentTime", "InstanceCreationTime"})
PLAIN_TEXTS = {
    "RescaleType": frozenset({"HU", "US", "OD", "MGML", "PCT", "HU_MOD"}),
    "MIMETypeOfEncapsulatedDocument": frozenset({"application/pdf"}),
}
NEEDED = frozenset({"SegmentLabel", "SegmentAlgorithmName"})
"""Texts that a segmentation must have."""
_DECIMAL = re.compile(r"[ ]*[+-]?(\d{1,12}(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?[ ]*")
_ALWAYS_GONE = frozenset(
    {"DataSetTrailingPadding", "VerifyingObserverSequence", "ICCProfile", "CodingSchemeIdentificationSequence"}
)


def fate(element: DataElement, *, shift: bool, palette: bool) -> Fate:
    """What becomes of an attribute. `shift`: dates are moved instead of removed; `palette`: the picture is drawn by its palette."""
    tag = element.tag
    group, keyword, vr = tag.group, element.keyword, str(element.VR)
    if tag.is_private or tag.element == 0 or group in (0x0000, 0x0002):
        return "remove"
    if 0x5000 <= group <= 0x50FF or 0x6000 <= group <= 0x60FF:
        return "remove"
    if vr == "UN" or not dictionary_has_tag(tag) or keyword in _ALWAYS_GONE:
        return "remove"
    if shift and keyword in SHIFTED:
        return "shift"
    if shift and keyword in CLOCK:
        return "time"
    action = actions().get(int(tag))
    if action is not None:
        return _by_action(action, vr)
    return _by_kind(element, vr, keyword, group, palette)


def _by_action(action: str, vr: str) -> Fate:
    if action == "X/Z/U*":
        return "inside"
    if vr == "SQ" and action in ("X/D", "X/Z/D"):
        return "empty"
    last = action.rpartition("/")[2]
    found: Fate = {"X": "remove", "Z": "empty", "D": "dummy", "U": "uid"}[last]  # type: ignore[assignment]
    return "inside" if vr == "SQ" and found == "uid" else found


def _by_kind(element: DataElement, vr: str, keyword: str, group: int, palette: bool) -> Fate:
    if vr == "SQ":
        return "inside"
    if vr == "UI":
        return "uid"
    if vr == "CS":
        return "term"
    if keyword in PLAIN_TEXTS:
        return "keep" if str(element.value).strip() in PLAIN_TEXTS[keyword] else "empty"
    if keyword in NEEDED:
        return "dummy"
    if vr in TEXTS or vr in TIMES:
        return "empty"
    if keyword in PALETTES:
        return "keep" if palette else "remove"
    if keyword in KEPT:
        return "keep"
    if vr in NUMBERS:
        return "keep" if group in GROUPS and numeric(element) else "empty"
    return "remove"


def numeric(element: DataElement) -> bool:
    """Whether the value of a numeric attribute is numbers and nothing else."""
    values = listed(element.value)
    if str(element.VR) not in ("DS", "IS"):
        return all(isinstance(v, int | float) for v in values)
    return all(_DECIMAL.fullmatch(str(getattr(v, "original_string", v))) for v in values)


def known_terms(element: DataElement) -> tuple[list[str], int]:
    """The code strings of an attribute, those that are no defined term replaced by `OTHER`, and how many these were."""
    found = [str(v).strip() for v in listed(element.value)]
    kept = [v if v in terms() or not v else "OTHER" for v in found]
    return kept, sum(a != b for a, b in zip(found, kept, strict=True))


def registered(uid: str) -> bool:
    """Whether a UID is one of the standard's own (a class, a transfer syntax, a coding scheme) and names no instance."""
    return uid.strip("\0 ") in UID_dictionary


def listed(value: Any) -> list[Any]:
    """The values of an attribute, one or many."""
    if value is None or value == "" or value == b"":
        return []
    return list(value) if isinstance(value, list | tuple) or type(value).__name__ == "MultiValue" else [value]
