"""Protects: measurements become the canal they describe, gaps are filled from averages and say so."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.anatomy import Canal, Curve, Lumen, Measured, MeasurementError, SideBranch, Tooth, averages
from canalwright.anatomy.build import resampled
from canalwright.quantities import Origin

BARE = {"tooth": 46, "canal": "mesiobuccal", "working_length": 20.5, "finishing_file": (30, 0.04)}
EVERY_CANAL = [
    (Tooth(10 * q + p), name)
    for q in (1, 2, 3, 4)
    for p in range(1, 9)
    for name in (
        *averages.tooth_averages(Tooth(10 * q + p)).usual,
        *averages.tooth_averages(Tooth(10 * q + p)).possible,
    )
]


@pytest.mark.parametrize(("tooth", "name"), EVERY_CANAL, ids=lambda v: str(v))
def test_every_canal_of_every_tooth_can_be_built_from_its_length(tooth: Tooth, name: str) -> None:
    """All 32 teeth give a canal: sound arrays, everything but the length and the file supposed."""
    length = averages.tooth_averages(tooth).length
    canal = Canal.from_measurements(tooth=tooth, canal=name, working_length=length - 0.5, finishing_file=(30, 0.04))
    sound(canal)
    assert canal.notes == ()
    supposed = {key for key, source in canal.sources.items() if source.origin.supposed}
    assert supposed == set(canal.sources) - {"working_length_mm", "finishing_file"}
    assert all(canal.errors[key].source.origin.supposed for key in ("width", "wall", "curve"))


def sound(canal: Canal) -> None:
    lumen = canal.native
    assert lumen.z[0] == 0
    assert np.diff(lumen.z) == pytest.approx(0.1)
    assert (lumen.minor > 0).all()
    assert (lumen.major >= lumen.minor).all()
    assert (lumen.wall > 0).all()
    assert lumen.area == pytest.approx(np.pi / 4 * lumen.minor * lumen.major)
    assert np.linalg.norm(np.diff(lumen.centre, axis=0), axis=1) == pytest.approx(0.1, abs=5e-4)
    assert canal.orifice == pytest.approx(lumen.z[-1])
    assert 0 <= canal.end < canal.orifice < canal.length.value
    assert set(canal.errors) == {"length", "width", "wall", "curve", "file"}


@settings(max_examples=60)
@given(
    gauge=st.sampled_from([15, 20, 25, 30, 40, 60]),
    orifice=st.floats(0.65, 3.0),
    ovality=st.floats(1, 5),
    angle=st.floats(0, 35),
    start=st.floats(2, 9),
    wall=st.floats(0.1, 3),
)
def test_what_was_measured_stands_in_the_canal(
    gauge: int, orifice: float, ovality: float, angle: float, start: float, wall: float
) -> None:
    canal = Canal.from_measurements(
        **BARE, apical_gauge=gauge, orifice_width=orifice, ovality=ovality, wall=wall,
        curve=Curve(Measured(angle), start=Measured(start)),
    )  # fmt: skip
    sound(canal)
    lumen = canal.native
    assert lumen.at(canal.end, lumen.minor) == pytest.approx(gauge / 100)
    assert lumen.minor[-1] == pytest.approx(orifice)
    assert lumen.major == pytest.approx(lumen.minor * ovality)
    assert lumen.wall == pytest.approx(wall)
    assert (np.diff(lumen.minor[lumen.z >= canal.end]) >= -1e-12).all()
    assert canal.sources["ovality"].origin is Origin.MEASURED


def test_only_four_values_are_needed() -> None:
    canal = Canal.from_measurements(**BARE)
    assert canal.working_length == 20.5
    assert canal.length.value == 21.0
    assert canal.depth(canal.end) == 20.5
    assert canal.errors["width"].source.detail.startswith("Villas-Bôas")


def test_the_method_sets_the_error_and_a_given_error_overrides_it() -> None:
    located = Canal.from_measurements(**{**BARE, "working_length": Measured(20.5, "apex locator")}, length=21.0)
    given_error = Canal.from_measurements(
        **{**BARE, "working_length": Measured(20.5, "apex locator", 0.1)}, length=21.0
    )
    assert located.length.error == averages.reading_error("length", "apex locator").value == 0.33
    assert given_error.length.error == 0.1


def test_a_method_of_reading_a_scan_is_read_from_scan_and_one_of_the_supposed_is_supposed() -> None:
    canal = Canal.from_measurements(
        **BARE, orifice_width=Measured(1.0, "micro-CT"), natural_taper=Measured(0.05, "assumed")
    )
    assert canal.sources["orifice_width_mm"].origin is Origin.SCAN
    assert canal.errors["width"].source.origin is Origin.ASSUMED


def test_widths_by_level_are_followed() -> None:
    rows = ((1.0, 0.4, 0.7), (3.0, 0.5, 1.0), (5.0, 0.7, 1.4))
    canal = Canal.from_measurements(**BARE, widths=rows, widths_method="micro-CT", orifice_width=1.2)
    for level, minor, major in rows:
        assert canal.native.at(level, canal.native.minor) == pytest.approx(minor)
        assert canal.native.at(level, canal.native.major) == pytest.approx(major)
    assert (canal.errors["width"].error * canal.weights["width"])[30] == pytest.approx(0.02)


def test_a_gauge_says_nothing_of_the_canal_above_it() -> None:
    """A wide gauge holds as a floor; where the average is wider, the average stays."""
    narrow, wide = (Canal.from_measurements(**BARE, apical_gauge=g).native for g in (25, 45))
    assert wide.at(1.0, wide.minor) == pytest.approx(0.45)
    assert wide.minor[-1] == pytest.approx(narrow.minor[-1])


def test_wall_is_linear_between_levels_and_average_in_shape_beyond() -> None:
    canal = Canal.from_measurements(**BARE, wall={3: 1.0, 7: 1.4})
    average = averages.canal_averages(Tooth(46), "mesiobuccal").wall
    assert canal.native.at(5.0, canal.native.wall) == pytest.approx(1.2)
    expected = float(average(np.array(1.0))) * 1.0 / float(average(np.array(3.0)))
    assert canal.native.at(1.0, canal.native.wall) == pytest.approx(expected)


def test_a_gauge_without_a_method_was_read_with_gauging_files() -> None:
    canal = Canal.from_measurements(**BARE, apical_gauge=30)
    assert (canal.errors["width"].error * canal.weights["width"])[5] == pytest.approx(0.03)
    assert canal.sources["apical_gauge"].detail.startswith("gauging file")


def test_levels_of_orifice_crest_and_junction() -> None:
    canal = Canal.from_measurements(**BARE, length=21.0, orifice_depth=9.0, crest=11.0, cej=13.0)
    assert (canal.orifice, canal.crest, canal.cej) == (pytest.approx(12.0), 11.0, 13.0)


def test_side_branches_become_portals() -> None:
    branches = (SideBranch(4.0, Measured(0.12, error=0.03), "distal"), SideBranch(2.0))
    canal = Canal.from_measurements(**BARE, branches=branches)
    assert [portal.z for portal in canal.portals] == [4.0, 2.0]
    assert canal.portals[0].diameter.error == pytest.approx(0.25)
    assert canal.portals[1].diameter.source.origin is Origin.ASSUMED


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"working_length": 3.0}, "working_length = 3: allowed 8 to 40 mm"),
        ({"working_length": 0.0205}, "looks like metres: write 20.5"),
        ({"working_length": 20500.0}, "looks like micrometres: write 20.5"),
        ({"apical_gauge": 0.3}, "looks like millimetres: write 30"),
        ({"apical_gauge": 33}, "nearest sizes are 30 and 35"),
        ({"orifice_depth": 21.0}, "the terminus cannot lie coronal to the orifice"),
        ({"length": 20.0}, "ends at or short of the terminus"),
        ({"length": 21.0, "end": 1.0}, "the third follows"),
        ({"wall": -1.0}, "wall = -1: allowed 0.05 to 6 mm"),
        ({"wall": {3: 1.0, 30.5: 1.0}}, "not from the reference point"),
        ({"orifice_width": 0.2, "apical_gauge": 30}, "a canal widens coronally"),
        ({"widths": ((3.0, 0.5, 0.4),)}, "put the least width first"),
        ({"widths": ((3.0, 0.5, None), (2.0, 0.4, None))}, "levels that increase"),
        ({"curve": Curve(Measured(30), Measured(20), Measured(6))}, "radius of at most 5.7 mm"),
        ({"curve": Curve(Measured(30), Measured(20), Measured(6), "pruett")}, "does not fit below its start"),
        ({"curve": Curve(Measured(30), start=Measured(13))}, "would begin above the orifice"),
        ({"curve": Curve(Measured(70))}, "a turn of at most 120 degrees"),
        ({"curve": Curve(Measured(20), towards="up")}, "say where the tip of the canal points"),
        ({"branches": (SideBranch(25.0),)}, "give the distance from the terminus"),
        ({"cej": 25.0}, "check it against the working length"),
        ({"working_length": Measured(20.5, "guesswork")}, "name one of these"),
        ({"working_length": Measured(20.5, error=-1)}, "one standard deviation"),
        ({"finishing_file": (30, 0.6)}, "allowed 0 to 0.2"),
        ({"finishing_file": (30, 4.0)}, "looks like per cent: write 0.04"),
        ({"finishing_file": (33, 0.04)}, "nearest are 30 and 35"),
        ({"canal": " "}, "name the canal"),
        ({"widest": "up"}, "say in which direction"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_line(change: dict[str, object], words: str) -> None:
    with pytest.raises(MeasurementError) as caught:
        Canal.from_measurements(**{**BARE, **change})
    lines = str(caught.value).splitlines()
    assert any(words in line for line in lines), lines
    assert len(lines) == len(caught.value.faults)


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"apical_gauge": 40}, "apical_gauge"),
        ({"working_length": 27.0}, "working_length_mm"),
        ({"working_length": Measured(20.5, "cone-beam scan")}, "working_length_mm"),
        ({"canal": "mesobuccal"}, "canal"),
        ({"crest": 13.0, "cej": 12.5}, "crest_level_mm"),
        ({"foramen": 0.2, "apical_gauge": 30}, "foramen_mm"),
        ({"joins": ("mesiolingual", 2.0)}, "joins"),
    ],
)
def test_what_is_doubtful_is_built_and_noted(change: dict[str, object], key: str) -> None:
    canal = Canal.from_measurements(**{**BARE, **change})
    assert key in [doubt.key for doubt in canal.notes]
    assert all(doubt.message and doubt.action for doubt in canal.notes)


def test_a_lumen_read_from_a_scan_replaces_widths_and_curve_but_a_missing_wall_is_average() -> None:
    z = np.arange(0, 11, 0.25)
    ones = np.ones_like(z)
    wall = np.where(z < 5, np.nan, 1.3)
    native = Lumen(z, 0.3 * ones, 0.5 * ones, np.outer(z, [0, 0, 1]), np.outer(ones, [0, 2, 0]), wall, 0.11 * ones)
    canal = Canal.from_measurements(**BARE, native=native, native_width_error=0.04)
    assert canal.native.minor == pytest.approx(0.3)
    assert canal.native.wall[-1] == pytest.approx(1.3)
    assert canal.native.wall[10] == pytest.approx(0.7)
    assert canal.errors["width"].error == 0.04
    assert canal.sources["widths"].origin is Origin.SCAN


def test_resampling_keeps_the_volume() -> None:
    z = np.linspace(0.0, 9.97, 61)
    radius = 0.2 + 0.03 * z
    lumen = Lumen(
        z, 2 * radius, 2 * radius, np.outer(z, [0, 0, 1]), np.tile([0, 1, 0], (61, 1)), radius, np.pi * radius**2
    )
    assert resampled(lumen).volume == pytest.approx(lumen.volume, rel=0.015)
