"""Every worked example of the handbook runs and prints what the page says; every page ends in the caution."""

import doctest
from pathlib import Path

import pytest

PAGES = sorted((Path(__file__).parents[2] / "docs" / "handbook").glob("*.md"))


@pytest.mark.parametrize("page", [p for p in PAGES if p.name != "README.md"], ids=lambda p: p.stem)
def test_examples(page):
    text = page.read_text(encoding="utf-8")
    test = doctest.DocTestParser().get_doctest(text.replace("```", ""), {}, page.name, str(page), 0)
    assert test.examples
    said: list[str] = []
    doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(test, out=said.append)
    assert not said, "".join(said)
    assert "Decision support for trained, licensed clinicians" in text


def test_every_page_is_listed():
    listed = (PAGES[0].parent / "README.md").read_text(encoding="utf-8")
    assert all(p.name in listed for p in PAGES if p.name != "README.md")
