"""The readiness table of a case: read whole, written back the same, refused in one line each."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright import casefile
from canalwright.irrigation import SOLUTIONS, agitations
from canalwright.readiness import method_names

CASE = """
[case]
version = 1
label = "Invented"
invented = true
[tooth]
number = 46
[[canal]]
name = "distal"
working_length_mm = 20.5
finishing_file = {{ size = 40, taper = 0.04 }}
[canal.readiness]
{}
"""


def test_the_demo_has_one():
    case = casefile.demo_case()
    record = case.record("distal")
    assert record.age == 40 and len(record.points) == 4 and record.irrigated.hypochlorite == 600
    assert record.trials[0].size == 40 and case.record("MB") is None
    again = casefile.loads(casefile.dumps(case))
    assert again.digest == case.digest and again.record("distal") == record


def test_the_file_knows_every_method_and_solution():
    """The names in the file are those of the rooms: none is missing, none is left over."""
    schema = casefile.schema()["$defs"]
    assert set(schema["LengthTable"]["properties"]["method"]["enum"]) == set(method_names())
    assert set(schema["IrrigationTable"]["properties"]["order"]["items"]["enum"]) == set(SOLUTIONS)
    assert set(schema["IrrigationTable"]["properties"]["agitation"]["enum"]) == set(agitations())


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("gauges = [{ size = 33, passes = true }]", r"canal\[0\].readiness.gauges\[0\].size = 33.*series"),
        ("paper_points = [{ dry_mm = 20.5, far_side_mm = 19 }]", r"paper_points\[0\] = 20.5.*shorter one first"),
        ('lengths = [{ method = "feeling", value_mm = 20 }]', "method"),
        ('lengths = [{ method = "tactile", value_mm = 200 }]', "value_mm"),
        ('irrigation = { order = ["bleach"] }', "order"),
        ("irrigation = { percent = 12 }", "percent"),
        ("mood = 1", "mood"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(table, words):
    with pytest.raises(casefile.CaseError, match=words):
        casefile.loads(CASE.format(table))


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from(method_names()), st.floats(15, 25)), max_size=4),
    st.lists(st.floats(15, 25), max_size=4),
    st.sampled_from(agitations()),
)
def test_round_trip(lengths, points, agitation):
    rows = ", ".join(f'{{ method = "{m}", value_mm = {v!r} }}' for m, v in lengths)
    dry = ", ".join(f"{{ dry_mm = {p!r} }}" for p in points)
    text = f'lengths = [{rows}]\npaper_points = [{dry}]\nirrigation = {{ agitation = "{agitation}" }}'
    case = casefile.loads(CASE.format(text))
    again = casefile.loads(casefile.dumps(case))
    assert again.record("distal") == case.record("distal") and again.digest == case.digest
