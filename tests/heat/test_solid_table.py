"""The what-if table, the words and the arrays to play: each line changes what it says and nothing else, with the same intervals."""

import csv
import io
import json
import math
from dataclasses import replace

import numpy as np
import pytest

from canalwright.heat import example, solid
from canalwright.heat.solid import choices
from canalwright.heat.solid.playback import Playback
from canalwright.heat.solid.telling import as_json, as_lines, table_json
from canalwright.protocol import Bite, Heat, Pause, Protocol, Sear
from tests.heat.test_solid_doubt import CELLS, PROTOCOL, doubt, lumen, root, story

ROUNDS = example.protocol(3, 2)


def _heats(protocol: Protocol) -> list[Heat]:
    return [a for a in protocol.acts if isinstance(a, Heat)]


def test_a_hotter_carrier_and_nothing_else() -> None:
    for before, after in zip(ROUNDS.acts, choices.hotter(ROUNDS, 30.0).acts, strict=True):
        if isinstance(before, Sear | Heat):
            assert after == replace(before, temperature=before.temperature + 30.0)
        else:
            assert after == before


def test_pauses_twice_as_long_or_none() -> None:
    waited = sum(a.seconds for a in ROUNDS.acts if isinstance(a, Pause))
    assert choices.paused(ROUNDS, 2.0).seconds == pytest.approx(ROUNDS.seconds + waited)
    assert choices.paused(ROUNDS, 0.0).seconds == pytest.approx(ROUNDS.seconds - waited)


def test_the_downpack_is_moved_as_one() -> None:
    up = choices.moved(ROUNDS, 1.0)
    assert [h.stop for h in _heats(up)] == [h.stop + 1.0 for h in _heats(ROUNDS)]
    assert [a.level for a in up.acts if isinstance(a, Bite)] == [
        a.level + 1.0 for a in ROUNDS.acts if isinstance(a, Bite)
    ]
    down = choices.moved(ROUNDS, -99.0)
    assert {a.stop for a in down.acts[:-1] if isinstance(a, Heat)} == {0.5}, "never beyond the end"
    first = next(i for i, a in enumerate(ROUNDS.acts) if isinstance(a, Heat))
    assert up.acts[:first] == ROUNDS.acts[:first], "what comes before the first plunge stays"


def test_one_wave_takes_the_time_of_all_plunges_to_the_deepest_stop() -> None:
    (wave,) = _heats(choices.one_wave(ROUNDS))
    rounds = _heats(ROUNDS)
    assert wave.stop == rounds[-1].stop
    assert wave.plunge == pytest.approx(sum(h.plunge for h in rounds))
    assert wave.seconds - wave.plunge == pytest.approx(rounds[-1].seconds - rounds[-1].plunge)
    once = choices.one_wave(PROTOCOL)
    assert choices.one_wave(once) == once


def test_the_table_has_the_plan_first_and_keeps_its_intervals() -> None:
    told: list[float] = []
    wanted = ("thin wall on one side", "activation 0.5", "set temperature +30", "no pauses")
    table = solid.what_if(
        root(), PROTOCOL, story=story(), sure=doubt(), voxels=CELLS, only=lambda name: name.startswith(wanted), step=told.append
    )  # fmt: skip
    assert [c.name for c in table] == [
        "as planned", "set temperature +30 K", "activation 0.5 times as long", "no pauses", "thin wall on one side (half)",
    ]  # fmt: skip
    assert told[-1] == 1.0 and len(told) == len(table)
    planned, hotter, shorter, _, thin = table
    worst = story().surface.hottest
    its_own = (story().surface_rise, story().bone_peak, story().surface_level, story().deepest_front)
    assert (planned.rise, planned.bone, planned.level, planned.front) == pytest.approx(its_own), (
        "the plan's own numbers"
    )
    assert planned.above_47 == pytest.approx(story().surface.above_47[worst])
    assert planned.cem43 == pytest.approx(story().surface.cem43[worst])
    assert (planned.low, planned.high) == pytest.approx(doubt().interval("rise"))
    assert hotter.rise > planned.rise > shorter.rise
    assert thin.rise > planned.rise, "less dentine on the hottest side"
    ends = np.array(doubt().interval("rise")) / doubt().rise[0]
    assert all((c.low, c.high) == pytest.approx(tuple(ends * c.rise)) for c in table)
    for c in table:
        assert c.bone_low <= c.bone <= c.bone_high and c.above_47_low <= c.above_47 <= c.above_47_high
        assert c.cem43_low <= c.cem43 <= c.cem43_high
    text = solid.as_text(table, "Take care.")
    assert text.splitlines()[-1] == "Take care." and len(text.splitlines()) == len(table) + 2
    rows = list(csv.reader(io.StringIO(solid.as_csv(table))))
    assert rows[0] == list(choices.HEADINGS.values())
    assert [float(row[1]) for row in rows[1:]] == pytest.approx([c.rise for c in table], rel=1e-3)
    assert [row["rise_k"] for row in table_json(table)] == [c.rise for c in table]


def test_a_table_on_coarser_cells_is_told_as_on_the_cells_of_the_plan() -> None:
    """What coarse cells make of a rise is taken out: to 3 % the line is what a run on the story's own cells gives."""
    cells = replace(CELLS, voxel=0.25, along=0.7)
    rough = solid.from_lumen(lumen(), walls=solid.eccentric(lumen(), 2.0), voxels=cells)
    planned, hotter = solid.what_if(
        rough, PROTOCOL, story=story(), sure=doubt(), voxels=cells, only=lambda name: name == "set temperature +30 K"
    )
    own = solid.simulate(root(), choices.hotter(PROTOCOL, 30.0), voxels=CELLS, every=1e9, wide=False)
    assert planned.rise == pytest.approx(story().surface_rise), "the plan's number, not that of the coarser cells"
    assert hotter.rise == pytest.approx(own.surface_rise, rel=0.03)


def test_every_number_of_the_story_is_told_with_its_interval() -> None:
    told = json.loads(json.dumps(as_json(story(), doubt(), "Take care."), allow_nan=False))
    assert told["caution"] == "Take care." and "Leaves out" in told["leaves_out"]
    for number in (told["root_surface"]["rise_k"], told["bone"]["rise_k"], told["root_surface"]["level_mm"]):
        assert number["low"] <= number["value"] <= number["high"]
    assert len(told["acts"]) == len(PROTOCOL.acts)
    lines = "\n".join(as_lines("mesial", story(), doubt()))
    assert "mesial: root surface" in lines and "longest safe activation" in lines and "shortest safe pause" in lines
    none = replace(doubt(), activation=np.zeros(0), pause=np.full_like(doubt().rise, np.inf))
    assert as_json(story(), none, "")["longest_safe_activation_s"] is None
    assert as_json(story(), none, "")["shortest_safe_pause_s"] == {"value": None, "low": None, "high": None}
    assert "longest safe activation" not in "\n".join(as_lines("mesial", story(), none))


def test_a_story_is_played_from_its_film() -> None:
    played = Playback.of(story(), every=5.0)
    assert played.time[0] == story().time[0] and played.time[-1] == story().time[-1]
    assert np.all(np.diff(played.time[:-1]) >= 5.0 - 1e-9)
    for film, lines in zip(played.sections, played.lines, strict=True):
        assert film.shape == (len(played.time), *lines.shape)
        assert math.isfinite(float(film.sum())) and lines.any()
    assert np.isfinite(played.rise).all() and np.isfinite(played.surface).all()
    assert played.rise.max() == pytest.approx(story().surface.peak_rise.max())
    with pytest.raises(ValueError, match="kept no film"):
        Playback.of(replace(story(), film=story().film[:, :0]))
