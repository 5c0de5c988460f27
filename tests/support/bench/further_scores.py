"""How much more is found at a second current or with the other lead, at the same false alarms."""

import math
from collections.abc import Callable
from typing import Any

from tests.support.bench.contact_scores import OWN_THRESHOLD, Row, flagged_share, threshold
from tests.support.bench.further_rows import OTHER_LEAD, SECONDS, WAYS

FINDS: tuple[tuple[str, Callable[[Row], bool]], ...] = (
    ("leak < 500", lambda row: _is(row, "leak", 0, 500)),
    ("leak 0.5-1.5k", lambda row: _is(row, "leak", 500, 1500)),
    ("leak 1.5-5k", lambda row: _is(row, "leak", 1500, 5000)),
    ("leak 5-10k", lambda row: _is(row, "leak", 5000, 10_000)),
    ("leak 10-20k", lambda row: _is(row, "leak", 10_000, 20_001)),
    ("leak < 10k", lambda row: _is(row, "leak", 0, 10_000)),
    ("high 8-40", lambda row: _is(row, "raised", 8, 40)),
    ("high >= 40", lambda row: _is(row, "raised", 40, math.inf)),
)
SMALLEST = SECONDS[-1]
"""The pair of currents that the bar speaks of."""


def _is(row: Row, what: str, low: float, high: float) -> bool:
    return row["what"] == what and low <= row["size"] < high


def by_way(rows: list[Row]) -> list[dict[str, Any]]:
    """One line a way of looking: false alarms at the engine's own threshold, and what is found, with how many there
    were. Signals that showed a number; opens are what showed OL, at its own threshold."""
    signals = [row for row in rows if not row["rail"]]
    numbers = [row for row in signals if row["number"]]
    own = OWN_THRESHOLD["engine"]
    told = []
    for way in WAYS:
        healthy = [row for row in numbers if row["what"] == "healthy"]
        line: dict[str, Any] = {"way": way, "fa": flagged_share(healthy, way, own)[0], "healthy": len(healthy)}
        same = threshold(numbers, way)
        line["found"] = {
            name: flagged_share([row for row in numbers if belongs(row)], way, same) for name, belongs in FINDS
        }
        opens = [row for row in signals if row["what"] == "open" and not row["number"]]
        line["found"]["open"] = flagged_share(opens, way, own)
        told.append(line)
    return told


def figures_of(rows: list[Row]) -> dict[str, float]:
    """The bars' figures."""
    lines = {line["way"]: line for line in by_way(rows)}
    return {
        "leak two currents": 100 * lines[SMALLEST]["found"]["leak < 10k"][0],
        "fa two currents": 100 * lines[SMALLEST]["fa"],
    }


def way_table(rows: list[Row]) -> str:
    """What each way of looking finds, and how much more than the first reading alone the other lead does."""
    lines = by_way(rows)
    names = list(lines[0]["found"])
    jobs = len({row["job"] for row in rows})
    head = (
        f"LOOKED AT TWICE plain, 8 reference boards, sheets known: {jobs} jobs read at 1 mA, {lines[0]['healthy']} "
        "healthy signals\nfalse alarms in % at the engine's own threshold; found in % with 0.2 % false alarms, by "
        "fault (ohm; mV at 1 mA); opens at its own threshold"
    )
    body = [f"{'read':24}{'FA':>7}" + "".join(f"{name.replace('leak ', ''):>11}" for name in names)]
    for line in lines:
        cells = "".join(f"{100 * line['found'][name][0]:11.1f}" for name in names)
        body.append(f"{_words(line['way']):24}{100 * line['fa']:7.2f}{cells}")
    body.append(f"{'n':31}" + "".join(f"{lines[0]['found'][name][1]:11}" for name in names))
    return "\n".join([head, *body])


def _words(way: str) -> str:
    if way == OTHER_LEAD:
        return "and black on ground"
    return f"and at {way} mA" if way in SECONDS else "at 1 mA alone"
