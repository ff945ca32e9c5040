"""Handing over: the confidentiality table against a second copy, teeth against the list of DICOM, and how often suspected text is right."""

from collections.abc import Callable
from functools import cache

import numpy as np

from canalwright.anatomy import Tooth
from canalwright.exchange import codes
from canalwright.exchange.deid.burned import text_like
from canalwright.exchange.deid.profile import actions
from tests.evidence.table import Check, Seen
from tests.exchange.written import HEIGHTS, NAMES, radiograph, with_text

# Part of the table as a second, independent transcription has it (open JSON of the standard), in its order by name, from "Requested
# Contrast Agent" to "Structure Set Date": every row of that stretch, none picked.
SAMPLE = {
    "X": """00321070 00401400 00401001 00401005 00189937 00321032 00321033 00189185 00102299 00102297 40084000 40080118 40080042
        30060028 30060038 30060088 30060085 300a0004 300a0003 00404034 0038001e 00400006 0040000b 00400007 00400004 00400005
        00404008 00400009 00400011 00404010 00400002 00404005 00400003 00400001 00404027 00400010 00404025 00321020 00321021
        0008103e 00380062 00380060 300a01b2 300a01a6 004006fa 001021a0 300a0216 00380050 0040050a 00400602 00400600""",
    "X/Z": "00321060 300e0008 30080105",
    "Z": "300600a6 30060026 300a0615 300a0611 3010005a 00400610 30060008",
    "X/D": "300a0006 300a0007 30100056 00080021 00080031 00189516",
    "D": "300a0002 30100054 300a062a 0018936a 00340005 00189369 00400551",
    "U": "00001001 3010003b 0020000e 00080018 30100015 00400554 00880140",
    "X/Z/U*": "00082112",
    "X/Z/D": "00081010",
}
CID_4018 = {11: "422653006", 18: "68085002", 21: "424399000", 36: "866006002", 46: "866005003", 48: "38994002"}


def _differing() -> float:
    wanted = {int(tag, 16): action for action, tags in SAMPLE.items() for tag in tags.split()}
    return float(sum(actions().get(tag) != action for tag, action in wanted.items()))


def _teeth() -> float:
    return float(sum(codes.of_tooth(Tooth(t)).value != code for t, code in CID_4018.items()))


@cache
def _found() -> float:
    """Share of pictures with text that are suspected: letters of 10 to 32 pixels, black and white, four corners."""
    hits = [
        bool(text_like(with_text(radiograph(2000 + 10 * i + k), NAMES[(i + k) % 6], height, k % 4, level)))
        for i, height in enumerate(HEIGHTS)
        for k in range(8)
        for level in (255, 0)
    ]
    return float(np.mean(hits))


@cache
def _false() -> float:
    return float(np.mean([bool(text_like(radiograph(1000 + k))) for k in range(60)]))


def _row(
    name: str, ours: Callable[[], float], theirs: float | tuple[float, float], tolerance: float, why: str, source: str, seen: Seen,
    conditions: str = "",
) -> Check:  # fmt: skip
    return Check("exchange", name, ours, theirs, tolerance, why, "", source, seen, conditions)


CHECKS = [
    _row("rows of the confidentiality table that differ from a second copy", _differing, 0.0, 0.0, "a table is right or wrong",
         "DICOM PS3.15, Table E.1-1, column Basic Prof.", "reference library", "83 rows in alphabetic order"),
    _row("teeth whose SNOMED CT code differs", _teeth, 0.0, 0.0, "a code is right or wrong", "DICOM PS3.16, CID 4018",
         "reference library", "six teeth written down apart"),
    _row("share of written-on pictures that are suspected", _found, (0.9, 1.0), 0.0, "set before it was run: nine in ten",
         "common practice", "common practice", "invented radiographs, letters 10-32 px, black and white; 80 pictures"),
    _row("share of pictures without text that are suspected", _false, (0.0, 0.1), 0.0, "set before it was run: one in ten",
         "common practice", "common practice", "invented radiographs; 60 pictures"),
]  # fmt: skip
