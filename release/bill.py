"""The bill of materials: `python -m release.bill FILE` writes what canalwright needs at run time as CycloneDX JSON.

From what is installed in this environment, what only developers need left out: each package with its version, its licence and what
it needs itself. Checked against the standard's schema before it is written; the same environment gives the same bytes.
"""

import json
import sys
from importlib import metadata
from pathlib import Path

from cyclonedx.contrib.license.factories import LicenseFactory
from cyclonedx.model.bom import Bom, BomMetaData
from cyclonedx.model.component import Component, ComponentType
from cyclonedx.output.json import JsonV1Dot6
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from packageurl import PackageURL

from release.licences import licence, needed, normal, wanted


def bill() -> str:
    """The bill as JSON text."""
    packages = needed()
    house = metadata.distribution("canalwright")
    own, parts = _component(house, ComponentType.APPLICATION), {}
    for name, one in packages.items():
        parts[name] = _component(one, ComponentType.LIBRARY)
    made = Bom(components=parts.values(), metadata=BomMetaData(component=own))
    for part, one in ((own, house), *((parts[name], one) for name, one in packages.items())):
        asked = {normal(w.name) for w in wanted(one)}
        made.register_dependency(part, [parts[name] for name in sorted(asked & set(parts))])
    told = json.loads(JsonV1Dot6(made).output_as_string())
    del told["serialNumber"], told["metadata"]["timestamp"]  # different at each making, and neither is required
    return json.dumps(told, indent=1, sort_keys=True) + "\n"


def fault(text: str) -> str:
    """What the schema of CycloneDX 1.6 has against a bill; nothing when it is valid."""
    found = JsonStrictValidator(SchemaVersion.V1_6).validate_str(text)
    return "" if found is None else str(found)


def _component(one: metadata.Distribution, kind: ComponentType) -> Component:
    name, told = normal(one.metadata["Name"]), licence(one)
    return Component(
        name=one.metadata["Name"], version=one.version, type=kind, bom_ref=f"{name}=={one.version}",
        purl=PackageURL("pypi", name=name, version=one.version),
        licenses=[LicenseFactory().make_from_string(told)] if told else [],
    )  # fmt: skip


if __name__ == "__main__":
    written = bill()
    if wrong := fault(written):
        sys.exit(f"the bill is not valid CycloneDX: {wrong}")
    Path(sys.argv[1]).write_text(written, encoding="utf-8")
    print(sys.argv[1])
