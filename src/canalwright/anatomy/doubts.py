"""What is possible but unlikely in the measurements of a canal: for the clinician to look at again."""

from collections.abc import Iterator

from canalwright.anatomy import averages
from canalwright.anatomy.lumen import Doubt
from canalwright.anatomy.measurements import Measurements


def doubts(m: Measurements, name: str, known: bool, length: float) -> tuple[Doubt, ...]:
    """Doubts about `m`.

    `name` is the canal's full name, `known` whether the tooth is known for it, `length` that to the terminus [mm].
    """
    return tuple(_all(m, name, known, length))


def _all(m: Measurements, name: str, known: bool, length: float) -> Iterator[Doubt]:
    tooth = averages.tooth_averages(m.tooth)
    if not known:
        near = averages.nearest_canal(m.tooth, name)
        yield Doubt(
            "canal",
            f"a {m.tooth.kind} is not known for a canal named {name!r}",
            f"{f'did you mean {near!r}?' if near else 'check the name;'} averages of no particular canal fill the gaps",
        )
    off = length - tooth.length
    if abs(off) > averages.every("off_average").value:
        yield Doubt(
            "working_length_mm",
            f"{length:.1f} mm to the terminus is {abs(off):.1f} mm {'longer' if off > 0 else 'shorter'} than the "
            f"average {m.tooth.kind} ({tooth.length:.1f} mm)",
            "check the tooth, the reference point and the length",
        )
    gauge, tip = m.apical_gauge, m.file.profile.tip
    if gauge is not None and gauge.value / 100 > tip + 1e-9:
        yield Doubt(
            "apical_gauge",
            f"the apical gauge ({gauge.value / 100:.2f} mm) is wider than the finishing file ({tip:.2f} mm)",
            "the file does not touch the canal at its end: gauge again, or finish with a larger file",
        )
    if m.working_length.method == "cone-beam scan":
        yield Doubt(
            "working_length_mm",
            "lengths from cone-beam scans came out too short in 52 of 60 teeth (BioMed Res Int 2020, 7890127)",
            "confirm the length with an apex locator",
        )
    if m.foramen is not None and gauge is not None and m.foramen.value < gauge.value / 100:
        yield Doubt("foramen_mm", "the foramen is given narrower than the apical gauge", "check both")
    if m.crest is not None and m.cej is not None and m.crest.value > m.cej.value:
        yield Doubt(
            "crest_level_mm", "the bone crest is given coronal to the cemento-enamel junction", "check both levels"
        )
    if m.joins is not None:
        yield Doubt(
            "joins",
            f"the canal meets another one ({m.joins[0]}) {m.joins[1]:.1f} mm from the terminus",
            "only one of the two can be filled to the terminus; the other's cone ends where they meet",
        )
    for remark in m.remarks:
        yield Doubt("profile", remark, "look at this part of the scan again")
    for i, branch in enumerate(m.branches):
        if m.orifice_depth is not None and branch.level > length - m.orifice_depth.value:
            yield Doubt(f"side_branch[{i}].level_mm", "the side branch lies coronal to the orifice", "check its level")
