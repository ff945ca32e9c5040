"""Protects: six real teeth are found whole from their meshes, with the sections and volumes that others measured.

Reference: `*_sections.csv` beside the meshes, cut across z (not across the canal), by another program.
"""

import numpy as np
import pytest
from scipy.spatial import cKDTree

from canalwright.imaging import canals_from_surfaces, to_canal
from canalwright.imaging.mesh.voxels import block, fill
from canalwright.instruments import File, Profile
from tests.imaging.real_teeth import CODES, TEETH, canals, pairs, rows, surfaces


@pytest.mark.parametrize(("tooth", "count"), [("L1", 1), ("L3", 1), ("L4", 1), ("L6", 3), ("L7", 3), ("incisor", 1)])
def test_number_of_canals(tooth: str, count: int) -> None:
    found = canals(tooth)
    assert len(found) == count
    for canal in found:
        assert np.isfinite(canal.lumen.minor).all()
        assert (canal.lumen.minor > 0).all()
        assert (canal.lumen.major >= canal.lumen.minor).all()
        assert np.diff(canal.lumen.z) == pytest.approx(0.1, abs=1e-9)
        assert np.linalg.norm(np.diff(canal.lumen.centre, axis=0), axis=1) == pytest.approx(0.1, rel=0.01)
        assert canal.quality.score >= 0.85


def test_first_molar_has_its_three_canals_by_name() -> None:
    """SOURCE.md of the data: two canals in one root, one in the other; they hang together 11.7 mm above the lowest apex."""
    found = {canal.name: canal for canal in canals("L6")}
    assert set(found) == {"mesiobuccal", "mesiolingual", "distal"}
    lowest = surfaces("L6")[0].vertices[:, 2].min()
    assert found["distal"].orifice[2] - lowest == pytest.approx(11.7, abs=0.3)
    assert found["mesiobuccal"].joined == "mesiolingual"
    assert found["distal"].join is None
    # in the table the two mesial sections are still apart at 9 mm and one at 10 mm
    place = found["mesiobuccal"].lumen.centre[round(found["mesiobuccal"].join / 0.1), 2] - lowest
    assert 8.9 < place < 10.0
    # mesiobuccal lies farther from the midline (greater x) and mesial (smaller y) of the distal one
    middle = {name: canal.lumen.centre.mean(axis=0) for name, canal in found.items()}
    assert middle["mesiobuccal"][0] > middle["mesiolingual"][0]
    assert middle["mesiobuccal"][1] < middle["distal"][1]


@pytest.mark.parametrize("tooth", TEETH)
def test_areas_agree_with_the_table(tooth: str) -> None:
    """Within 12 % each and 2 % in the median: the table's plane cuts a slanting, tapering canal at other levels too."""
    compared = pairs(tooth)
    assert len(compared) >= 14
    ratio = np.array([pair.area / pair.row.area for pair in compared])
    assert np.abs(ratio - 1).max() < 0.12
    assert abs(np.median(ratio) - 1) < 0.02


@pytest.mark.parametrize("tooth", TEETH)
def test_least_widths_agree_with_the_table(tooth: str) -> None:
    """The table's least width is the short side of the least rectangle about the section: never under the least
    caliper width of the same outline, and the slant of the plane can only widen it."""
    for pair in pairs(tooth):
        assert pair.minor < pair.row.least + 2 * pair.error + 0.01
        assert pair.minor > 0.83 * pair.row.least - 2 * pair.error


@pytest.mark.parametrize("tooth", TEETH)
def test_lines_run_through_the_middles_of_the_table(tooth: str) -> None:
    assert max(pair.apart for pair in pairs(tooth)) < 0.15


@pytest.mark.parametrize("tooth", TEETH)
def test_volumes_of_the_canals(tooth: str) -> None:
    """The integral of area over stations is the count of filled voxels (0.05 mm) nearest to those stations, within 3 %.

    From 1 mm above the terminus to 1 mm below orifice or join, so that neither mouth nor chamber blurs the ends.
    """
    lumen, _, _ = surfaces(tooth)
    found = canals(tooth)
    space = block((lumen.vertices.min(axis=0), lumen.vertices.max(axis=0)), 0.05)
    points = space.origin + space.size * np.argwhere(fill(lumen.vertices, lumen.faces, space))
    owner = np.concatenate([np.full(canal.lumen.size, n) for n, canal in enumerate(found)])
    z = np.concatenate([canal.lumen.z for canal in found])
    _, nearest = cKDTree(np.vstack([canal.lumen.centre for canal in found])).query(points)
    for n, canal in enumerate(found):
        low, high = 1.0, min(canal.length, canal.join or np.inf) - 1.0
        inside = (owner[nearest] == n) & (z[nearest] >= low - 0.05) & (z[nearest] <= high + 0.05)
        part = (canal.lumen.z >= low - 0.05) & (canal.lumen.z <= high + 0.05)
        assert canal.lumen.area[part].sum() * 0.1 == pytest.approx(inside.sum() * space.size**3, rel=0.03)


def test_volumes_of_the_whole_molar() -> None:
    """Canals and chamber make the whole lumen of the table (33.61 mm3), and most of it is chamber."""
    lumen, _, _ = surfaces("L6")
    assert lumen.volume == pytest.approx(33.610, abs=0.002)
    found = canals("L6")
    space = block((lumen.vertices.min(axis=0), lumen.vertices.max(axis=0)), 0.05)
    points = space.origin + space.size * np.argwhere(fill(lumen.vertices, lumen.faces, space))
    top = max(float(canal.orifice @ canal.crown) for canal in found)
    chamber = (points @ found[0].crown > top).sum() * space.size**3
    assert sum(canal.lumen.volume for canal in found) + chamber == pytest.approx(33.61, rel=0.03)


@pytest.mark.parametrize("tooth", TEETH)
def test_walls_are_walls_to_the_outside(tooth: str) -> None:
    """The wall is measured to the outer root surface, not to the cavity's own lining, and points outwards."""
    for canal in canals(tooth):
        body = canal.lumen.z > 2.0
        assert canal.lumen.wall[body].min() > 0.3
        assert canal.lumen.wall[body].max() < 3.5
        assert np.linalg.norm(canal.wall_direction[body], axis=1) == pytest.approx(1.0, abs=1e-6)
        assert canal.lumen.wall[0] < 0.3


@pytest.mark.parametrize("tooth", TEETH)
def test_lengths_are_those_of_teeth(tooth: str) -> None:
    """From the highest crown point: within 4 mm of the average length of the tooth (crown and root)."""
    _, _, enamel = surfaces(tooth)
    average = {"L1": 21.5, "L3": 27.0, "L4": 22.5, "L6": 21.5, "L7": 20.0, "incisor": 23.5}[tooth]
    for found in canals(tooth):
        file = File("25/.06", Profile.uniform(0.25, 0.06))
        canal = to_canal(found, tooth=CODES[tooth], file=file, enamel=enamel)
        assert canal.length.value == pytest.approx(average, abs=4.0)
        assert canal.orifice <= canal.cej + 0.2
        assert canal.length.source.origin.value == "read from scan"


def test_table_is_used() -> None:
    """Nearly all sections of the table below the top of the canals are compared, not a lucky few."""
    for tooth in ("L1", "L3", "L4", "incisor"):
        top = max(pair.row.level for pair in pairs(tooth))
        assert len(pairs(tooth)) >= sum(0.8 < row.level <= top for row in rows(tooth))


def test_a_given_terminus_and_orifice_are_taken() -> None:
    lumen, dentine, _ = surfaces("L4")
    usual = canals("L4")[0]
    orifice, terminus = usual.lumen.centre[110], usual.lumen.centre[8]
    (canal,) = canals_from_surfaces(lumen, dentine, orifices=[orifice], termini=[terminus])
    assert np.linalg.norm(canal.terminus - terminus) < 0.05
    assert np.linalg.norm(canal.orifice - orifice) < 0.2
    assert canal.length == pytest.approx(10.2, abs=0.15)
    assert canal.lumen.minor[20:90] == pytest.approx(usual.lumen.minor[28:98], abs=0.06)


def test_without_enamel_the_orifice_is_marked_as_supposed() -> None:
    """Tooth known: the average level of the CEJ (within 3 mm of the true one); the quality says that it was not seen."""
    lumen, dentine, _ = surfaces("L3")
    (canal,) = canals_from_surfaces(lumen, dentine, tooth=33)
    assert canal.length == pytest.approx(canals("L3")[0].length, abs=3.0)
    assert any("average level" in reason for reason in canal.quality.reasons)
    made = to_canal(canal, tooth=33, file=File("25/.06", Profile.uniform(0.25, 0.06)), crown=dentine)
    assert "no enamel mesh" in made.length.source.detail
    assert made.sources["cej_level_mm"].origin.value == "published average"
