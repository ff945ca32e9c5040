"""Protects the solid model as a whole: it says what the (r, z) model says of a round root, books every joule, finds the thin side,
follows a curve, sees meshes and labels as it sees measurements, and grows with heat."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import heat
from canalwright.anatomy.lumen import Lumen
from canalwright.heat import example, solid
from canalwright.heat.solid import SolidStory, Voxels
from canalwright.protocol import Bite, Heat, Pause, Protocol

COARSE = Voxels(voxel=0.12, along=0.25, growth=1.6, widest=0.5, outside=4.0, tolerance=0.2)
SHORT = example.protocol(1, 1)


def run(lumen: Lumen, protocol: Protocol = SHORT, **more: object) -> SolidStory:
    walls = more.pop("walls", None)
    root = solid.from_lumen(lumen, voxels=COARSE, walls=walls)  # type: ignore[arg-type]
    return solid.simulate(root, protocol, voxels=COARSE, **more)  # type: ignore[arg-type]


@cache
def straight() -> SolidStory:
    return run(example.lumen(), audit=True, film=True, every=1.0)


def curved(lumen: Lumen) -> Lumen:
    """The same canal, its last 8 mm on a circle of 12 mm."""
    turn = np.clip((8 - lumen.z) / 12.0, 0, None)
    x, z = 12 * (1 - np.cos(turn)), np.where(lumen.z < 8, 8 - 12 * np.sin(turn), lumen.z)
    return replace(lumen, centre=np.column_stack([x, 0 * x, z]), axis=np.tile([0.0, 1.0, 0.0], (lumen.size, 1)))


def test_agrees_with_the_axisymmetric_model() -> None:
    """To 0.1 K by level and by act (a rise of 5 K), both models extrapolated to cells of no width, on the same rows and without a
    crown, which the (r, z) model has not. Cells of 0.1 to 0.3 mm alone are up to 0.2 K too hot while heat is arriving, since they smear
    its front; a quarter more per step of width is the error of second order."""
    lumen, protocol = example.lumen(), example.protocol(2, 1)
    step, rows = 0.25, np.arange(64)

    def ours(width: float) -> tuple[np.ndarray, np.ndarray]:
        cells = Voxels(voxel=width, along=step, growth=1.5, widest=2.5 * width, tolerance=0.05)
        story = solid.simulate(solid.from_lumen(lumen, crown=0.0, voxels=cells), protocol, voxels=cells, every=1e9)
        row = np.clip((story.surface.station / step).astype(int), 0, 63)
        mean = np.bincount(row, story.surface.peak_rise, 64) / np.maximum(np.bincount(row, minlength=64), 1)
        return mean, np.array([a.surface_rise for a in story.acts])

    def flat(width: float) -> tuple[np.ndarray, np.ndarray]:
        grid = heat.Resolution(radial=width, axial=step, growth=1.1, tolerance=0.02)
        story = heat.simulate(lumen, protocol, resolution=grid, every=1e9)
        return np.interp((rows + 0.5) * step, story.z, story.peak_rise), np.array([a.surface_rise for a in story.acts])

    fine, coarse, other = ours(0.08), ours(0.16), flat(0.03)
    by_level, by_act = (f + (f - c) / 3 for f, c in zip(fine, coarse, strict=True))
    assert np.abs(by_level - other[0])[4:62].max() < 0.1
    assert np.abs(by_act - other[1]).max() < 0.1


def test_the_crown_takes_heat_from_the_rim() -> None:
    """Where the model ends at the orifice under still air, heat piles up in the rim; tooth above it carries it off."""
    cut, whole = (
        solid.simulate(solid.from_lumen(example.lumen(), crown=c, voxels=COARSE), SHORT, voxels=COARSE, every=1e9)
        for c in (0.0, None)
    )

    def top(story: SolidStory) -> np.ndarray:
        return story.surface.by_sector(np.array([13.5, 15.0, 16.0]), story.surface.peak_rise, 1)[:, 0]

    assert top(whole)[1] < 0.8 * top(cut)[1]
    assert top(whole)[1] < top(whole)[0]
    assert whole.surface_rise == pytest.approx(cut.surface_rise, abs=0.1)


def test_books_every_joule() -> None:
    book = straight().energy
    assert book is not None
    assert abs(book.gap) < 1e-3 * book.gross
    assert abs(book.gap) < 1e-3 * abs(book.stored)
    assert book.heater > 1.0


def test_a_curve_changes_little_where_the_root_is_as_thick() -> None:
    bent = run(curved(example.lumen()))
    assert bent.surface_rise == pytest.approx(straight().surface_rise, abs=0.15)
    assert bent.surface_level == pytest.approx(straight().surface_level, abs=0.6)


def test_the_thin_side_is_the_hot_side() -> None:
    lumen = replace(example.lumen(), wall=np.full(example.lumen().size, 0.9))
    story = run(lumen, walls=solid.eccentric(lumen, 2.4, 90.0))
    assert story.surface_angle == pytest.approx(90.0, abs=25.0)
    sides = story.surface.by_sector(np.array([0.0, 16.0]), story.surface.peak_rise, 4)[0]
    assert sides[1] > 2 * sides[3] or sides[0] > 2 * sides[2]
    assert isinstance(story.acts[story.heated_by].act, Heat | Bite)
    assert story.surface_rise > straight().surface_rise + 3


def test_labels_and_fields_are_whole() -> None:
    story = straight()
    root = story.solid
    assert set(np.unique(root.labels)) >= {0, 1, 2, 3, 4}
    x, y, z = root.space.widths()
    volume = z[:, None, None] * y[None, :, None] * x[None, None, :]
    inside = solid.space.share(np.asarray(root.canal), x, y, z)
    assert np.sum((volume * inside)[1:-1]) == pytest.approx(example.lumen().volume, rel=0.03)
    assert story.bone_peak < story.surface_rise + 37.0
    assert np.all(story.surface.peak_rise >= 0)
    assert np.all(np.diff(story.time) > 0)
    assert story.bone_volume() == 0.0


@settings(max_examples=3, deadline=None)
@given(st.floats(1.2, 2.0))
def test_longer_heat_is_never_cooler(share: float) -> None:
    longer = solid.choices.longer(SHORT, share)
    assert run(example.lumen(), longer).surface_rise > straight().surface_rise - 0.02


def test_searches_find_the_edge() -> None:
    lumen = replace(example.lumen(), wall=np.full(example.lumen().size, 0.9))
    root = solid.from_lumen(lumen, voxels=COARSE)
    at = next(i for i, a in enumerate(SHORT.acts) if isinstance(a, Heat))
    limit = 12.0
    found = solid.longest_safe_activation(root, SHORT, at, limit=limit, accuracy=0.4, longest=8.0, voxels=COARSE)
    assert 0.4 < found < 8.0
    pause = next(i for i, a in enumerate(SHORT.acts) if isinstance(a, Pause))
    assert solid.shortest_safe_pause(root, SHORT, pause, limit=60.0, voxels=COARSE) == 0.0
    with pytest.raises(ValueError, match="only a Heat"):
        solid.longest_safe_activation(root, SHORT, pause)
    with pytest.raises(ValueError, match="only a Pause"):
        solid.shortest_safe_pause(root, SHORT, at)


def test_refuses_what_cannot_be() -> None:
    lumen = example.lumen()
    with pytest.raises(ValueError, match="walls must be positive"):
        solid.from_lumen(lumen, walls={0.0: 1.0, 180.0: -1.0})
    with pytest.raises(ValueError, match="at least as thick"):
        solid.eccentric(lumen, 0.01)
    with pytest.raises(ValueError, match="other surroundings"):
        solid.simulate(solid.from_lumen(lumen, voxels=COARSE), SHORT, surroundings=heat.Surroundings.film(20.0))
    with pytest.raises(ValueError, match="voxel of the solid heat model"):
        Voxels(voxel=0.0)


def test_a_film_of_the_story(tmp_path) -> None:  # type: ignore[no-untyped-def]
    from PIL import Image

    from canalwright.heat.solid.animate import ANCHORS, animate

    for name in ("film.png", "film.gif"):
        with Image.open(animate(straight(), tmp_path / name)) as picture:
            assert picture.n_frames > 20
    luminance = ANCHORS @ [0.2126, 0.7152, 0.0722]
    assert np.all(np.diff(luminance) > 0)
    with pytest.raises(ValueError, match="animated"):
        animate(straight(), tmp_path / "film.mp4")
