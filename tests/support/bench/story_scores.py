"""Scores of story rows: log score, Brier, top-1 and top-3, the 90 % set, calibration beside its floor, confidence."""

import math
import random
import statistics
from typing import Any

Row = dict[str, Any]
ECE_BINS = 10
FLOOR_DRAWS = 200
SURE = 0.9
FAR = 4
"""Deviations from which a bridge is to be seen by its number."""
LEADS = 0.5
AGAIN = " again"
"""Behind a judge's name: after the touches that the engine asks for once more."""
TAUGHT = "engine taught"
"""The engine with the rates of stories, exposures and touches that a shop would have learnt in that world."""


def summary(rows: list[Row], judge: str) -> dict[str, float]:
    """All scores of one judge on these rows; means with the standard error of the log score."""
    scores = [row[judge] for row in rows]
    logs = [one["log"] for one in scores]
    count = len(scores)
    sure = [one for one in scores if one["top_p"] > SURE]
    tops = [(one["top_p"], one["rank"] == 0) for one in scores]
    return {
        "n": count,
        "log": statistics.fmean(logs),
        "log_se": statistics.stdev(logs) / math.sqrt(count) if count > 1 else math.nan,
        "brier": statistics.fmean(one["brier"] for one in scores),
        "top1": sum(one["rank"] == 0 for one in scores) / count,
        "top3": sum(one["rank"] < 3 for one in scores) / count,
        "covered": sum(one["covered"] for one in scores) / count,
        "set": statistics.fmean(one["set"] for one in scores),
        "ece": calibration_error(tops),
        "ece_floor": calibration_floor([p for p, _ in tops]),
        "sure_share": len(sure) / count,
        "sure_right": sum(one["rank"] == 0 for one in sure) / len(sure) if sure else math.nan,
    }


def paired(rows: list[Row], judge: str, beside: str) -> tuple[float, float]:
    """Mean difference of the log scores on the same jobs, nat, with its standard error."""
    apart = [row[judge]["log"] - row[beside]["log"] for row in rows]
    return statistics.fmean(apart), statistics.stdev(apart) / math.sqrt(len(apart)) if len(apart) > 1 else math.nan


def calibration_error(tops: list[tuple[float, bool]]) -> float:
    """Of the leading class, ten bins of equal count: mean distance of confidence and share right."""
    ranked = sorted(tops, key=lambda one: one[0])  # not by who was right: ties would be told apart by it
    total = 0.0
    for n in range(ECE_BINS):
        part = ranked[n * len(ranked) // ECE_BINS : (n + 1) * len(ranked) // ECE_BINS]
        if part:
            said = statistics.fmean(p for p, _ in part)
            right = sum(hit for _, hit in part) / len(part)
            total += len(part) * abs(said - right)
    return total / len(ranked)


def calibration_floor(said: list[float]) -> float:
    """The same error of a judge that is right exactly as often as it says: the mean of simulated ones."""
    rng = random.Random(0)
    drawn = [calibration_error([(p, rng.random() < p) for p in said]) for _ in range(FLOOR_DRAWS)]
    return statistics.fmean(drawn)


def by_kind(rows: list[Row], judge: str) -> dict[str, tuple[int, float, float]]:
    """Count, top-1 and log score of each kind of story."""
    told = {}
    for kind in sorted({row["kind"] for row in rows}):
        of = [row[judge] for row in rows if row["kind"] == kind]
        told[kind] = (
            len(of),
            sum(one["rank"] == 0 for one in of) / len(of),
            statistics.fmean(one["log"] for one in of),
        )
    return told


def bridges(rows: list[Row], limit: float = 0.5) -> dict[str, tuple[int, float]]:
    """Bridges the engine notices: a contact flagged (above `limit`) or the bridge leading, and after touching both."""
    of = [row["bridge"] for row in rows if "bridge" in row]
    far = [one for one in of if one["deviations"] > FAR]
    noticed, leads, touched = "noticed", "the bridge leads", "it leads after a contact-to-contact touch"
    found: dict[str, tuple[int, float]] = {}
    for name, some in ((f"more than {FAR} deviations off", far), ("all", of)):
        told = {
            noticed: [one["odd"] > limit or one["story"] > LEADS for one in some],
            leads: [one["story"] > LEADS for one in some],
            touched: [one["story_after_between"] > LEADS for one in some],
        }
        for what, hits in told.items():
            found[f"{name}: {what}"] = (len(hits), sum(hits) / len(hits) if hits else math.nan)
    return found


def surely_otherwise(rows: list[Row], when: str = "") -> tuple[int, int, int]:
    """The engine's sure ones (above `SURE`), those of them that are not what happened, and those of these where the
    rail, line or chip that is named is hurt all the same: what a slip did, say, and not the slip.
    """
    sure = [row for row in rows if row[f"engine{when}"]["top_p"] > SURE]
    otherwise = [row for row in sure if row[f"engine{when}"]["rank"] != 0]
    return len(sure), len(otherwise), sum(row[f"hurt as told{when}"] for row in otherwise)
