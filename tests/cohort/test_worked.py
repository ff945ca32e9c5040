"""The tables beside the worked studies are what their study files give: the first tooth of each, done anew."""

import csv
import math
from pathlib import Path

import pytest

from canalwright.cohort.study import Study
from canalwright.cohort.trial_chain import run

STUDIES = Path(__file__).parents[2] / "docs" / "studies"


@pytest.mark.parametrize("name", ["heat", "reach"])
def test_the_first_tooth_is_the_one_in_the_table(name: str) -> None:
    job = Study.load(STUDIES / f"{name}.toml").jobs(1)[0]
    first = {**job.content, "protocols": job.content["protocols"][:1]}
    (made,) = run(job.ident, first)
    with (STUDIES / f"{name}-teeth.csv").open(encoding="utf-8", newline="") as stream:
        told = next(r for r in csv.DictReader(stream) if (r["tooth"], r["protocol"]) == (job.ident, made["protocol"]))
    for key, value in made.items():
        if isinstance(value, float):
            assert math.isclose(float(told[key]), value, rel_tol=1e-4, abs_tol=1e-6), key
        elif value is not None:
            assert told[key].lower() == str(value).lower(), key
