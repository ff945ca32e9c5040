"""A study file (TOML): which virtual teeth, which protocols, which questions.

[study]
version = 1
title = "Seconds of heat in the lower molar"
seed = 7                    # the same seed gives the same teeth, to the bit
teeth = 2000                # of each group
draws = 200                 # of what is uncertain in each tooth

[[group]]
name = "lower first molar, mesial"
tooth = 46
canals = ["MB"]             # left out: all usual ones
file = { size = 30, taper = 0.04 }

[[protocol]]
name = "2 rounds of 2 s"
rounds = 2
activation = 2.0

[[question]]
ask = "heat"                # or reach, rounds
share = 0.99
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, ValidationError, model_validator

from canalwright.anatomy import Tooth
from canalwright.casefile import CaseError, load_tray, toml
from canalwright.casefile.fields import PRINTABLE, Closed
from canalwright.casefile.problems import from_pydantic
from canalwright.cohort.job import CohortError, Job
from canalwright.cohort.virtual import names_of
from canalwright.instruments import iso3630

Ask = Literal["heat", "reach", "rounds"]


class FileTable(Closed):
    """The finishing file: a fixed size, or `above` ISO sizes over the native apical width between `least` and `most`."""

    taper: float = Field(default=0.04, ge=0, le=0.2)
    size: int | None = None
    above: int = Field(default=3, ge=0, le=8)
    least: int = 25
    most: int = 60


class GroupTable(Closed):
    """Teeth of one kind."""

    name: str = Field(pattern=PRINTABLE, min_length=1, max_length=60)
    tooth: int
    canals: list[str] = Field(default=[], max_length=8)
    file: FileTable = FileTable()
    wall_factor: float = Field(default=1.0, ge=0.3, le=2.0, description="All walls of the group times this")


class ProtocolTable(Closed):
    """One protocol; what is left out is the planner's choice. Temperatures deg C, times s, force N."""

    name: str = Field(pattern=PRINTABLE, min_length=1, max_length=60)
    tray: str | None = Field(default=None, description="A tray file beside the study file; without it the generic tray")
    carrier: str | None = None
    cone: str | None = None
    sealer: str | None = None
    pluggers: list[str] | None = Field(default=None, min_length=3, max_length=3)
    temperature: float | None = None
    activation: float | None = None
    rounds: int | None = None
    force: float | None = None
    hold: float | None = None
    last_hold: float | None = None
    pause: float | None = None

    def choices(self) -> dict[str, Any]:
        """What is chosen, as keyword values."""
        return {k: v for k, v in self.model_dump(exclude={"name", "tray"}).items() if v is not None}


class QuestionTable(Closed):
    """`heat`: which protocols keep the share of fillings under the limit; `reach`: which bring the apical plugger near the end in
    that share of teeth; `rounds`: what each protocol gains over the one before it in the list, and whether that is `worth_mm`."""

    ask: Ask
    share: float = Field(default=0.99, gt=0, lt=1)
    worth_mm: float = Field(default=0.25, gt=0, le=5)


class AboutTable(Closed):
    """The study as a whole."""

    version: Literal[1]
    title: str = Field(pattern=PRINTABLE, min_length=1, max_length=120)
    note: str = Field(default="", max_length=2000)
    seed: int = Field(ge=0, le=2**31)
    teeth: int = Field(ge=1, le=1_000_000)
    draws: int = Field(default=200, ge=64, le=10_000)
    limit_k: float = Field(default=10.0, gt=0, le=50, description="Rise at the root surface taken as the limit, K")
    within_mm: float = Field(default=5.0, ge=4, le=15, description="How near the end the apical plugger has to come")
    press: bool = Field(default=False, description="Ask the compaction model too (voids)")
    measured_by: Literal["micro-CT", "surface meshes", "cone-beam scan", "radiograph"] = "micro-CT"


class StudyModel(Closed):
    """The whole file."""

    study: AboutTable
    group: list[GroupTable] = Field(min_length=1, max_length=40)
    protocol: list[ProtocolTable] = Field(min_length=1, max_length=40)
    question: list[QuestionTable] = Field(default=[], max_length=10)

    @model_validator(mode="after")
    def _named_once(self) -> "StudyModel":
        for kind, names in (("group", [g.name for g in self.group]), ("protocol", [p.name for p in self.protocol])):
            twice = sorted({n for n in names if names.count(n) > 1})
            if twice:
                raise ValueError(f"two {kind}s are named {twice[0]!r}; give each its own name")
        return self


def load_study(path: Path) -> tuple[StudyModel, dict[str, str | None]]:
    """A study file and, by protocol, the text of its tray file. Raises CaseError or CohortError for what is wrong in either."""
    try:
        model = StudyModel.model_validate(toml.read(path))
    except ValidationError as error:
        raise CaseError(from_pydantic(path.name, error, StudyModel.model_json_schema())) from None
    for i, group in enumerate(model.group):
        _check_group(f"{path.name}: group[{i}]", group)
    trays: dict[str, str | None] = {}
    for protocol in model.protocol:
        trays[protocol.name] = None
        if protocol.tray is not None:
            tray = path.parent / protocol.tray
            load_tray(tray)
            trays[protocol.name] = tray.read_text(encoding="utf-8")
    return model, trays


def _check_group(where: str, group: GroupTable) -> None:
    try:
        names_of(Tooth(group.tooth), group.canals)
    except ValueError as error:
        raise CohortError(f"{where}: {error}") from None
    file = group.file
    for key, size in (("size", file.size), ("least", file.least), ("most", file.most)):
        if size is not None and size not in iso3630.SIZES:
            raise CohortError(f"{where}.file.{key} = {size}: allowed sizes of ISO 3630-1; choose one of them")


@dataclass(frozen=True)
class Study:
    """A study file with the text of its trays."""

    model: StudyModel
    trays: dict[str, str | None]

    @classmethod
    def load(cls, path: Path) -> "Study":
        """Read a study file; raises CaseError or CohortError for what is wrong in it."""
        return cls(*load_study(path))

    @property
    def questions(self) -> list[QuestionTable]:
        """Those of the file; without any: heat, and reach in 95 %."""
        return self.model.question or [QuestionTable(ask="heat"), QuestionTable(ask="reach", share=0.95)]

    def jobs(self, teeth: int | None = None) -> list[Job]:
        """One job for each virtual tooth of each group; fewer `teeth` give the first ones of the same."""
        about = self.model.study
        protocols = [{"name": p.name, "choices": p.choices(), "tray": self.trays[p.name]} for p in self.model.protocol]
        found = []
        for i, group in enumerate(self.model.group):
            told = {
                "name": group.name, "tooth": group.tooth, "canals": group.canals, "shaping": group.file.model_dump(),
                "measured_by": about.measured_by, "wall_factor": group.wall_factor,
            }  # fmt: skip
            for number in range(teeth or about.teeth):
                content: dict[str, Any] = {
                    "group": told, "seed": about.seed, "number": number, "protocols": protocols, "draws": about.draws,
                    "press": about.press, "limit": about.limit_k, "within": about.within_mm,
                }  # fmt: skip
                found.append(Job(f"g{i + 1}-{number:06d}", "trial", content))
        return found
