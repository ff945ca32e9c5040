"""A case: one tooth, its canals, and the file they came from."""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from canalwright.anatomy import Canal, Doubt, MeasurementError, Tooth, averages
from canalwright.casefile import toml
from canalwright.casefile.case_model import CaseModel
from canalwright.casefile.convert import measurements, tooth_of
from canalwright.casefile.corrections import corrections_of, credited
from canalwright.casefile.problems import CaseError, Problem, from_fault, from_pydantic
from canalwright.casefile.readiness_model import ReadinessTable

if TYPE_CHECKING:
    from canalwright.imaging.corrections import Correction
    from canalwright.readiness import Record


@dataclass(frozen=True)
class Case:
    """One tooth with its canals.

    `model` is the file as it was written; `digest` (SHA-256 of its content, comments and order left out) names it.
    `doubts` are about the tooth as a whole; those about one canal are in `Canal.notes`.
    """

    label: str
    tooth: Tooth
    canals: tuple[Canal, ...]
    model: CaseModel = field(repr=False)
    digest: str
    doubts: tuple[Doubt, ...] = ()

    def canal(self, name: str) -> Canal:
        """A canal by its trade name, in full or short; raises KeyError naming those there are."""
        full, _ = averages.canal_name(self.tooth, name)
        for canal in self.canals:
            if full == canal.name:
                return canal
        raise KeyError(f"no canal named {name!r}; there are {', '.join(c.name for c in self.canals)}")

    @property
    def corrections(self) -> tuple["Correction", ...]:
        """What was corrected in the canals as they were found in a scan, in order, each with its author."""
        return corrections_of(self.model.correction)

    def record(self, name: str) -> "Record | None":
        """What the file holds of a canal's length, drying, gauging and irrigation; None where it has no such table."""
        names = [canal.name for canal in self.canals]
        table = self.model.canal[names.index(self.canal(name).name)].readiness
        return None if table is None else _record(table, "case", "canal.readiness")


def load(path: str | Path) -> Case:
    """Read a case file. Raises CaseError with everything that is wrong in it, one line each."""
    path = Path(path)
    return from_table(toml.read(path), path.name)


def loads(text: str, name: str = "case") -> Case:
    """Read a case from TOML text; `name` stands for the file in errors."""
    return from_table(toml.parse(text, name), name)


def check(path: str | Path) -> list[Problem]:
    """Everything wrong in a case file; empty when it can be used."""
    try:
        load(path)
    except CaseError as error:
        return list(error.problems)
    return []


def demo_case() -> Case:
    """The invented example: a lower right first molar with three canals."""
    text = files("canalwright.casefile").joinpath("demo_case.toml").read_text(encoding="utf-8")
    return loads(text, "demo_case.toml")


def from_table(table: dict[str, Any], name: str = "case") -> Case:
    """A case from the tables of its file. Raises CaseError."""
    try:
        model = CaseModel.model_validate(table)
    except ValidationError as error:
        raise CaseError(from_pydantic(name, error, model_schema())) from None
    return from_model(model, name)


def from_model(model: CaseModel, name: str = "case") -> Case:
    """A case from its model. Raises CaseError when a measurement cannot be."""
    tooth = tooth_of(model.tooth, name)
    problems: list[Problem] = []
    canals: list[Canal] = []
    for i, table in enumerate(model.canal):
        try:
            canals.append(Canal.from_measurements(measurements(tooth, table)))
        except MeasurementError as error:
            problems += [from_fault(name, f"canal[{i}]", fault) for fault in error.faults]
        try:
            if table.readiness is not None:
                _record(table.readiness, name, f"canal[{i}].readiness")
        except CaseError as error:
            problems += error.problems
    try:
        log = corrections_of(model.correction, name)
        canals = [credited(canal, log) for canal in canals]
    except CaseError as error:
        problems += error.problems
    problems += _twins(tooth, model, name)
    if problems:
        raise CaseError(tuple(problems))
    return Case(model.case.label, tooth, tuple(canals), model, digest(model), tuple(_doubts(tooth, canals)))


def digest(model: CaseModel) -> str:
    """SHA-256 of the content of a case, as hexadecimal digits."""
    content = model.model_dump(mode="json", exclude_defaults=True)
    return hashlib.sha256(json.dumps(content, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def _record(table: ReadinessTable, file: str, where: str) -> "Record":
    """As `record_of`, its room loaded only where a case has such a table."""
    from canalwright.casefile.readiness import record_of

    return record_of(table, file, where)


def _twins(tooth: Tooth, model: CaseModel, file: str) -> Iterator[Problem]:
    """Two canals of one name."""
    names = [averages.canal_name(tooth, table.name)[0].lower() for table in model.canal]
    for i, name in enumerate(names):
        if name in names[:i]:
            action = f"canal[{names.index(name)}] has this name already: name each canal once"
            yield Problem(file, f"canal[{i}].name", repr(model.canal[i].name), "names that differ", action)


def _doubts(tooth: Tooth, canals: list[Canal]) -> Iterator[Doubt]:
    """Canals that this kind of tooth usually has and that the case does not list."""
    usual, there = averages.tooth_averages(tooth).usual, {canal.name for canal in canals}
    missing = [name for name in usual if name not in there]
    if missing and len(canals) < len(usual):
        yield Doubt(
            "canal",
            f"a {tooth.kind} usually has {len(usual)} canals; not in this case: {', '.join(missing)}",
            "look for them, or leave them out because they are not part of this treatment",
        )


@cache
def model_schema() -> dict[str, Any]:
    """JSON Schema of the case model, made once."""
    return CaseModel.model_json_schema()
