"""The wall by side: what a file leaves towards each side of the tooth, and which side faces the furcation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import casefile, shaping
from canalwright.anatomy import SideWall, Tooth, furcation_side
from canalwright.anatomy.sides import half_width, least
from canalwright.readiness import shape_option, trade_off
from canalwright.shaping.envelope import envelope


def test_which_side_faces_the_furcation():
    assert furcation_side(Tooth(46), "mesiobuccal") == "distal" and furcation_side(Tooth(36), "distal") == "mesial"
    assert (
        furcation_side(Tooth(16), "second mesiobuccal") == "distal" and furcation_side(Tooth(26), "palatal") == "buccal"
    )
    assert furcation_side(Tooth(11), "single") == "" and furcation_side(Tooth(14), "palatal") == "buccal"


def test_half_widths_of_an_oval_canal_are_its_half_axes():
    """Widest buccolingually: towards buccal half the greatest width, towards distal half the least (closed form of the ellipse)."""
    native = casefile.demo_case().canal("distal").native
    coronal = native.z > 8
    for side, width in (("buccal", native.major), ("distal", native.minor)):
        found = half_width(native, side, native.minor, native.major)
        np.testing.assert_allclose(found[coronal], width[coronal] / 2, rtol=0.01)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 0.4), st.sampled_from([20, 30, 40, 60]))
def test_a_larger_file_or_shift_leaves_less_on_every_side(moved, size):
    """Monotone: never more dentine for a larger file or a greater shift towards that side."""
    from canalwright.anatomy.measurements import iso_file

    canal = casefile.demo_case().canal("MB")
    native = canal.native
    for wall in canal.sides:
        small = shaping.side_left(
            canal, wall, native.minor, native.major, envelope(iso_file(20, 0.04), native.z, canal.end)
        )
        large = shaping.side_left(
            canal, wall, native.minor, native.major, envelope(iso_file(size, 0.06), native.z, canal.end), moved
        )
        assert (large <= small + 1e-12).all() and (small <= wall.at(native.z) + 1e-12).all()


def test_the_least_of_all_sides_stands_for_the_wall():
    """A case that gives the wall by side only is one whose least wall is the least of them."""
    rows = least((SideWall("mesial", (2.0, 8.0), (1.0, 1.6)), SideWall("distal", (5.0,), (1.2,))))
    assert rows == ((2.0, 1.0), (5.0, 1.2), (8.0, 1.2))
    given_ = casefile.demo_case().canals[0].native
    table = casefile.demo_case().model.model_dump(mode="json", exclude_defaults=True)
    del table["canal"][0]["wall_mm"]
    only = casefile.from_table(table).canals[0].native
    np.testing.assert_allclose(only.at(7.0, only.wall), given_.at(7.0, given_.wall), atol=0.01)


def test_towards_the_furcation_costs_more_with_taper():
    found = trade_off(casefile.demo_case().canal("MB"), casefile.generic_tray(), draws=32)
    by_name = {o.file.name: o for o in found.options}
    small, large = by_name["30/0.02"].furcation, by_name["30/0.06"].furcation
    assert small is not None and large is not None and large.value < small.value
    assert large.low < large.value < large.high and by_name["30/0.06"].furcation_side == "distal"
    plain = shape_option(casefile.demo_case().canal("distal"), casefile.generic_tray(), found.present.file)
    assert plain.furcation is None


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ('{ side = "left", by_level = [[3, 1.0]] }', "side"),
        ('{ side = "mesial", by_level = [[3, 10.0]] }', "by_level"),
        ('{ side = "mesial", by_level = [[3, 1.0], [2, 1.0]] }', "by_level"),
        ('{ side = "mesial", by_level = [[3, 1.0, 2.0]] }', "by_level"),
        ('{ side = "mesial", by_level = [[3, 1.0]] }, { side = "mesial", by_level = [[5, 1.0]] }', "each side once"),
    ],
)
def test_a_wrong_side_is_told(table, words):
    text = f"""
[case]
version = 1
label = "Invented"
[tooth]
number = 46
[[canal]]
name = "distal"
working_length_mm = 20.5
finishing_file = {{ size = 40, taper = 0.04 }}
wall_side = [{table}]
"""
    with pytest.raises(casefile.CaseError, match=words):
        casefile.loads(text)
