"""Protects: three techniques are compared in one canal on the same footing, and the doubt is put into words."""

from canalwright.planning import Plan, techniques


def test_warm_fills_denser_than_cold(plans: dict[str, Plan]) -> None:
    """Published order in oval canals: more gutta-percha and fewer voids warm than by cold lateral filling (Keles et al. 2014)."""
    warm, single, lateral = techniques.compare(plans["distal"])
    assert [t.name for t in (warm, single, lateral)] == ["warm vertical", "single cone", "cold lateral"]
    assert warm.gutta.value > lateral.gutta.value > single.gutta.value
    for one in (warm, single, lateral):
        assert abs(one.gutta.value + one.sealer.value + one.void.value - 1) < 1e-6
        assert len(one.branches) == len(plans["distal"].canal.portals)


def test_doubts_are_told_in_words(plans: dict[str, Plan]) -> None:
    said = techniques.doubts(plans["distal"], points=8)
    assert said
    assert all("doubt" in sentence for sentence in said)
