"""A plan carries the verdict on its canal: it warns, it changes no number, and a what-if keeps it."""

from dataclasses import replace

from canalwright import planning
from canalwright.planning import Choices, Harm
from canalwright.readiness import GaugeTrial, Record, Sounding, Verdict


def test_the_plan_carries_the_verdict(case, tray, plans):
    record = Record(
        (Sounding("apex locator", 17.0), Sounding("radiograph", 21.3)), trials=(GaugeTrial(45, True),), age=40
    )
    made = planning.plan(case.canal("distal"), tray, Choices(draws=200), record)
    assert made.readiness.verdict is Verdict.NOT_READY
    codes = {f.code: f.harm for f in made.findings}
    assert codes["readiness-length"] is Harm.CAUTION and codes["readiness-gauge"] is Harm.DOUBT
    assert codes["readiness-dryness"] is Harm.NOTE
    assert [f.harm for f in made.findings] == sorted((f.harm for f in made.findings), reverse=True)
    plain = plans["distal"]
    assert plain.readiness is None and made.cone == plain.cone and made.rounds == plain.rounds
    again = planning.preview(made, replace(made.choices, force=25.0))
    assert again.readiness == made.readiness and "readiness-length" in {f.code for f in again.findings}
