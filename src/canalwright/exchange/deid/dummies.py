"""What stands in the place of a value that the standard wants to be there: the same for everybody."""

from typing import Any

from pydicom.dataset import Dataset
from pydicom.sequence import Sequence as Items
from pydicom.uid import generate_uid

WORD = "REMOVED"
_BY_VR: dict[str, Any] = {
    "AE": WORD, "AS": "000Y", "AT": 0, "CS": WORD, "DA": "19000101", "DS": "0", "DT": "19000101000000", "FD": 0.0, "FL": 0.0,
    "IS": "0", "LO": WORD, "LT": WORD, "OB": b"\0\0", "OD": b"\0" * 8, "OF": b"\0" * 4, "OL": b"\0" * 4, "OV": b"\0" * 8,
    "OW": b"\0\0", "PN": f"{WORD}^", "SH": WORD, "SL": 0, "SS": 0, "ST": WORD, "SV": 0, "TM": "000000", "UC": WORD, "UL": 0,
    "UR": "urn:removed", "US": 0, "UT": WORD, "UV": 0,
}  # fmt: skip
BLANK_PDF = (
    b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n"
    b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 595 842]>>endobj\nxref\n0 4\n0000000000 65535 f \n0000000009 00000 n \n"
    b"0000000054 00000 n \n0000000105 00000 n \ntrailer<</Size 4/Root 1 0 R>>\nstartxref\n173\n%%EOF\n"
)


def dummy(vr: str, keyword: str) -> Any:
    """A value of a VR that says nothing; of a sequence what its attribute needs, or nothing at all."""
    if vr == "SQ":
        return (
            Items([_item(keyword)]) if keyword in ("ContentSequence", "PersonIdentificationCodeSequence") else Items()
        )
    if vr == "UI":
        return generate_uid(prefix=None)
    return _BY_VR.get(vr)


def code(item: Dataset) -> None:
    """Make a code item one that says nothing."""
    item.clear()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = WORD, "99REMOVED", WORD


def _item(keyword: str) -> Dataset:
    made = Dataset()
    if keyword != "ContentSequence":
        code(made)
        return made
    made.RelationshipType, made.ValueType, made.TextValue = "CONTAINS", "TEXT", WORD
    name = Dataset()
    name.CodeValue, name.CodingSchemeDesignator, name.CodeMeaning = "121106", "DCM", "Comment"
    made.ConceptNameCodeSequence = Items([name])
    return made
