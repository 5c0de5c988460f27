"""The bars opinions are held against, each beside what the near-ideal judge reaches and what the first form did.

A figure is a share found, false alarms, a score or a ratio; `figures` makes all of them from rows. A bar that needs
something the engine cannot do yet has no figure and says so.
"""

import math
from typing import Any, NamedTuple

from tests.support.bench import further_scores, meter_scores, words_scores
from tests.support.bench import tables as t
from tests.support.bench.contact_scores import BINS, TWICE, Row, flagged_share, table, threshold
from tests.support.bench.story_scores import AGAIN, FAR, TAUGHT, bridges, paired, summary
from tests.support.bench.walk_scores import ratios, shift, until_settled

Figures = dict[str, float]
EIGHT = ("plain", t.REFERENCE_BOARDS, True)


class Bar(NamedTuple):
    """A figure's name, its limit, and whether it is to be at least or at most that."""

    figure: str
    words: str
    limit: float
    at_least: bool


BARS = (
    Bar("fa one touch", "healthy contacts flagged, % (one touch)", 0.2, False),
    Bar("fa two touches", "the same after the second touch, %", 0.1, False),
    Bar("fa one board", "the same, one reference board, %", 0.3, False),
    Bar("fa siblings", "the same, siblings only, %", 0.3, False),
    Bar("short", "shorts found, %", 99.9, True),
    Bar("short twice", "the same after the second touch, own threshold, %", 99.9, True),
    Bar("open", "visible opens found after the second touch, %", 99.9, True),
    Bar("leak < 500", "leaks below 500 ohm found, %", 99.5, True),
    Bar("leak 0.5-1.5k", "leaks of 500 to 1,500 ohm found, %", 92, True),
    Bar("leak 1.5-5k", "leaks of 1.5 to 5 kohm found, %", 47, True),
    Bar("leak < 5k over ideal", "misses below 5 kohm over the near-ideal's", 1.2, False),
    Bar("leak at 0.2 mA", "leaks below 5 kohm found at 0.2 mA, %", 98, True),
    Bar("leak at 0.5 mA", "the same at 0.5 mA, %", 89, True),
    Bar("leak at 1 mA", "the same at 1 mA, %", 78, True),
    Bar("leak at 2 mA", "the same at 2 mA, %", 58, True),
    Bar("leak two currents", "leaks below 10 kohm found with two currents, %", 97, True),
    Bar("fa two currents", "healthy signals flagged with two currents, %", 0.2, False),
    Bar("high >= 40", "high by 40 mV and more found, %", 98, True),
    Bar("high 20-40", "high by 20 to 40 mV found, %", 91, True),
    Bar("high 8-20", "high by 8 to 20 mV found, %", 38, True),
    Bar("bridge far", "bridges more than 4 deviations off found, %", 99.5, True),
    Bar("bridge touched", "bridges found after contact to contact, %", 99.5, True),
    Bar("one board leak < 5k", "leaks below 5 kohm found, one board, %", 76, True),
    Bar("siblings leak < 500", "leaks below 500 ohm found, siblings only, %", 96, True),
    Bar("shift mean", "common shift, mean error, mV", 2, False),
    Bar("shift tilt", "common shift, tilt, mV per 100 mV", 2, False),
    Bar("shift crowd", "common shift with 60 % low, mean error, mV", 4, False),
    Bar("top-1 lost", "stories with damage, top-1 below the ideal's", 0.02, False),
    Bar("top-3 lost", "the same, top-3", 0.02, False),
    Bar("log lost", "the same, log score above the ideal's, nat", 0.05, False),
    Bar("log lost same tables", "the same, above ideal inference on its own tables, nat", 0.05, False),
    Bar("sure and right", "confidence above 0.9 is right", 0.97, True),
    Bar("top-1 lost again", "the same after the touches asked for again: top-1 below", 0.02, False),
    Bar("top-3 lost again", "the same, top-3", 0.02, False),
    Bar("log lost again", "the same, log score above the ideal's, nat", 0.05, False),
    Bar("log lost same tables again", "the same, above ideal inference on its own tables, nat", 0.05, False),
    Bar("sure and right again", "the same, confidence above 0.9 is right", 0.97, True),
    Bar("ece", "calibration error, tables that differ", 0.10, False),
    Bar("ece taught", "the same, in a shop that has learnt the world's rates", 0.03, False),
    Bar("set covers", "90 % sets cover (0.88 to 0.97), distance to that", 0.0, False),
    Bar("sheet current", "a meter's sheet: 90 % of its current (0.88 to 0.97), distance", 0.0, False),
    Bar("sheet zero", "the same, of its zero", 0.0, False),
    Bar("pair ratio", "two meters: 95 % of the ratio (0.92 to 0.98), distance", 0.0, False),
    Bar("pair current", "the same, 90 % of the second current (0.88 to 0.97)", 0.0, False),
    Bar("words", "a low number in ohms: 95 % hold it (0.92 to 0.98), distance", 0.0, False),
    Bar("walk medians", "guided over sweep with damage, medians of touches", 0.55, False),
    Bar("walk means", "the same, means", 0.60, False),
    Bar("walk seconds", "the same, mean seconds", 0.70, False),
    Bar("stop settled", "stopping agrees with the same walk once all is read", 0.98, True),
)


def figures(rows: dict[str, list[Row]], judge: str) -> Figures:
    """All figures of one judge ('engine' or 'ideal')."""
    told = contact_figures(rows["contacts"], judge)
    told |= _shift_figures(rows["shifts"], judge)
    limit = threshold([row for row in of_setting(rows["contacts"], EIGHT) if row["number"]], judge)
    told |= _story_figures(of_setting(rows["stories"], EIGHT), judge, limit)
    if judge == "engine":
        told |= _walk_figures([row for row in rows["walks"] if row["damage"]])
        told |= further_scores.figures_of(rows["further"]) if rows.get("further") else {}
        told |= words_scores.figures_of(rows["words"]) if rows.get("words") else {}
        told |= meter_scores.figures_of(rows["meters"]) if rows.get("meters") else {}
    return _told(told)


def of_setting(rows: list[Row], setting: tuple[str, int, bool]) -> list[Row]:
    """The rows of one weather, count of reference boards, and sheets known or not."""
    weather, boards, sheet = setting
    return [
        row
        for row in rows
        if row["weather"] == weather and row["references"] == boards and row.get("sheet", True) == sheet
    ]


def contact_figures(rows: list[Row], judge: str) -> Figures:
    """The figures of single contacts; none where that judge judged none of them."""
    eight = of_setting(rows, EIGHT)
    if not any(judge in row["first"] for row in eight):
        return {}
    line, best = (table(eight, (one,))[0] for one in (judge, "ideal"))
    told = {"fa one touch": 100 * line["fa_one_touch"], "fa two touches": 100 * line["fa_two_touches"]}
    for name, _ in BINS:
        told[name] = 100 * (1 - line["missed"][name])
    told["short twice"], told["open"] = (100 * (1 - line["missed"][name]) for name in TWICE)
    told["leak < 5k over ideal"] = line["missed"]["leak < 5k"] / max(best["missed"]["leak < 5k"], 1e-9)
    limit = threshold([row for row in eight if row["number"]], judge)
    for ma in t.NOMINAL_CURRENTS_MA:
        leaks = [row for row in eight if row["number"] and row["current_ma"] == ma and _below_5k(row)]
        told[f"leak at {ma:g} mA"] = 100 * flagged_share(leaks, judge, limit)[0]
    for name, boards in (("one board", 1), ("siblings", 0)):
        few = of_setting(rows, ("plain", boards, True))
        if few:
            line = table(few, (judge,))[0]
            told[f"fa {name}"] = 100 * line["fa_one_touch"]
            for leak in ("leak < 500", "leak < 5k"):
                told[f"{name} {leak}"] = 100 * (1 - line["missed"][leak])
    return _told(told)


def _told(figures: Figures) -> Figures:
    return {name: round(value, 5) for name, value in figures.items() if not math.isnan(value)}


def _below_5k(row: Row) -> bool:
    return row["what"] == "leak" and row["size"] < 5000


def _shift_figures(rows: list[Row], judge: str) -> Figures:
    told: Figures = {}
    if eight := of_setting(rows, EIGHT):
        found = shift(eight, judge)
        told = {"shift mean": found["mean"], "shift tilt": found["tilt"]}
    if crowd := of_setting(rows, ("crowd", t.REFERENCE_BOARDS, True)):
        told["shift crowd"] = shift(crowd, judge)["mean"]
    return told


def _story_figures(rows: list[Row], judge: str, limit: float) -> Figures:
    damaged = [row for row in rows if row["damage"]]
    mine, best = summary(damaged, judge), summary(damaged, "ideal")
    whole = summary(rows, judge)
    told = {
        "top-1": mine["top1"],
        "top-3": mine["top3"],
        "log": mine["log"],
        "top-1 lost": best["top1"] - mine["top1"],
        "top-3 lost": best["top3"] - mine["top3"],
        "log lost": paired(damaged, judge, "ideal")[0],
        "sure and right": whole["sure_right"],
        "ece": whole["ece"],
        "ece floor": whole["ece_floor"],
        "set covers": max(0.0, 0.88 - whole["covered"], whole["covered"] - 0.97),
        "set covered": whole["covered"],
        "set size": whole["set"],
    }
    if judge == "ideal" or TAUGHT in rows[0]:  # the near-ideal judge holds the world's rates
        told["ece taught"] = whole["ece"] if judge == "ideal" else summary(rows, TAUGHT)["ece"]
    if judge == "engine":
        told["log lost same tables"] = paired(damaged, judge, "ideal_tables")[0]
        found = bridges(rows, limit)
        told |= _after_touches(rows, damaged)
        told["bridge far"] = 100 * found[f"more than {FAR} deviations off: noticed"][1]
        told["bridge touched"] = 100 * found["all: it leads after a contact-to-contact touch"][1]
    return told


def _after_touches(rows: list[Row], damaged: list[Row]) -> Figures:
    """The stories again, once the touches that the engine asks for were made."""
    if not rows or f"engine{AGAIN}" not in rows[0]:
        return {}
    mine, best = summary(damaged, f"engine{AGAIN}"), summary(damaged, f"ideal{AGAIN}")
    return {
        "top-1 lost again": best["top1"] - mine["top1"],
        "top-3 lost again": best["top3"] - mine["top3"],
        "log lost again": paired(damaged, f"engine{AGAIN}", f"ideal{AGAIN}")[0],
        "log lost same tables again": paired(damaged, f"engine{AGAIN}", f"ideal_tables{AGAIN}")[0],
        "sure and right again": summary(rows, f"engine{AGAIN}")["sure_right"],
    }


def _walk_figures(rows: list[Row]) -> Figures:
    if not rows:
        return {}
    found = ratios(rows)
    return {
        "walk medians": found["medians"],
        "walk means": found["means"],
        "walk seconds": found["mean seconds"],
        "stop settled": until_settled(rows)["guided"]["settled_by_stop"],
    }


def bar_table(engine: Figures, ideal: Figures, own_rates: Figures, baseline: Figures) -> str:
    """Every bar: the engine, whether it holds, the near-ideal judge, the same on the engine's rates, the first form."""
    lines = [f"{'BARS':62}{'bar':>10}{'engine':>10}{'':8}{'ideal':>9}{'own rates':>11}{'first form':>12}"]
    for bar in BARS:
        value = engine.get(bar.figure)
        sign = ">=" if bar.at_least else "<="
        holds = "not judged yet" if value is None else "holds" if _holds(bar, value) else "MISSED"
        beside = ((ideal, 9), (own_rates, 11), (baseline, 12))
        cells = "".join(f"{_text(told.get(bar.figure)):>{width}}" for told, width in beside)
        limit = f"{sign} {bar.limit:g}"
        lines.append(f"{bar.words:62}{limit:>10}{_text(value):>10} {holds:7}{cells}")
    lines.append("own rates: the near-ideal judge with the engine's rates of faults and failed touches; first touches")
    return "\n".join(lines)


def missed(engine: Figures) -> int:
    """How many bars do not hold."""
    return sum(bar.figure in engine and not _holds(bar, engine[bar.figure]) for bar in BARS)


def _holds(bar: Bar, value: Any) -> bool:
    return value >= bar.limit if bar.at_least else value <= bar.limit


def _text(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"
