"""Colours stay apart for people who see fewer of them, on paper without any, and against their ground."""

from itertools import combinations

import numpy as np
import pytest

from canalwright.instruments import iso3630
from canalwright.report.palette import DARK, ISO_3630, LIGHT, Palette, warmth

# Full dichromacy (Machado, Oliveira and Fernandes 2009, IEEE Trans Vis Comput Graph 15:1291-1298, severity 1.0).
BLINDNESS = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(colour: str) -> np.ndarray:
    encoded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    return float(np.array([0.2126, 0.7152, 0.0722]) @ linear(colour))


def contrast(a: str, b: str) -> float:
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def oklab(rgb: np.ndarray) -> np.ndarray:
    cones = np.array(
        [[0.4122214708, 0.5363325363, 0.0514459929], [0.2119034982, 0.6806995451, 0.1073969566],
         [0.0883024619, 0.2817188376, 0.6299787005]]
    )  # fmt: skip
    mixed = np.array(
        [[0.2104542553, 0.7936177850, -0.0040720468], [1.9779984951, -2.4285922050, 0.4505937099],
         [0.0259040371, 0.7827717662, -0.8086757660]]
    )  # fmt: skip
    return mixed @ np.cbrt(np.clip(cones @ rgb, 0, None))


@pytest.mark.parametrize("palette", [LIGHT, DARK])
@pytest.mark.parametrize("blindness", BLINDNESS)
def test_instruments_stay_apart_with_fewer_cones(palette: Palette, blindness: str) -> None:
    matrix = np.array(BLINDNESS[blindness])
    edges = [palette.plugger.edge, palette.carrier.edge, palette.front.edge]
    for a, b in combinations(edges, 2):
        seen = [oklab(np.clip(matrix @ linear(c), 0, 1)) for c in (a, b)]
        assert np.linalg.norm(seen[0] - seen[1]) > 0.1, (a, b)


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_text_and_lines_stand_out_from_the_paper(palette: Palette) -> None:
    assert contrast(palette.ink, palette.paper) >= 7
    assert contrast(palette.muted, palette.paper) >= 4.5
    for kind in ("plugger", "carrier", "front", "cone", "backfill", "post", "dentine"):
        assert contrast(getattr(palette, kind).edge, palette.paper) >= 3, kind


def test_fillings_differ_in_grey() -> None:
    cone, backfill, dentine = (luminance(getattr(LIGHT, k).fill) for k in ("cone", "backfill", "dentine"))
    assert cone < 0.65 * backfill < 0.65 * dentine


def test_warmth_is_perceptually_even_and_grows_in_lightness() -> None:
    lab = np.array([oklab(linear(warmth(i / 16))) for i in range(17)])
    steps = np.linalg.norm(np.diff(lab, axis=0), axis=1)
    assert steps.max() < 1.25 * steps.min()
    assert np.all(np.diff(lab[:, 0]) > 0)
    assert warmth(-1) == warmth(0)
    assert warmth(2) == warmth(1)


def test_every_iso_handle_colour_has_paint() -> None:
    assert {iso3630.colour(size) for size in iso3630.SIZES} <= set(ISO_3630)
