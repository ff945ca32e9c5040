"""A class file (TOML): the students, the teeth, the protocol that all follow.

[class]
version = 1
title = "First downpack"
seed = 3
teeth_each = 2
students = "students.csv"       # one column `student`; stays with the teacher
teeth = "teeth"                 # a folder or table, as for `cohort run`

[protocol]
activation = 2.0
rounds = 2
"""

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from pydantic import Field, ValidationError

from canalwright.casefile import CaseError, load_tray, toml
from canalwright.casefile.fields import PRINTABLE, Closed
from canalwright.casefile.problems import from_pydantic
from canalwright.cohort.job import CohortError
from canalwright.cohort.study_model import ProtocolTable
from canalwright.records.pseudonym import keyed_name

PREFIX = "S"
LEAST_KEY = 16


class ClassTable(Closed):
    """The class as a whole."""

    version: Literal[1]
    title: str = Field(pattern=PRINTABLE, min_length=1, max_length=120)
    seed: int = Field(ge=0, le=2**31)
    teeth_each: int = Field(default=1, ge=1, le=32)
    students: str
    teeth: str
    draws: int = Field(default=200, ge=64, le=10_000)


class ClassModel(Closed):
    """The whole file."""

    class_: ClassTable = Field(alias="class")
    protocol: ProtocolTable = ProtocolTable(name="protocol of the class")


@dataclass(frozen=True)
class Practical:
    """A class file with what it names: students in order, the source of the teeth, the text of the tray (None: the generic one)."""

    model: ClassModel
    students: tuple[str, ...]
    teeth: Path
    tray: str | None


def load_class(path: Path) -> Practical:
    """Read a class file and the list of students. Raises CaseError or CohortError for what is wrong in either."""
    table = toml.read(path)
    table.setdefault("protocol", {}).setdefault("name", "protocol of the class")
    try:
        model = ClassModel.model_validate(table)
    except ValidationError as error:
        raise CaseError(from_pydantic(path.name, error, ClassModel.model_json_schema())) from None
    students = _students(path.parent / model.class_.students)
    tray = None
    if model.protocol.tray is not None:
        load_tray(path.parent / model.protocol.tray)
        tray = (path.parent / model.protocol.tray).read_text(encoding="utf-8")
    return Practical(model, students, path.parent / model.class_.teeth, tray)


def pseudonyms(students: tuple[str, ...], key: bytes) -> dict[str, str]:
    """Pseudonym by student, from the teacher's key. Raises CohortError for a key too short, or two students of one pseudonym."""
    if len(key) < LEAST_KEY:
        raise CohortError(
            f"the key has {len(key)} bytes, at least {LEAST_KEY} are needed; make one with `cohort class key`"
        )
    found = {student: keyed_name(PREFIX, key, student) for student in students}
    if len(set(found.values())) < len(found):
        raise CohortError("two students get the same pseudonym under this key; make another key")
    return found


def assignments(names: tuple[str, ...], teeth: tuple[str, ...], each: int, seed: int) -> dict[str, tuple[str, ...]]:
    """Teeth by pseudonym: each gets `each` different ones, every tooth as often as another (or once more), drawn by `seed`.

    The order in which students are listed does not matter. Raises CohortError where there are fewer teeth than each shall have.
    """
    if each > len(teeth):
        raise CohortError(f"teeth_each = {each}: there are {len(teeth)} teeth; add teeth or give fewer to each")
    generator = np.random.default_rng(seed)
    order = [sorted(names)[i] for i in generator.permutation(len(names))]
    uses = dict.fromkeys(sorted(teeth), 0)
    found: dict[str, tuple[str, ...]] = {}
    for name in order:
        mixed = [sorted(teeth)[i] for i in generator.permutation(len(teeth))]
        chosen = sorted(mixed, key=lambda tooth: uses[tooth])[:each]
        for tooth in chosen:
            uses[tooth] += 1
        found[name] = tuple(sorted(chosen))
    return {name: found[name] for name in sorted(found)}


def _students(path: Path) -> tuple[str, ...]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            rows = [" ".join((row.get("student") or "").split()) for row in csv.DictReader(stream)]
    except (OSError, UnicodeDecodeError):
        raise CohortError(f"{path.name}: cannot be read; give a CSV file with a column `student`") from None
    students = tuple(row for row in rows if row)
    if not students:
        raise CohortError(f"{path.name}: no student in it; give a CSV file with a column `student`")
    twice = sorted({s for s in students if students.count(s) > 1})
    if twice:
        raise CohortError(
            f"{path.name}: {len(twice)} student(s) are there twice; give each a name or number of their own"
        )
    return students
