"""The bench's pictures: what is missed by size, current and false alarms; confidence; touches until it is settled."""

import statistics
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

from tests.support.bench import rules
from tests.support.bench import tables as t
from tests.support.bench.bars import EIGHT, of_setting
from tests.support.bench.contact_scores import FALSE_ALARMS, Row, flagged_share, threshold
from tests.support.bench.drawing import Axis, Curve, chart
from tests.support.bench.walk_scores import ORDERS

Rows = dict[str, list[Row]]
AFTER_MEDIAN = tuple(name for name in rules.NAMES if name.endswith("median"))
LEAK_EDGES = (60, 150, 300, 500, 900, 1500, 2700, 5000, 10_000, 20_000)
HIGH_EDGES = (8, 13, 20, 28, 40, 65, 100, 150)
PER_CENT = Axis("missed, %", [(share, f"{100 * share:g}") for share in (0, 0.25, 0.5, 0.75, 1)])


def draw(rows: Rows, baseline: dict[str, Any] | None, folder: Path) -> list[Path]:
    """Writes the pictures; `baseline` holds the curves of the first form, where they are known."""
    curves = curves_of(rows, "engine")
    folder.mkdir(parents=True, exist_ok=True)
    told = []
    for name, title, across, up, others in _pictures(rows):
        lines = [Curve("engine", curves[name])]
        first = [(x, y) for x, y in (baseline or {}).get(name, [])]
        if first and first != curves[name]:
            lines.append(Curve("engine, first form", first))
        told.append(folder / f"{name}.svg")
        told[-1].write_text(chart(title, across, up, [*lines, *others]), encoding="utf-8")
    told.append(folder / "touches.svg")
    told[-1].write_text(_touches(rows["walks"]), encoding="utf-8")
    return told


def curves_of(rows: Rows, judge: str) -> dict[str, list[tuple[float, float]]]:
    """One judge's points in each picture."""
    eight = [row for row in of_setting(rows["contacts"], EIGHT) if row["number"]]
    limit = threshold(eight, judge)

    def missed(belongs: Callable[[Row], bool], at: float = limit) -> float:
        return 1 - flagged_share([row for row in eight if belongs(row)], judge, at)[0]

    return {
        "leaks": _by_size(missed, "leak", LEAK_EDGES),
        "high": _by_size(missed, "raised", HIGH_EDGES),
        "currents": [
            (ma, missed(lambda row, ma=ma: _leak_below_5k(row) and row["current_ma"] == ma))
            for ma in t.NOMINAL_CURRENTS_MA
        ],
        "false_alarms": [
            (share, missed(_leak_below_5k, threshold(eight, judge, share))) for share in FALSE_ALARMS
        ],
        "confidence": _confidence(of_setting(rows["stories"], EIGHT), judge) if judge in ("engine", "ideal") else [],
    }  # fmt: skip


def _leak_below_5k(row: Row) -> bool:
    return row["what"] == "leak" and row["size"] < 5000


def _by_size(missed: Callable[..., float], what: str, edges: tuple[int, ...]) -> list[tuple[float, float]]:
    return [
        ((low * high) ** 0.5, missed(lambda row, a=low, b=high: row["what"] == what and a <= row["size"] < b))
        for low, high in pairwise(edges)
    ]


def _confidence(rows: list[Row], judge: str, bins: int = 10) -> list[tuple[float, float]]:
    ranked = sorted(((row[judge]["top_p"], row[judge]["rank"] == 0) for row in rows), key=lambda one: one[0])
    parts = [ranked[n * len(ranked) // bins : (n + 1) * len(ranked) // bins] for n in range(bins)]
    return [(statistics.fmean(p for p, _ in part), sum(hit for _, hit in part) / len(part)) for part in parts if part]


def _pictures(rows: Rows) -> list[tuple[str, str, Axis, Axis, list[Curve]]]:
    others = {judge: curves_of(rows, judge) for judge in ("ideal", *AFTER_MEDIAN)}
    kilo = Axis(
        "leak, ohm", [(60, "60"), (150, "150"), (500, "500"), (1500, "1.5k"), (5000, "5k"), (20_000, "20k")], True
    )
    high = Axis("too high by, mV", [(8, "8"), (20, "20"), (40, "40"), (80, "80"), (150, "150")], True)
    current = Axis("the meter's current, mA", [(ma, f"{ma:g}") for ma in t.NOMINAL_CURRENTS_MA], True)
    alarms = Axis("healthy contacts flagged, %", [(share, f"{100 * share:g}") for share in FALSE_ALARMS], True)
    tenths = [(share, f"{share:g}") for share in (0, 0.2, 0.4, 0.6, 0.8, 1)]
    same = "with 0.2 % false alarms"
    told: list[tuple[str, str, Axis, Axis]] = [
        ("leaks", f"Leaks missed by size, {same}", kilo, PER_CENT),
        ("high", f"Contacts that read high, missed by size, {same}", high, PER_CENT),
        ("currents", f"Leaks below 5 kohm missed by current, {same}", current, PER_CENT),
        ("false_alarms", "Leaks below 5 kohm missed, by how often healthy contacts are flagged", alarms, PER_CENT),
        ("confidence", "The leading story: how sure, and how often right",
         Axis("said", tenths), Axis("right", tenths)),
    ]  # fmt: skip
    pictures = []
    for name, title, across, up in told:
        lines = [Curve(judge, others[judge][name]) for judge in others if others[judge][name]]
        if name == "confidence":
            lines = [Curve("ideal", others["ideal"][name]), Curve("as said", [(0, 0), (1, 1)])]
        pictures.append((name, title, across, up, lines))
    return pictures


def _touches(rows: list[Row]) -> str:
    damaged = [row for row in rows if row["damage"]]
    most = 60

    def settled(order: str, touches: int) -> float:
        return sum(row[order]["touches"] <= touches for row in damaged) / max(1, len(damaged))

    curves = [Curve(order, [(n, settled(order, n)) for n in range(0, most + 1, 3)]) for order in ORDERS]
    across = Axis("touches", [(n, str(n)) for n in range(0, most + 1, 10)])
    up = Axis("decision settled, %", [(share, f"{100 * share:g}") for share in (0, 0.25, 0.5, 0.75, 1)])
    return chart("Jobs with damage: share whose decision stays the same from there on", across, up, curves)
