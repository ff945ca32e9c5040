"""What others may build on neither changes nor goes by oversight, and says what it is."""

import pytest

from release import names


def test_public_names_are_those_on_the_list() -> None:
    listed = names.PAGE.read_text(encoding="utf-8").splitlines()
    now = names.listed()
    lost, new = [f"- {n}" for n in listed if n not in now], [f"+ {n}" for n in now if n not in listed]
    changes = "\n".join(lost + new)
    assert not changes, (
        f"public names or their parameters changed:\n{changes}\nIf this is meant, run `make names` and say why in the commit."
    )


@pytest.mark.parametrize("room", list(names.rooms()), ids=lambda room: room.__name__)
def test_every_public_name_says_what_it_is(room) -> None:  # type: ignore[no-untyped-def]
    assert names.untold(room) == [], "give each of these a docstring"
    assert (room.__doc__ or "").strip(), "the first lines of a room tell its story"


def test_a_lost_name_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("canalwright.fit.__all__", ["seat"])
    with pytest.raises(AssertionError, match=r"run `make names`"):
        test_public_names_are_those_on_the_list()
