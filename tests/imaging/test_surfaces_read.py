"""Protects: mesh files are read whole or refused in one line that names the file and what to do; fits are checked."""

import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from canalwright.imaging import SurfaceError, canals_from_surfaces, read_surface, to_canal
from canalwright.imaging.mesh.surfaces import make_surface
from canalwright.instruments import File, Profile
from tests.imaging.tooth_meshes import Tube, block_of_dentine, joined, rod

TUBE = Tube(angle=20, straight=5, radius=9, crown=5)
LUMEN, DENTINE = TUBE.lumen(edge=0.3, around=16), TUBE.dentine(edge=0.5, around=24)


def exported(mesh: tuple[np.ndarray, np.ndarray], kind: str) -> bytes:
    data = trimesh.Trimesh(*mesh, process=False).export(file_type=kind)
    return data.encode() if isinstance(data, str) else data


def saved(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


@pytest.mark.parametrize(("kind", "suffix"), [("stl", "stl"), ("stl_ascii", "stl"), ("ply", "ply"), ("obj", "obj")])
def test_formats_give_the_same_surface(tmp_path: Path, kind: str, suffix: str) -> None:
    surface = read_surface(saved(tmp_path, f"lumen.{suffix}", exported(LUMEN, kind)))
    clean = make_surface(*LUMEN)
    assert len(surface.faces) == len(clean.faces)
    assert surface.volume == pytest.approx(clean.volume, rel=1e-4)


def test_binary_stl_whose_header_says_solid(tmp_path: Path) -> None:
    """Many programs write 'solid' into the free text of a binary header."""
    data = exported(LUMEN, "stl")
    path = saved(tmp_path, "lumen.stl", b"solid made by hand".ljust(80) + data[80:])
    assert len(read_surface(path).faces) == len(LUMEN[1])


def refused(path: Path | str, match: str) -> str:
    with pytest.raises(SurfaceError, match=match) as caught:
        read_surface(path)
    text = str(caught.value)
    assert "\n" not in text
    assert Path(path).name in text
    return text


def test_files_that_are_no_meshes(tmp_path: Path) -> None:
    refused(tmp_path / "none.stl", "no such file")
    refused(saved(tmp_path, "empty.stl", b""), "0 bytes")
    refused(saved(tmp_path, "scan.dcm", b"x"), r"allowed: \.stl, \.ply, \.obj")
    refused(saved(tmp_path, "text.stl", b"a letter to a friend, not a mesh"), "not an STL")
    refused(saved(tmp_path, "text.ply", b"a letter to a friend"), "cannot be read as a mesh")
    refused(saved(tmp_path, "points.obj", b"v 0 0 0\nv 10 0 0\nv 0 10 0\n"), "no triangles|cannot be read")
    refused(saved(tmp_path, "none.stl", b"solid a\nendsolid a\n"), "not an STL|no triangles|cannot be read")
    refused(saved(tmp_path, "zero.stl", bytes(80) + struct.pack("<I", 0)), "no triangles|cannot be read")


@pytest.mark.parametrize(("kind", "suffix"), [("stl", "stl"), ("stl_ascii", "stl"), ("ply", "ply")])
@pytest.mark.parametrize("share", [0.3, 0.9, 0.999])
def test_files_cut_short(tmp_path: Path, kind: str, suffix: str, share: float) -> None:
    data = exported(LUMEN, kind)
    refused(saved(tmp_path, f"cut.{suffix}", data[: int(share * len(data))]), "cut short|cannot be read|says")


def test_numbers_that_are_none(tmp_path: Path) -> None:
    vertices = LUMEN[0].copy()
    vertices[5] = np.nan
    with pytest.raises(SurfaceError, match="not a finite number"):
        make_surface(vertices, LUMEN[1])
    with pytest.raises(SurfaceError, match="vertex that is not there"):
        make_surface(LUMEN[0], LUMEN[1] + 50)
    with pytest.raises(SurfaceError, match="no triangles"):
        make_surface(LUMEN[0], np.zeros((0, 3), dtype=int))
    with pytest.raises(SurfaceError, match="all its triangles are empty"):
        make_surface(LUMEN[0], np.zeros((5, 3), dtype=int))


@pytest.mark.parametrize(
    ("scale", "unit"), [(1e-3, "metres"), (1e3, "micrometres"), (1 / 25.4, "inches"), (0.1, "centimetres")]
)
def test_units_mixed_up(scale: float, unit: str) -> None:
    with pytest.raises(SurfaceError, match=rf"5 to 40 mm \(as {unit} it would fit\)"):
        make_surface(DENTINE[0] * scale, DENTINE[1], file="dentine.stl")


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_damaged_bytes_never_give_a_traceback(tmp_path: Path, data: st.DataObject) -> None:
    """Bytes of a sound file overwritten at random: a surface or one line, never another exception."""
    kind, suffix = data.draw(st.sampled_from([("stl", "stl"), ("stl_ascii", "stl"), ("ply", "ply"), ("obj", "obj")]))
    raw = bytearray(exported(rod((0, 0, 0), (0, 0, 8), 1, 1, 8), kind))
    for _ in range(data.draw(st.integers(1, 8))):
        raw[data.draw(st.integers(0, len(raw) - 1))] = data.draw(st.integers(0, 255))
    try:
        surface = read_surface(saved(tmp_path, f"damaged.{suffix}", bytes(raw)))
    except SurfaceError as error:
        assert "\n" not in str(error)
    else:
        assert np.isfinite(surface.vertices).all()


LUMEN_SURFACE, DENTINE_SURFACE = make_surface(*LUMEN, file="lumen.stl"), make_surface(*DENTINE, file="dentine.stl")


def refuse(match: str, *args: object, **given: object) -> None:
    with pytest.raises(SurfaceError, match=match) as caught:
        canals_from_surfaces(*args, **given)
    assert "\n" not in str(caught.value)


def test_meshes_that_do_not_belong_together() -> None:
    far = make_surface(LUMEN[0] + [15.0, 0, 0], LUMEN[1], file="lumen.stl")
    refuse("lumen.stl: the lumen does not lie inside the dentine dentine.stl", far, DENTINE_SURFACE)
    refuse("the lumen first", DENTINE_SURFACE, LUMEN_SURFACE)
    pair = make_surface(*joined(DENTINE, (DENTINE[0] + [9.0, 0, 0], DENTINE[1])), file="both.stl")
    refuse("both.stl: two bodies side by side.*one tooth", LUMEN_SURFACE, pair)
    cap = make_surface(DENTINE[0] + [0, 40.0, 0], DENTINE[1], file="enamel.stl")
    refuse("enamel.stl: the enamel lies", LUMEN_SURFACE, DENTINE_SURFACE, enamel=cap)
    loose = make_surface(*joined(rod((-1, 0, 0), (-1, 0, 9), 0.2, 0.3), rod((1, 0, 0), (1, 0, 9), 0.2, 0.3)))
    refuse("pieces of its own", loose, make_surface(*block_of_dentine()))


def test_points_that_do_not_fit() -> None:
    refuse(r"terminus \[9.0, 9.0, 9.0\] lies .* mm from the lumen", LUMEN_SURFACE, DENTINE_SURFACE, termini=[(9, 9, 9)])
    refuse("three finite numbers", LUMEN_SURFACE, DENTINE_SURFACE, orifices=[(1, 2)])
    refuse("orifice .* lies", LUMEN_SURFACE, DENTINE_SURFACE, orifices=[(9, 9, 9)])
    refuse("2 orifices given, 1 canals found", LUMEN_SURFACE, DENTINE_SURFACE, orifices=[(0, 0, 0), (0, 0, 1)])
    refuse("one of each", LUMEN_SURFACE, DENTINE_SURFACE, orifices=[(0, 0, 0)], termini=[(0, 0, 0), (0, 0, 1)])
    refuse("along the tooth's axis", LUMEN_SURFACE, DENTINE_SURFACE, tooth=33, mesial=(0, 0, 1))


def test_a_canal_needs_a_reference() -> None:
    (found,) = canals_from_surfaces(LUMEN_SURFACE, DENTINE_SURFACE)
    file = File("25/.06", Profile.uniform(0.25, 0.06))
    with pytest.raises(SurfaceError, match="no reference point"):
        to_canal(found, tooth=33, file=file)
    with pytest.raises(SurfaceError, match=r"allowed: 0\.5 to 16 mm"):
        to_canal(found, tooth=33, file=file, crown=DENTINE_SURFACE, reference=(0, 0, 60))
    with pytest.raises(SurfaceError, match="preparation end"):
        to_canal(found, tooth=33, file=file, crown_length=9.0, end=40.0)
