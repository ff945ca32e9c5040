"""Protects: canals of invented teeth, whose shape is known in closed form, come out with that shape, however the
meshes lie, are numbered, or are damaged in the ways that exported meshes are."""

from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from canalwright.imaging import FoundCanal, SurfaceError, canals_from_surfaces, reference_point, to_canal
from canalwright.imaging.centreline import pruett
from canalwright.imaging.mesh.surfaces import Surface, make_surface
from canalwright.instruments import File, Profile
from tests.imaging.tooth_meshes import Tube, block_of_dentine, joined, one_in_two, two_canals, two_in_one

SMALL = Tube(angle=20, straight=5, radius=9, crown=5)
CURVED = Tube()
OVAL = Tube(radius=6, angle=50, foramen=0.2, taper=0.08, ratio=2.0)
FILE = File("25/.06", Profile.uniform(0.25, 0.06))


def traced(tube: Tube, **mesh: float) -> FoundCanal:
    (canal,) = canals_from_surfaces(
        make_surface(*tube.lumen(**mesh), file="lumen.stl"), make_surface(*tube.dentine(), file="dentine.stl")
    )
    return canal


@cache
def small() -> tuple[Surface, Surface, FoundCanal]:
    lumen, dentine = make_surface(*SMALL.lumen(edge=0.15, around=24)), make_surface(*SMALL.dentine(edge=0.4, around=32))
    return lumen, dentine, canals_from_surfaces(lumen, dentine)[0]


@pytest.mark.parametrize("tube", [CURVED, OVAL], ids=["curved", "oval"])
def test_widths_wall_length_and_curve(tube: Tube) -> None:
    """Widths within their stated error, wall within its own, line within 0.05 mm, curve by Pruett within 10 %."""
    canal = traced(tube)
    lumen = canal.lumen
    body = (lumen.z > 0.25) & (lumen.z < tube.length - 0.3)
    z = lumen.z[body]
    assert (np.abs(lumen.minor[body] - tube.minor(z)) < 2 * canal.width_error[body]).all()
    assert np.abs(lumen.major[body] - tube.major(z)).max() < 0.02
    assert lumen.area[body] == pytest.approx(np.pi / 4 * tube.minor(z) * tube.major(z), rel=0.03)
    root = z > 2.0
    # the root is a cone: the nearest way out leans by its half angle, and facets take a hundredth
    truth = tube.wall(z)[root] * np.cos(np.arctan(tube.root_taper))
    assert np.abs(lumen.wall[body][root] - truth).max() < 2 * canal.wall_error.max()
    assert (canal.wall_direction[body][root] @ [0, 1, 0]).max() < 0  # the root is shifted to +y: thin at -y
    points, _ = tube.centre(z)
    assert np.linalg.norm(lumen.centre[body] - points, axis=1).max() < 0.05
    assert np.abs(lumen.axis[body] @ [0, 1, 0]).max() < 0.02
    angle, radius = pruett(lumen.centre[body])
    # the apical direction is that of the lowest 1 mm, whose middle lies 0.75 mm up the arc
    assert angle == pytest.approx(tube.angle - np.degrees(0.75 / tube.radius), abs=1.0)
    assert radius == pytest.approx(tube.radius, rel=0.1)
    assert canal.length == pytest.approx(tube.length + 2.7, abs=0.4)
    assert canal.foramen == pytest.approx(tube.foramen, abs=0.02)
    assert canal.terminus == pytest.approx(tube.centre(np.array([0.0]))[0][0], abs=0.05)


def test_finer_meshes_are_truer() -> None:
    """Halving the facets around the canal quarters the width's deficit: the chord depth e^2 / 8 r."""
    errors = []
    for around in (10, 20):
        canal = traced(SMALL, around=around)
        body = (canal.lumen.z > 1) & (canal.lumen.z < SMALL.length - 0.3)
        errors.append(np.mean(SMALL.minor(canal.lumen.z) - canal.lumen.minor, where=body))
    assert errors[1] < 0.4 * errors[0]


@settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10_000))
def test_how_the_tooth_lies_and_how_its_mesh_is_numbered_do_not_matter(seed: int) -> None:
    """Apex up, down or oblique, vertices and faces shuffled: the same widths to a thousandth of a millimetre."""
    rng = np.random.default_rng(seed)
    turn, shift = Rotation.random(rng=rng), rng.uniform(-80, 80, 3)
    lumen, dentine, usual = small()
    order = rng.permutation(len(lumen.vertices))
    faces = np.argsort(order)[lumen.faces][rng.permutation(len(lumen.faces))]
    moved = make_surface(turn.apply(lumen.vertices)[order] + shift, faces)
    (canal,) = canals_from_surfaces(moved, make_surface(turn.apply(dentine.vertices) + shift, dentine.faces))
    z = np.arange(0.3, min(canal.length, usual.length) - 1.0, 0.1)
    for key in ("minor", "major", "wall", "area"):
        ours, theirs = (np.interp(z, c.lumen.z, getattr(c.lumen, key)) for c in (canal, usual))
        assert ours == pytest.approx(theirs, abs=1e-3)
    assert canal.terminus == pytest.approx(turn.apply(usual.terminus) + shift, abs=1e-3)
    assert canal.crown == pytest.approx(turn.apply(usual.crown), abs=0.02)


def test_same_input_same_output() -> None:
    lumen, dentine, usual = small()
    (again,) = canals_from_surfaces(lumen, dentine)
    assert np.array_equal(again.lumen.minor, usual.lumen.minor)
    assert np.array_equal(again.lumen.centre, usual.lumen.centre)


def _soup(v: np.ndarray, f: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return v[f].reshape(-1, 3), np.arange(3 * len(f)).reshape(-1, 3)


def _holes(v: np.ndarray, f: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return v, np.delete(f, [301, 302, 900, 1200], axis=0)


def _turned(v: np.ndarray, f: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    f = f.copy()
    f[::7] = f[::7, ::-1]
    return v, f


def _inside_out(v: np.ndarray, f: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return v, f[:, ::-1]


def _doubled(v: np.ndarray, f: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return v, np.vstack([f, f[:200], np.column_stack([f[:50, 0], f[:50, 0], f[:50, 1]])])


def _scraps(v: np.ndarray, f: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    scrap = np.array([[3.0, 0, 2], [3.1, 0, 2], [3.0, 0.1, 2], [3, 3, 3], [3, 3.1, 3], [3.1, 3, 3]])
    return np.vstack([v, scrap]), np.vstack(
        [f, [[len(v), len(v) + 1, len(v) + 2], [len(v) + 3, len(v) + 4, len(v) + 5]]]
    )


@pytest.mark.parametrize("spoil", [_soup, _holes, _turned, _inside_out, _doubled, _scraps])
def test_what_exported_meshes_suffer_from_is_mended(spoil) -> None:  # type: ignore[no-untyped-def]
    """Repeated vertices, open edges, turned faces, doubled and empty faces, stray scraps: widths as from a clean mesh."""
    lumen, dentine, usual = small()
    dirty = make_surface(*spoil(lumen.vertices, lumen.faces), file="lumen.stl")
    coat = make_surface(*spoil(dentine.vertices, dentine.faces), file="dentine.stl")
    (canal,) = canals_from_surfaces(dirty, coat)
    z = np.arange(0.3, min(canal.length, usual.length) - 1.0, 0.1)
    for key in ("minor", "major", "wall"):
        ours, theirs = (np.interp(z, c.lumen.z, getattr(c.lumen, key)) for c in (canal, usual))
        assert np.abs(ours - theirs).max() < 0.05
        assert np.abs(ours - theirs).mean() < 0.005
    if spoil is not _soup:
        assert any("lumen.stl" in note for note in canal.notes)


def test_a_dentine_mesh_lined_by_the_cavity_gives_the_same_wall() -> None:
    """A cavity wall within the dentine mesh, as from a segmentation: the wall is still that to the outside.

    Within a facet of the foramen the lining may pass for outside, so the lowest 1.5 mm are left out.
    """
    lumen, dentine, usual = small()
    both = joined((dentine.vertices, dentine.faces), (lumen.vertices, lumen.faces[:, ::-1]))
    (canal,) = canals_from_surfaces(lumen, make_surface(*both))
    assert canal.lumen.wall[15:] == pytest.approx(usual.lumen.wall[15:], abs=1e-6)


@cache
def _forked(name: str) -> tuple[FoundCanal, ...]:
    make = {"two": two_canals, "two in one": two_in_one, "one in two": one_in_two}[name]
    return canals_from_surfaces(make_surface(*make()), make_surface(*block_of_dentine()))


def test_two_canals_end_at_the_chamber_floor() -> None:
    """Overlapping bodies: the floor of the chamber (an ellipsoid about z = 12.5, half height 1.5) is at z = 11 and up."""
    found = _forked("two")
    assert [canal.name for canal in found] == ["canal 1", "canal 2"]
    for canal in found:
        assert canal.orifice[2] == pytest.approx(11.2, abs=0.3)
        assert canal.join is None
        assert canal.lumen.minor[10:100] == pytest.approx(0.4 + 0.3 / 12 * canal.lumen.z[10:100], abs=0.02)
        assert any("numbered" in note for note in canal.notes)


def test_points_given_by_hand_lead_the_canal() -> None:
    """Its end half a millimetre up and its orifice two millimetres down from where they were found; what lies far off is refused."""
    lumen, dentine, usual = small()
    terminus, mouth = usual.lumen.centre[5], usual.lumen.centre[-20]
    (led,) = canals_from_surfaces(lumen, dentine, termini=[terminus], orifices=[mouth])
    assert np.linalg.norm(led.terminus - terminus) < 0.8
    assert np.linalg.norm(led.orifice - mouth) < 0.2
    with pytest.raises(SurfaceError, match="2 orifices and 1 termini"):
        canals_from_surfaces(lumen, dentine, termini=[terminus], orifices=[mouth, terminus])
    with pytest.raises(SurfaceError, match=r"terminus .* mm from the lumen; allowed: within 1 mm"):
        canals_from_surfaces(lumen, dentine, termini=[terminus + [9.0, 0.0, 0.0]])


def test_enamel_shows_where_the_canal_begins() -> None:
    """The enamel's border lies a millimetre below the end of the straight: the canal goes up to its plane, no farther."""
    lumen, dentine, usual = small()
    z = np.arange(SMALL.length - 1.0, SMALL.length + SMALL.crown - 0.05, 0.4)
    radius = 0.5 + SMALL.outer(z) * np.sqrt(np.clip(1 - (np.maximum(z - SMALL.length, 0) / SMALL.crown) ** 2, 0.0, 1.0))
    cap = make_surface(*SMALL._sweep(z, radius, radius, SMALL.shift, 32), file="enamel.stl")
    (canal,) = canals_from_surfaces(lumen, dentine, enamel=cap)
    assert canal.length == pytest.approx(SMALL.length - 1.0, abs=0.3)
    assert canal.crown @ usual.crown > 0.99


def test_two_canals_with_one_foramen() -> None:
    """They meet near z = 4 (walls part where the lines are 0.4 mm apart) and both go on to the one terminus."""
    found = _forked("two in one")
    assert len(found) == 2
    assert np.linalg.norm(found[0].terminus - found[1].terminus) < 0.05
    for canal in found:
        assert canal.join == pytest.approx(5.2, abs=0.7)
        assert canal.terminus == pytest.approx([0, 0, 0], abs=0.06)
        assert any("below" in note for note in canal.notes)
    assert sorted(np.sign(canal.orifice[0]) for canal in found) == [-1, 1]


def test_one_canal_that_parts_deep_has_no_chamber_floor_there() -> None:
    found = _forked("one in two")
    assert len(found) == 2
    for canal in found:
        assert canal.length > 14
        assert canal.join == pytest.approx(3.5, abs=1.0)
        assert "roof" in canal.notes[0]


def test_reference_point_and_length() -> None:
    """Straight tooth: length = centreline to the orifice + straight to the highest crown point."""
    _, dentine, found = small()
    top = dentine.vertices[np.argmax(dentine.vertices @ found.crown)]
    reference = reference_point(found, dentine)
    assert reference.point == pytest.approx(top, abs=0.3)
    canal = to_canal(found, tooth=33, file=FILE, crown=dentine)
    assert canal.length.value == pytest.approx(found.length + np.linalg.norm(reference.point - found.orifice))
    assert canal.length.value == pytest.approx(SMALL.length + SMALL.crown, abs=0.5)
    assert "no enamel mesh" in canal.length.source.detail
    assert canal.errors["width"].error > 0
    assert to_canal(found, tooth=33, file=FILE, crown_length=9.0).length.value == pytest.approx(found.length + 9.0)
