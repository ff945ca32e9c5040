"""The film: what the browser unpacks is what was simulated, to the step of its whole numbers, in a size that travels at once."""

import base64
import json

import numpy as np

from canalwright.planning import Plan, Story
from canalwright.web.film import film


def test_what_is_unpacked_is_what_was_simulated(plan: Plan, story: Story) -> None:
    told = json.loads(json.dumps(film(plan, story), allow_nan=False))
    for name, true, step in (
        ("axis", story.heat.axis, 0.02),
        ("surface", story.heat.surface, 0.002),
        ("pressure", story.compaction.pressure, 0.001),
    ):
        packed = told[name]
        values = np.frombuffer(base64.b64decode(packed["data"]), "<i2").reshape(packed["shape"]) / packed["scale"]
        assert np.nanmax(np.abs(values - true)) <= step / 2 + 1e-9, name
    assert told["time"][-1] == told["seconds"]
    assert told["acts"][0]["start"] == 0 and told["acts"][-1]["end"] >= told["seconds"] - 0.01
    assert len(told["portals"]) == len(plan.canal.portals)


def test_it_travels_at_once(plan: Plan, story: Story) -> None:
    assert len(json.dumps(film(plan, story))) < 1_000_000
