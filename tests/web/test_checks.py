"""A check of the page as a file, and what the records keep of it."""

import asyncio
import json

import numpy as np
from fastapi import Response

from canalwright.assessment import Assessment, Beyond, Residual, Sight, criteria
from canalwright.imaging.radiograph.shown import Shown
from canalwright.quantities import Quantity
from canalwright.web.checks import Check, Checks, routes


def a_check() -> Check:
    q = Quantity(0.7, 0.5, 0.9, "mm")
    found = Assessment(
        46, "distal", "radiograph", "scaled", q, Quantity(9.0, 8.8, 9.2, "mm"), criteria.grade(criteria.length_criterion(q)), None,
        Quantity(np.float64(0.01), np.float64(0.0), 0.02, ""), (), (), (), Beyond(Sight.NOT_SEEN), q, ("voids smaller than 0.2 mm",),
        (Residual("end", "end", Quantity(np.float64(0.5), np.float64(0.3), np.float64(0.8), "mm"), None, q, q),),
    )  # fmt: skip
    return Check(found, Shown(np.full((8, 9), 40_000, np.uint16), 1, 0, 65535), {"canal": [[1, 2]]}, (("trim", 0.2),))


def _asked(index: int) -> Response:
    checks = Checks()
    checks.put("key", 2, a_check())
    endpoint = next(r.endpoint for r in routes(checks).routes if getattr(r, "path", "").endswith("check.json"))  # type: ignore[attr-defined]
    found: Response = asyncio.run(endpoint("key", index))
    return found


def test_the_check_is_a_file_with_its_intervals_and_what_was_not_seen() -> None:
    answer = _asked(2)
    assert answer.status_code == 200
    assert 'filename="check-46.json"' in answer.headers["content-disposition"]
    told = json.loads(bytes(answer.body))
    assert told["short_mm"] == 0.7 and told["void_percent"] == 1.0 and told["habits"] == [["trim", 0.2]]
    assert told["assessment"]["not_seen"] == ["voids smaller than 0.2 mm"]
    assert told["assessment"]["to_terminus"]["low"] == 0.5
    assert told["assessment"]["residuals"][0]["within"] is True


def test_another_canal_has_no_check() -> None:
    assert _asked(1).status_code == 404


def test_the_film_that_is_kept_is_a_picture_and_nothing_else() -> None:
    content = a_check().png()
    assert content is not None and content.startswith(b"\x89PNG") and len(content) < 300
