"""The bill of materials is valid CycloneDX, complete, and the same at each making."""

import json
import re
import subprocess
import sys
from pathlib import Path

from packaging.markers import Marker

from release import bill, licences

LOCK = (Path(__file__).parents[2] / "requirements.lock").read_text(encoding="utf-8")


def test_the_bill_is_valid_and_names_all_that_is_needed(tmp_path: Path) -> None:
    written = bill.bill()
    assert bill.fault(written) == ""
    told = json.loads(written)
    named = {licences.normal(c["name"]): c for c in told["components"]}
    assert set(named) == set(licences.needed())
    assert all(c["licenses"] and c["purl"].endswith(f"@{c['version']}") for c in named.values())
    edges = {d["ref"]: set(d.get("dependsOn", ())) for d in told["dependencies"]}
    own = edges[told["metadata"]["component"]["bom-ref"]]
    assert {ref.split("==")[0] for ref in own} >= {"numpy", "pydicom", "sqlalchemy"}
    assert set().union(*edges.values()) <= {c["bom-ref"] for c in named.values()}
    done = subprocess.run([sys.executable, "-m", "release.bill", str(tmp_path / "b.json")], check=False)
    assert done.returncode == 0
    assert (tmp_path / "b.json").read_text(encoding="utf-8") == written, "another making gave another bill"


def test_the_schema_would_notice() -> None:
    told = json.loads(bill.bill())
    told["components"][0]["type"] = "gadget"
    assert "gadget" in bill.fault(json.dumps(told))


def test_what_is_billed_is_what_is_locked() -> None:
    rows = re.findall(r"^([\w.-]+)==([^\s;\\]+)(?: ; ([^\\\n]*))?", LOCK, re.MULTILINE)
    locked = {
        licences.normal(n): version for n, version, marker in rows if not marker or Marker(marker.strip()).evaluate()
    }
    for component in json.loads(bill.bill())["components"]:
        assert locked.get(licences.normal(component["name"])) == component["version"], component["name"]
