"""Protects: the generic tray has what a warm vertical filling needs, and a poor tray file is refused line by line."""

import pytest

from canalwright import casefile

TEXT = """
[tray]
version = 1
name = "small"
[[cone]]
sizes = [30, 35]
taper = 0.04
[[plugger]]
name = "one"
tip_mm = 0.5
[[carrier]]
name = "heat"
tip_mm = 0.5
taper = 0.06
[[needle]]
gauge = 23
"""


def test_the_generic_tray_has_iso_sizes_and_no_series_of_a_maker() -> None:
    tray = casefile.generic_tray()
    assert {cone.profile.tip for cone in tray.cones} == {
        s / 100 for s in (15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 70, 80)
    }
    assert len(tray.cones) == 36
    tips = sorted(plugger.profile.tip for plugger in tray.pluggers)
    assert (tips[0], tips[-1]) == (0.35, 1.3)
    assert {plugger.elastic for plugger in tray.pluggers} == {True, False}
    assert [needle.gauge for needle in tray.needles if needle.purpose == "backfill"] == [20, 23, 25]
    assert {needle.opening for needle in tray.needles if needle.purpose == "irrigation"} == {"open", "side"}
    assert tray.carriers
    assert tray.sealers
    assert tray.paper_points


def test_a_small_tray_is_read_with_its_defaults() -> None:
    tray = casefile.loads_tray(TEXT)
    assert [cone.name for cone in tray.cones] == ["30/0.04", "35/0.04"]
    assert float(tray.cones[0].profile(28.0)) == pytest.approx(0.3 + 28 * 0.04)
    assert not tray.pluggers[0].elastic
    assert tray.needles[0].outside == 0.641


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("sizes = [30, 35]", "sizes = [30, 36]",
         "x.toml: cone[0].sizes = 36: allowed sizes of ISO 3630-1; "
         "size 36 is not in the ISO 3630-1 series; nearest are 35 and 40"),
        ("taper = 0.04", "taper = 0.6", "x.toml: cone[0].taper = 0.6: allowed 0 to 0.2; give a value in this range"),
        ("taper = 0.04", "taper = 4", "x.toml: cone[0].taper = 4: allowed 0 to 0.2; looks like per cent: write 0.04"),
        ("tip_mm = 0.5\n[[carrier]]", "tip_mm = 500\n[[carrier]]",
         "x.toml: plugger[0].tip_mm = 500: allowed 0.2 to 2.5 mm; looks like micrometres: write 0.5"),
        ("gauge = 23", "gauge = 9",
         "x.toml: needle[0] = 9 gauge; 9 gauge is not in the table of needle tubing: 18 to 31"),
        ("gauge = 23", 'gauge = 23\npurpose = "irrigation"',
         'x.toml: needle = no needle for backfill: allowed at least one; add a needle with purpose = "backfill"'),
        ("gauge = 23", "gauge = 23\ninside_mm = 0.7",
         "x.toml: needle[0] = 23 gauge; the bore (0.7 mm) must be narrower than the outside (0.641 mm)"),
        ("sizes = [30, 35]", "sizes = [30, 30]",
         "x.toml: cone = '30/0.04': allowed names that differ; name each tool of a kind once"),
        ("taper = 0.04", "diameters_by_mm = [[0, 0.3]]",
         "x.toml: cone[0] = both: allowed sizes with taper, or diameters_by_mm; take one of the two out"),
        ('[[carrier]]\nname = "heat"\ntip_mm = 0.5\ntaper = 0.06\n', "",
         "x.toml: carrier = none: allowed at least one [[carrier]]; "
         "an empty tray cannot be planned with: add a heat carrier"),
    ],
)  # fmt: skip
def test_a_poor_tray_is_refused(old: str, new: str, line: str) -> None:
    assert old in TEXT
    with pytest.raises(casefile.CaseError) as caught:
        casefile.loads_tray(TEXT.replace(old, new, 1), "x.toml")
    assert line in str(caught.value).splitlines()


def test_an_empty_tray_names_all_it_lacks() -> None:
    with pytest.raises(casefile.CaseError) as caught:
        casefile.loads_tray('[tray]\nversion = 1\nname = "empty"', "x.toml")
    assert [p.key for p in caught.value.problems] == ["cone", "plugger", "carrier", "needle"]
