"""Protects: times are kept to the microsecond, in UTC, and sort as text."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from canalwright.records.errors import BadEntry
from canalwright.records.moments import day, moment, stamp

times = st.datetimes(datetime(1900, 1, 1), datetime(2200, 1, 1), timezones=st.just(UTC))


@settings(deadline=None)
@given(times, times)
def test_stamps_come_back_and_sort(a: datetime, b: datetime) -> None:
    assert moment(stamp(a)) == a
    assert (stamp(a) < stamp(b)) == (a < b)


def test_other_zones_become_utc_and_none_is_refused() -> None:
    assert stamp(datetime(2026, 1, 1, 1, tzinfo=timezone(timedelta(hours=2)))) == "2025-12-31T23:00:00.000000Z"
    with pytest.raises(BadEntry, match="zone"):
        stamp(datetime(2026, 1, 1))


@pytest.mark.parametrize(
    "text", ["", "2026-01-01", "2026-01-01 00:00:00.000000Z", "2026-01-01T00:00:00.000000+", "x" * 26 + "Z"]
)
def test_anything_else_is_no_stamp(text: str) -> None:
    with pytest.raises(ValueError):
        moment(text)


def test_dates_are_iso() -> None:
    with pytest.raises(BadEntry, match="2026-11-25"):
        day("25/11/2026")
