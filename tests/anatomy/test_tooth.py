"""Protects: teeth keep their identity between notations, and what names no tooth is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canalwright.anatomy import Tooth

codes = st.builds(lambda q, p: 10 * q + p, st.integers(1, 4), st.integers(1, 8))


@given(codes)
def test_iso_to_universal_and_back(code: int) -> None:
    assert Tooth.from_universal(Tooth(code).universal).code == code


@given(st.integers(1, 32))
def test_universal_to_iso_and_back(number: int) -> None:
    assert Tooth.from_universal(number).universal == number


@given(st.integers().filter(lambda n: not (1 <= n // 10 <= 4 and 1 <= n % 10 <= 8)))
def test_other_numbers_are_refused(code: int) -> None:
    with pytest.raises(ValueError, match="not a permanent tooth"):
        Tooth(code)


@given(codes)
def test_a_mirrored_tooth_has_the_same_kind_and_the_other_side(code: int) -> None:
    mirrored = Tooth(code + {1: 10, 2: -10, 3: 10, 4: -10}[code // 10])
    assert Tooth(code).kind == mirrored.kind
    assert {Tooth(code).side, mirrored.side} == {"left", "right"}


def test_names() -> None:
    assert str(Tooth(46)) == "46 (lower first molar, right)"
    with pytest.raises(ValueError, match="outside 1-32"):
        Tooth.from_universal(33)
