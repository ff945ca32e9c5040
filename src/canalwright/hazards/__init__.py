"""What can go wrong and hurt someone, what the product does about it, and what it says about it on every screen and card.

`hazards.toml` is the hazard file, in the manner of ISO 14971: each hazard with its cause, harm, severity and likelihood before and after
the controls, every control with the test that proves it, and the risk that is left. The standing caution and the warnings of each
stage are read from the same file, so that no screen says less than the file does. Likelihoods are judgements of the authors, no
measurements.
"""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

SEVERITIES = ("negligible", "minor", "serious", "critical", "catastrophic")
LIKELIHOODS = ("improbable", "remote", "occasional", "probable", "frequent")


@dataclass(frozen=True, slots=True)
class Control:
    """What the product does against a hazard, and the `tests` that prove it (`path::name`)."""

    does: str
    tests: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Hazard:
    """One way in which someone could be hurt.

    `before` and `after` are likelihoods without and with the controls; `left` says the remaining risk in plain words; `warning` is shown
    at the `stages` where it matters.
    """

    key: str
    title: str
    cause: str
    harm: str
    severity: str
    before: str
    after: str
    controls: tuple[Control, ...]
    left: str
    warning: str = ""
    stages: tuple[str, ...] = ()


@cache
def hazards() -> tuple[Hazard, ...]:
    """Every hazard of the file, in its order."""
    return tuple(_hazard(row) for row in _table()["hazard"])


@cache
def caution() -> str:
    """The standing caution of every screen, card, letter and file that gives a clinical number."""
    return " ".join(_table()["standing"])


@cache
def warnings(stage: str) -> tuple[str, ...]:
    """What is said at a stage of the work besides the standing caution."""
    return tuple(h.warning for h in hazards() if stage in h.stages)


def _table() -> dict[str, Any]:
    return tomllib.loads(files("canalwright.hazards").joinpath("hazards.toml").read_text(encoding="utf-8"))


def _hazard(row: dict[str, Any]) -> Hazard:
    controls = tuple(Control(c["does"], tuple(c["tests"])) for c in row.pop("control"))
    return Hazard(controls=controls, stages=tuple(row.pop("stages", ())), **row)
