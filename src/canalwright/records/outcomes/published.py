"""Published figures to lay beside one's own, from `published.toml`."""

import tomllib
from dataclasses import dataclass
from importlib.resources import files


@dataclass(frozen=True)
class Published:
    """One figure: a share with its interval where one was given, of whom, from where, and how it was seen."""

    outcome: str
    criteria: str
    value: float
    group: str
    source: str
    seen: str
    low: float | None = None
    high: float | None = None


def published(outcome: str = "", criteria: str = "") -> tuple[Published, ...]:
    """All figures whose outcome begins with `outcome`, by the given criteria where wanted."""
    text = files("canalwright.records.outcomes").joinpath("published.toml").read_text(encoding="utf-8")
    found = (Published(**row) for row in tomllib.loads(text)["figure"])
    return tuple(p for p in found if p.outcome.startswith(outcome) and criteria in ("", p.criteria))
