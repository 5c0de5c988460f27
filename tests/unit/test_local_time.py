"""The papers' calendar says what Python's own calendar says."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from server.engine.local_time import day_words, iso_utc, when_words

LAST_MS = 253_402_300_799_999
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@given(st.integers(54_000_000, LAST_MS - 54_000_000), st.integers(-900, 900))
@example(951_782_400_000, 0)
@example(4_107_542_400_000, 0)
def test_every_time_is_that_of_pythons_calendar(at_ms: int, minutes_east: int) -> None:
    utc = EPOCH + timedelta(milliseconds=at_ms)
    then = utc + timedelta(minutes=minutes_east)
    assert when_words(at_ms, minutes_east) == f"{then.day} {then:%B} {then.year}, {then:%H:%M}"
    assert iso_utc(at_ms) == utc.isoformat(timespec="milliseconds").replace("+00:00", "Z")


@pytest.mark.parametrize(("at_ms", "minutes_east", "day"), [
    (0, 0, "1 January 1970"), (951_782_400_000, 0, "29 February 2000"), (1_773_482_400_000, 840, "15 March 2026"),
])
def test_days_around_leap_years_and_far_zones(at_ms: int, minutes_east: int, day: str) -> None:
    assert day_words(at_ms, minutes_east) == day
