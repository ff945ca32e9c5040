"""How the tests are shared out between workers (`--dist loadgroup`): what is costly to build is built once, and what is long begins first.

A file goes to one worker, so that what its tests share (a phantom's scan, a traced tooth, a server with its browser) is made in one
process; files that share a plan or a cohort go together; the published comparisons go by room. A run in one process differs in its order
alone.
"""

import pytest

SHARED = {"expected": "cohort", "plans": "plans of the demo case", "story": "page's plan", "plan": "page's plan"}
"""Fixtures of a whole session, and the group of the tests that ask for one. A fixture of that name in a file of its own does not count."""
FIRST = (
    "browser_heat", "browser_scan", "cohort", "evidence heat", "browser_check", "evidence imaging", "browser_ready", "browser_chair",
    "evidence cohort", "browser_chair_long", "browser", "evidence compaction", "browser_check_scans", "evidence planning", "browser_ways",
    "plans of the demo case", "browser_many", "page's plan", "browser_solid", "evidence assessment", "browser_waiting", "browser_archive",
    "records_page", "tests/web/test_sharing.py",
)  # fmt: skip
"""Groups that take longest, longest first. The first two compile what neither shares (heat, tracing); after them all is compiled."""


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Give every test a group, and put the long groups at the head."""
    place = {name: i for i, name in enumerate(FIRST)}
    ranks = {}
    for item in items:
        mark = item.get_closest_marker("xdist_group")
        group = str(mark.args[0]) if mark else _home(item)
        if mark is None:
            item.add_marker(pytest.mark.xdist_group(group))
        ranks[item] = place.get(group, len(FIRST))
    items.sort(key=ranks.__getitem__)


def _home(item: pytest.Item) -> str:
    """The group of a test that names none: by room for a published comparison, by a plan or cohort that it shares, else its file."""
    file = item.nodeid.partition("::")[0]
    if file.endswith("test_evidence.py") and "[" in item.name:
        return "evidence " + item.name.partition("[")[2].partition(":")[0]
    for name, group in SHARED.items():
        made = (
            item._request._fixturemanager.getfixturedefs(name, item)
            if name in getattr(item, "fixturenames", ())
            else None
        )  # type: ignore[attr-defined]
        if made and made[-1].scope == "session":
            return group
    return file
