"""Milliseconds since 1970 as a day and a time of the wall clock, in words and as ISO 8601. No clock is read."""

from typing import NamedTuple

from server.engine.constants.papers import (
    FIRST_YEAR,
    H_PER_DAY,
    LEAP_AGAIN_EVERY,
    LEAP_EVERY,
    MIN_PER_H,
    MONTH_DAYS,
    MS_PER_S,
    NO_LEAP_EVERY,
    S_PER_MIN,
    YEAR_DAYS,
)

_MONTHS = tuple(MONTH_DAYS)


class Moment(NamedTuple):
    """A time of a wall clock; `month` is 1 to 12."""

    year: int
    month: int
    day: int
    hour: int
    minute: int
    second: int
    millisecond: int


def moment(at_ms: int, minutes_east: int = 0) -> Moment:
    """The wall clock's time at `at_ms`, for a clock so many minutes ahead of UTC."""
    local_ms = max(0, at_ms + minutes_east * S_PER_MIN * MS_PER_S)
    seconds, millisecond = divmod(local_ms, MS_PER_S)
    minutes, second = divmod(seconds, S_PER_MIN)
    hours, minute = divmod(minutes, MIN_PER_H)
    days, hour = divmod(hours, H_PER_DAY)
    year = FIRST_YEAR
    while days >= _days_of(year):
        days -= _days_of(year)
        year += 1
    month = 0
    while days >= _days_in(year, month):
        days -= _days_in(year, month)
        month += 1
    return Moment(year, month + 1, days + 1, hour, minute, second, millisecond)


def _is_leap(year: int) -> bool:
    return year % LEAP_EVERY == 0 and (year % NO_LEAP_EVERY != 0 or year % LEAP_AGAIN_EVERY == 0)


def _days_of(year: int) -> int:
    return YEAR_DAYS + (1 if _is_leap(year) else 0)


def _days_in(year: int, month: int) -> int:
    """Days of the month, counted from 0."""
    name = _MONTHS[month]
    return int(MONTH_DAYS[name]) + (1 if name == "February" and _is_leap(year) else 0)


def day_words(at_ms: int, minutes_east: int) -> str:
    """ "28 November 2026"."""
    then = moment(at_ms, minutes_east)
    return f"{then.day} {_MONTHS[then.month - 1]} {then.year}"


def clock_words(at_ms: int, minutes_east: int) -> str:
    """ "10:12"."""
    then = moment(at_ms, minutes_east)
    return f"{then.hour:02d}:{then.minute:02d}"


def when_words(at_ms: int, minutes_east: int) -> str:
    """ "28 November 2026, 10:12"."""
    return f"{day_words(at_ms, minutes_east)}, {clock_words(at_ms, minutes_east)}"


def iso_utc(at_ms: int) -> str:
    """ "2026-11-28T10:12:03.250Z": ISO 8601, of UTC."""
    then = moment(at_ms)
    day = f"{then.year:04d}-{then.month:02d}-{then.day:02d}"
    return f"{day}T{then.hour:02d}:{then.minute:02d}:{then.second:02d}.{then.millisecond:03d}Z"
