"""Touches and seconds until the decision stays the same, and where it stops; the common shift in root mean squares."""

import math
import statistics
from typing import Any

Row = dict[str, Any]
ORDERS = ("guided", "sweep", "random")


def until_settled(rows: list[Row]) -> dict[str, dict[str, float]]:
    """Medians and means of touches and seconds by order, and how often stopping agrees with the full reading."""
    told = {}
    for order in ORDERS:
        of = [row[order] for row in rows]
        told[order] = {
            "touches_median": statistics.median(one["touches"] for one in of),
            "touches_mean": statistics.fmean(one["touches"] for one in of),
            "seconds_median": statistics.median(one["seconds"] for one in of),
            "seconds_mean": statistics.fmean(one["seconds"] for one in of),
            "stop_touches_mean": statistics.fmean(one["stop_touches"] for one in of),
            "stop_seconds_mean": statistics.fmean(one["stop_seconds"] for one in of),
            "stop_agrees": statistics.fmean(one["stop_agrees"] for one in of),
            "settled_by_stop": statistics.fmean(one["touches"] <= one["stop_touches"] for one in of),
            "end_agrees": statistics.fmean(one["end_agrees"] for one in of),
        }
    return told


def ratios(rows: list[Row]) -> dict[str, float]:
    """Guided over sweep: of the medians, of the means, of the mean seconds, and the median job's own."""
    told = until_settled(rows)
    guided, sweep = told["guided"], told["sweep"]
    return {
        **over_sweep(told, "guided"),
        "median job": statistics.median(row["guided"]["touches"] / row["sweep"]["touches"] for row in rows),
        "stop seconds": guided["stop_seconds_mean"] / sweep["stop_seconds_mean"],
    }


NEAR_IDEAL = tuple(f"{order}, near-ideal" for order in ("guided", "sweep"))


def near_ideal(rows: list[Row]) -> dict[str, dict[str, float]]:
    """The same of the near-ideal judge that stops where it first says its last word, on the touches of each order."""
    return {
        name: {
            "touches_median": statistics.median(row[name]["touches"] for row in rows),
            "touches_mean": statistics.fmean(row[name]["touches"] for row in rows),
            "seconds_median": statistics.median(row[name]["seconds"] for row in rows),
            "seconds_mean": statistics.fmean(row[name]["seconds"] for row in rows),
        }
        for name in NEAR_IDEAL
    }


def over_sweep(told: dict[str, dict[str, float]], name: str, beside: str = "sweep") -> dict[str, float]:
    """One order over another: of the medians, of the means, of the mean seconds."""
    one, other = told[name], told[beside]
    return {
        "medians": one["touches_median"] / other["touches_median"],
        "means": one["touches_mean"] / other["touches_mean"],
        "mean seconds": one["seconds_mean"] / other["seconds_mean"],
    }


def shift(rows: list[Row], judge: str) -> dict[str, float]:
    """Root mean square over jobs of the mean error, the tilt and the scatter."""
    return {
        name: math.sqrt(statistics.fmean(row[judge][name] ** 2 for row in rows)) for name in ("mean", "tilt", "scatter")
    }
