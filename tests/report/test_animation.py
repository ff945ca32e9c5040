"""The moving picture has a frame for every step, all of one size, tells how far it is, and can be stopped."""

import io
import itertools
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageSequence

from canalwright.report.animation import animation, animation_bytes
from tests.report import sample


@pytest.fixture(scope="module")
def made() -> bytes:
    plan = sample.plan()
    return animation_bytes(plan, sample.story(plan), ".gif", every=12.0)


def test_it_moves_and_lasts_as_long_as_the_filling_played_four_times_faster(made: bytes) -> None:
    plan = sample.plan()
    lasts = float(sample.story(plan).time[-1])
    with Image.open(io.BytesIO(made)) as picture:
        frames = [(np.asarray(f.convert("L")), f.info["duration"]) for f in ImageSequence.Iterator(picture)]
    assert len(frames) > 2
    assert len({f.shape for f, _ in frames}) == 1
    assert any(np.abs(a.astype(int) - b).max() > 60 for (a, _), (b, _) in itertools.pairwise(frames))
    assert sum(d for _, d in frames) == pytest.approx(1000 * (lasts + 12.0) / 4, abs=3000)


def test_it_tells_how_far_it_is_and_stops_when_told_to() -> None:
    plan = sample.plan()

    def stop(done: float) -> None:
        heard.append(done)
        raise InterruptedError

    heard: list[float] = []
    with pytest.raises(InterruptedError):
        animation_bytes(plan, sample.story(plan), every=20.0, told=stop)
    assert len(heard) == 1
    assert 0 < heard[0] < 1


@pytest.mark.parametrize(
    ("wrong", "said"),
    [({"every": 0.0}, "greater than 0"), ({"every": 0.001}, "longer step"), ({"speed": -1.0}, "greater")],
)
def test_settings_that_make_no_picture_are_refused(wrong: dict[str, float], said: str, tmp_path: Path) -> None:
    plan = sample.plan()
    with pytest.raises(ValueError, match=said):
        animation(plan, sample.story(plan), tmp_path / "a.gif", **wrong)
    with pytest.raises(ValueError, match=r"\.avi"):
        animation(plan, sample.story(plan), tmp_path / "a.avi")
    assert not list(tmp_path.iterdir())
