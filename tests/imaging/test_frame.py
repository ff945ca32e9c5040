"""The voxels about a line: the same however many are placed at a time, and none where the line is not in the scan."""

import numpy as np
import pytest

from canalwright.imaging.tracing import frame
from canalwright.imaging.tracing.block import Block
from canalwright.imaging.tracing.path import second_line

HEIGHTS = np.linspace(1.0, 5.0, 41)


def _about(place: float) -> tuple[frame.Frame, Block]:
    grey = np.arange(30 * 20 * 24, dtype=np.float32).reshape(30, 20, 24)
    line = np.column_stack([np.full(41, place), np.full(41, place), HEIGHTS])
    return frame.Frame(second_line(line, 0.0)), Block(grey, np.diag([0.2, 0.2, 0.2, 1.0]))


def test_voxels_placed_a_slab_at_a_time_are_those_placed_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    made, block = _about(2.0)
    whole = made.voxels(block, 1.0)
    monkeypatch.setattr(frame, "SLAB", 1500)
    again = _about(2.0)[0].voxels(block, 1.0)
    assert len(whole[0]) > 1000
    assert all(np.array_equal(a, b) for a, b in zip(whole, again, strict=True))


def test_no_voxels_are_placed_about_a_line_outside_the_scan() -> None:
    made, block = _about(90.0)
    assert [len(found) for found in made.voxels(block, 1.0)] == [0] * 5
