"""A canal is followed on below where a threshold sees it, to the end of its root."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from canalwright.imaging.found import Quality
from canalwright.imaging.tooth.outline import STEP, Tooth
from canalwright.imaging.tooth.ways import canal_ways
from canalwright.imaging.tracing.block import Block
from canalwright.imaging.tracing.quality import led_elsewhere, less_sure
from tests.imaging.scans import as_found, phantom

VOXEL, BLUR, HALF, TIP = 0.2, 0.17, (0.5, 1.4), 1.0

FAINT = 0.12


def axis(z: np.ndarray) -> np.ndarray:
    """Where the root's middle lies at heights, mm."""
    return np.asarray(0.03 * np.clip(7.0 - z, 0.0, None) ** 2)


def darkness(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
    """A flat root 1 mm thick that bends aside and ends at z = 1 mm; its canal is hardly seen below z = 7 mm. Invented."""
    x = x - axis(z)
    edge = np.maximum(np.maximum(np.abs(x) - HALF[0], np.abs(y) - HALF[1]), TIP - z)
    faint = FAINT + (1 - FAINT) * ndtr((z - 7.0) / 0.3)
    canal = faint * np.exp(-((x / BLUR) ** 2 + (y / (1.4 * BLUR)) ** 2) / 2)
    return np.asarray(np.maximum(canal, 0.55 * ndtr(edge / BLUR)))


@pytest.mark.parametrize("seed", range(4))
def test_a_faint_canal_of_a_thin_root_is_not_left_for_the_root_s_dark_outside(seed: int) -> None:
    """0.12 of the contrast beside noise of 0.035, over 6 mm: it ends in the root's inner 0.6, within 0.7 mm of its end."""
    shape, low = (70, 30, 30), np.array([-2.3, -2.9, 0.0])
    z, y, x = np.indices(shape)
    grey = 1700 - 1700 * darkness(*(VOXEL * n + a for n, a in zip((x, y, z), low, strict=True)))
    grey += np.random.default_rng(seed).normal(0, 60, shape)
    affine = np.diag([VOXEL] * 3 + [1.0])
    affine[:3, 3] = low
    k, j, i = np.indices([int(n * VOXEL / STEP) for n in shape])
    dark = darkness(*(STEP * n + a for n, a in zip((i, j, k), low, strict=True)))
    at = STEP * np.stack([i, j, k], axis=-1) + low
    off = at[..., 0] - axis(at[..., 2])
    solid = (np.abs(off) < HALF[0]) & (np.abs(at[..., 1]) < HALF[1]) & (at[..., 2] > TIP)
    pulp = solid & (dark > 0.3) & (np.hypot(off, at[..., 1]) < 0.35)
    tooth = Tooth(
        Block(grey.astype(np.float32), affine), low, np.eye(3), solid, dark * pulp, pulp, 1700.0, 1700.0, None, ()
    )
    (way,) = canal_ways(tooth)
    assert way.points[-1][2] > 5.5, "a threshold loses it"
    aside = way.terminus[0] - axis(way.terminus[2]), way.terminus[1]
    assert np.all(np.abs(aside) < 0.6 * np.array(HALF))
    assert abs(way.terminus[2] - TIP) < 0.7


def test_an_end_looked_for_anew_is_doubted_for_where_it_lies_not_for_where_it_was_looked_for() -> None:
    said = "its end was found 0.9 mm from where its way through the pulp led: look at it there"
    plain = Quality(0.8, ("faint",))
    assert led_elsewhere(plain, 0.5) == plain
    assert led_elsewhere(plain, 1.1) == Quality(0.56, ("faint", said.replace("0.9", "1.1")))
    assert led_elsewhere(Quality(0.56, ("faint", said)), 0.2) == plain
    assert led_elsewhere(Quality(0.56, (said,)), 1.2).score == 0.56


def test_two_looks_that_end_apart_make_the_length_less_sure() -> None:
    canal = replace(as_found(phantom(1).truth[0], "one"), length_error=0.1, quality=Quality(0.9, ("faint",)))
    assert less_sure(canal, 0.05).quality == canal.quality
    wider = less_sure(canal, 0.5)
    assert wider.length_error == pytest.approx(np.hypot(0.1, 0.5))
    assert wider.quality == Quality(0.68, ("faint", "its end is known to within 0.84 mm only"))
    assert less_sure(wider, 0.0) == wider, "an end is doubted once"
