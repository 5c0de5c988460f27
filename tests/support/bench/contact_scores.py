"""False alarms and misses from contact rows: at each judge's own threshold, and all at the same false alarms."""

import math
from collections.abc import Callable, Iterable
from typing import Any

Row = dict[str, Any]
SAME_FALSE_ALARMS = 0.002
FALSE_ALARMS = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05)
OWN_RATES = "ideal, own rates"
"""The near-ideal judge that holds the engine's rates of faults and of touches that fail (`own_rates`)."""
OWN_THRESHOLD = {"engine": 0.5, "ideal": 0.5, OWN_RATES: 0.5, "baseline": 0.5}
TWICE = ("short, 2 touches", "open, 2 touches")
"""Scored at the judge's own threshold, once what it doubted or what showed OL was touched again."""
BINS: tuple[tuple[str, Callable[[Row], bool]], ...] = (
    ("short", lambda row: row["what"] == "short"),
    ("leak < 150", lambda row: _leak(row, 0, 150)),
    ("leak < 500", lambda row: _leak(row, 0, 500)),
    ("leak 0.5-1.5k", lambda row: _leak(row, 500, 1500)),
    ("leak 1.5-5k", lambda row: _leak(row, 1500, 5000)),
    ("leak 5-20k", lambda row: _leak(row, 5000, 20_001)),
    ("leak < 5k", lambda row: _leak(row, 0, 5000)),
    ("high 8-20", lambda row: _high(row, 8, 20)),
    ("high 20-40", lambda row: _high(row, 20, 40)),
    ("high >= 40", lambda row: _high(row, 40, 1e9)),
)


def _leak(row: Row, low: float, high: float) -> bool:
    return row["what"] == "leak" and low <= row["size"] < high


def _high(row: Row, low: float, high: float) -> bool:
    return row["what"] == "raised" and low <= row["size"] < high


def threshold(rows: Iterable[Row], judge: str, share: float = SAME_FALSE_ALARMS, when: str = "first") -> float:
    """The score that `share` of the healthy contacts lie above."""
    of_healthy = (row[when][judge] for row in rows if row["what"] == "healthy" and judge in row[when])
    healthy = sorted(of_healthy, reverse=True)
    return healthy[min(len(healthy) - 1, int(share * len(healthy)))] if healthy else math.inf


def flagged_share(rows: Iterable[Row], judge: str, limit: float, when: str = "first") -> tuple[float, int]:
    """The share of rows above a limit, and how many rows there are."""
    scores = [row[when][judge] for row in rows if judge in row[when]]
    return (sum(score > limit for score in scores) / len(scores) if scores else math.nan), len(scores)


def table(rows: list[Row], judges: Iterable[str]) -> list[dict[str, Any]]:
    """One line a judge: false alarms at its own threshold after one and two touches, misses by kind at the same
    false alarms. Contacts whose first touch showed OL are judged after the second touch only."""
    numbers = [row for row in rows if row["number"]]
    healthy = [row for row in rows if row["what"] == "healthy"]
    told = []
    for judge in judges:
        own = OWN_THRESHOLD.get(judge, 1.0)
        if not any(judge in row["first"] for row in numbers):
            continue
        same = threshold(numbers, judge)
        line: dict[str, Any] = {
            "judge": judge,
            "fa_one_touch": flagged_share([row for row in healthy if row["number"]], judge, own)[0],
            "fa_two_touches": flagged_share(healthy, judge, own, "again")[0],
            "healthy": len(healthy),
            "same_fa": flagged_share([row for row in healthy if row["number"]], judge, same)[0],
            "missed": {},
            "missed_own": {},
            "n": {},
        }
        for name, belongs in BINS:
            of_bin = [row for row in numbers if belongs(row)]
            found, count = flagged_share(of_bin, judge, same)
            line["missed"][name], line["n"][name] = 1 - found, count
            line["missed_own"][name] = 1 - flagged_share(of_bin, judge, own)[0]
        for what in ("short", "open"):
            found, count = flagged_share([row for row in rows if row["what"] == what], judge, own, "again")
            name = f"{what}, 2 touches"
            line["missed"][name] = line["missed_own"][name] = 1 - found
            line["n"][name] = count
        told.append(line)
    return told


def by_current(rows: list[Row], judges: Iterable[str], currents: Iterable[float]) -> dict[str, dict[str, float]]:
    """Leaks below 5 kohm missed at the same false alarms (one threshold for all currents), by the meter's current."""
    numbers = [row for row in rows if row["number"]]
    told: dict[str, dict[str, float]] = {}
    for judge in judges:
        same = threshold(numbers, judge)
        if math.isinf(same):
            continue
        told[judge] = {}
        for current in currents:
            leaks = [row for row in numbers if row["current_ma"] == current and _leak(row, 0, 5000)]
            told[judge][f"{current:g}"] = 1 - flagged_share(leaks, judge, same)[0]
            told[judge][f"{current:g} n"] = len(leaks)
    return told


def by_false_alarms(rows: list[Row], judges: Iterable[str]) -> dict[str, list[float]]:
    """Leaks below 5 kohm missed, over a grid of false alarms."""
    numbers = [row for row in rows if row["number"]]
    leaks = [row for row in numbers if _leak(row, 0, 5000)]
    told = {}
    for judge in judges:
        if any(judge in row["first"] for row in leaks):
            limits = [threshold(numbers, judge, share) for share in FALSE_ALARMS]
            told[judge] = [1 - flagged_share(leaks, judge, limit)[0] for limit in limits]
    return told
