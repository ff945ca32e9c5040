"""An invented case in invented records: planned, filled, assessed, seen again. No patient, no measurement."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from canalwright import casefile
from canalwright.assessment.result import (
    Assessment,
    Beyond,
    Criterion,
    Grade,
    PortalSeen,
    Residual,
    Sight,
    StationFill,
    Void,
)
from canalwright.exchange import Dossier, dossier_of
from canalwright.quantities import Quantity
from canalwright.records import Identity, Kind, Store
from canalwright.report import plan_json
from tests.records.conftest import CHEAP, SECRET
from tests.report.sample import plan, retitled

NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
WHO = Identity("Ada Invented", "1970-02-03", "77-1234", "ada@example.invalid")
PNG = (
    b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x00\x00\x00\x00:~\x9bU"
    b"\x00\x00\x00\nIDATx\x9cc`\x00\x00\x00\x02\x00\x01H\xaf\xa4q\x00\x00\x00\x00IEND\xaeB`\x82"
)


def assessment(canal: str = "mesiobuccal") -> Assessment:
    """An invented assessment of a radiograph."""
    q = Quantity
    return Assessment(
        tooth=46,
        canal=canal,
        basis="radiograph",
        how="scaled by the working length",
        to_terminus=q(0.8, 0.4, 1.2, "mm"),
        length_filled=q(11.4, 11.0, 11.9, "mm"),
        grade=Grade(
            (Criterion("length", q(0.97, 0.9, 0.99, ""), "0 to 2 mm short", "invented for the tests"),),
            q(0.93, 0.85, 0.97, ""),
        ),
        taper=q(0.061, 0.052, 0.07, "mm/mm"),
        void_share=q(0.012, 0.004, 0.03, ""),
        stations=(StationFill(0.8, 4.0, q(0.98, 0.95, 1.0, ""), q(0.01, 0.0, 0.03, ""), q(0.01, 0.0, 0.02, "")),),
        voids=(Void(4.2, 0.1, q(0.25, 0.2, 0.31, "mm"), q(0.008, 0.004, 0.016, "mm3"), 6.0),),
        portals=(PortalSeen("side branch", 3.2, Sight.NOT_SEEN),),
        beyond=Beyond(Sight.ABSENT),
        smallest_void=q(0.2, 0.15, 0.25, "mm"),
        not_seen=("voids under 0.2 mm", "anything behind the filling"),
        residuals=(
            Residual("end", "end of the filling", q(0.5, 0.1, 0.9, "mm"), 0.5, q(0.8, 0.4, 1.2, "mm"), q(0.3, -0.2, 0.8, "mm")),
        ),
    )  # fmt: skip


def case_in(store: Store, who: Identity | None = WHO, *, assessed: bool = True) -> str:
    """Record the invented case; gives its name."""
    patient = store.patients.add("ann", who)
    case = store.cases.open(patient, {"tooth": 46, "index_before": 4}, "ann")
    demo = casefile.demo_case()
    seq = store.cases.record(case, Kind.MEASUREMENT, {"case_file": casefile.dumps(demo), "digest": demo.digest}, "ann")
    for name in ("mesiobuccal", "distal"):
        content = plan_json(retitled(plan(), name))
        store.cases.record(case, Kind.PLAN, {"canal": name, "plan": content, "choices": "", "measured": seq}, "ann")
    store.cases.record(
        case,
        Kind.CHAIR,
        {
            "on": "2024-11-20", "session": "invented", "canal": "mesiobuccal", "finished": True, "seconds": 312.4, "off": 1,
            "holds_kept": 0.75,
            "steps": [
                {"kind": "heat", "planned_s": 2.0, "done_s": 2.3, "planned_mm": 16.0, "done_mm": 16.2, "notes": []},
                {"kind": "press", "planned_s": 10.0, "done_s": 6.0, "planned_mm": 15.8, "done_mm": 15.8, "notes": ["slipped"]},
            ],
        },
        "ann",
    )  # fmt: skip
    if assessed:
        found = assessment().as_json()
        store.cases.record(case, Kind.CHECK, {"on": "2024-11-20", "canal": "mesiobuccal", "assessment": found}, "ann")
    wrong = store.cases.record(case, Kind.CHECK, {"on": "2024-11-20", "short_mm": 0.9, "void_percent": 1.5}, "ann")
    store.cases.correct(wrong, {"on": "2024-11-20", "short_mm": 0.8, "void_percent": 1.0}, "read again", "bea")
    store.images.attach(case, PNG, "film after the filling", "ann")
    store.cases.record(
        case, Kind.RECALL,
        {"on": "2025-11-22", "index": {"mesial": {"ann": 2}}, "percussion": False, "lesion": "smaller"}, "ann",
    )  # fmt: skip
    store.cases.record(case, Kind.NOTE, {"text": "calm <b>since</b> #a *week*"}, "bea")
    return case


def store_at(home: Path) -> Store:
    """Fresh records at `home`."""
    return Store.create(home, SECRET, cost=CHEAP, clock=lambda: NOW)


def dossier(home: Path, who: Identity | None = WHO, *, assessed: bool = True) -> Dossier:
    """The invented case as it is handed over."""
    with store_at(home) as store:
        case = case_in(store, who, assessed=assessed)
        view = store.cases.view(case)
        identity = store.patients.identity(view.patient) if who else None
        return dossier_of(store.vault.key_file.store, view, store.cases.events(case), identity)


def volume(shape: tuple[int, int, int] = (6, 20, 24)) -> np.ndarray:
    """A small invented label volume: 1 in one ellipsoid, 2 in another."""
    z, y, x = np.mgrid[: shape[0], : shape[1], : shape[2]]
    out = np.zeros(shape, np.uint8)
    out[(x - 8) ** 2 + (y - 8) ** 2 < 20] = 1
    out[(x - 17) ** 2 + (y - 12) ** 2 + (z - 3) ** 2 < 10] = 2
    return out
