"""Protects: what goes on the plan has intervals and words; the same canal can be filled cold; Sobol indices add up."""

import numpy as np
import pytest

from canalwright import compaction
from canalwright.compaction.sensitivity import sentence, words
from canalwright.quantities import Contribution, Reading, Shape, Source, draw
from canalwright.quantities.provenance import Origin
from tests.compaction import scene

CANAL, PLAN = scene.lumen(), scene.protocol()
PORTALS = [scene.lateral(3.0), scene.lateral(9.0, 0.2)]
SAMPLE = draw(compaction.readings(portals=PORTALS), 63, 11)
STORY = compaction.simulate_many(CANAL, PORTALS, PLAN, scene.temperatures(CANAL, PLAN), SAMPLE)


def test_summary_has_intervals_and_words() -> None:
    told = compaction.summarise(STORY, SAMPLE)
    for fill in told.portals:
        assert fill.gutta.low < fill.gutta.value < fill.gutta.high <= fill.length
        assert 0 <= fill.chance_gutta <= 1
        assert fill.chance.high <= 0.9 * fill.chance_open + 1e-9
        assert fill.doubt.startswith(("nearly", "three", "two", "half", "a ", "the largest"))
    assert told.puff.low < told.puff.high
    assert 0 < told.void.value < told.gutta.value
    assert told.holds
    assert told.root_warns == (told.root_ratio.value >= 0.3 or told.root_ratio.high >= 1)
    assert len(told.to_add) == 3
    with pytest.raises(ValueError, match="draws"):
        compaction.summarise(STORY, draw(compaction.readings(), 3, 1))


def test_where_nothing_varies_there_is_no_doubt_to_tell() -> None:
    """Not pressed at all: the branch holds the sealer that the seated cone drove in, all of it, in every draw."""
    idle = scene.protocol(loads=False)
    left = compaction.simulate_many(
        CANAL, [scene.lateral(2.0, 0.3, 0.3)], idle, scene.temperatures(CANAL, idle), SAMPLE
    )
    still = compaction.summarise(left, SAMPLE).portals[0]
    assert still.chance_gutta == 0
    assert still.doubt == ""
    assert compaction.Sensitivity("x", {"a": 0.0}, {"a": 0.0}).sentence == ""


def test_a_scan_sees_fewer_voids_the_coarser_it_is() -> None:
    seen = [STORY.fill.seen(voxel).share("void").mean() for voxel in (0.0, 0.005, 0.0125, 0.03, 0.3)]
    assert seen == sorted(seen, reverse=True)
    assert seen[0] == pytest.approx(STORY.fill.share("void").mean())
    whole = STORY.fill.seen(0.03)
    assert np.allclose(whole.gutta + whole.sealer + whole.void, 1)


def test_techniques_in_one_oval_canal() -> None:
    """Beside a round cone in an oval canal: warm leaves most gutta-percha, a single cone least; sealer the other way."""
    canal = scene.lumen(oval=2.0)
    warm = compaction.simulate_many(canal, PORTALS, PLAN, scene.temperatures(canal, PLAN), SAMPLE)
    cone = compaction.single_cone(canal, PORTALS, PLAN.acts[0], SAMPLE)  # type: ignore[arg-type]
    cold = compaction.cold_lateral(canal, PORTALS, PLAN.acts[0], SAMPLE)  # type: ignore[arg-type]
    gutta = [filling.fill.share("gutta").mean() for filling in (cone, cold, warm)]
    assert gutta == sorted(gutta)
    assert cone.fill.share("sealer").mean() > cold.fill.share("sealer").mean() > warm.fill.share("sealer").mean()
    dry = compaction.cold_lateral(canal, PORTALS, PLAN.acts[0], SAMPLE, sealed=False)  # type: ignore[arg-type]
    assert dry.fill.share("sealer").max() == 0
    assert np.all((cold.filled(0) >= 0) & (cold.filled(0) <= 1))
    assert np.all(cold.puff >= cone.puff - 1e-12)


def test_sobol_finds_what_matters_in_a_known_function() -> None:
    """Additive: shares of variance 0.8 and 0.2 by construction (uniform inputs with half widths 2 and 1)."""
    source = Source(Origin.ASSUMED, "test")
    named = {
        "sealer.share": Reading(0.0, 2.0, "", source, Shape.UNIFORM),
        "press.grip": Reading(0.0, 1.0, "", source, Shape.UNIFORM),
        "fixed": Reading(1.0, 0.0, "", source),
    }
    (found,) = compaction.sensitivities(
        lambda sample: sample,  # type: ignore[arg-type, return-value]
        named,
        {"the sum": lambda sample: sample["sealer.share"] + sample["press.grip"]},  # type: ignore[index]
        points=1024,
    )
    assert found.first["sealer.share"] == pytest.approx(0.8, abs=0.03)
    assert found.total["press.grip"] == pytest.approx(0.2, abs=0.03)
    assert found.sentence == "three quarters of the doubt about the sum comes from how much sealer lies beside the cone"


def test_sentences() -> None:
    assert sentence("the branch at 3 mm", "portal.0.diameter", 0.5) == (
        "half of the doubt about the branch at 3 mm comes from its width"
    )
    assert compaction.leading("x", ()) == ""
    assert "force of the hand" in compaction.leading("x", (Contribution("press.force", 0.3, True),))
    for name in compaction.readings():
        assert words(name) != name, name


def test_warm_up_runs_through() -> None:
    assert not compaction.warm_up(wait=True).is_alive()
