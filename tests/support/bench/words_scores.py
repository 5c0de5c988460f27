"""How often a low number's interval of ohms holds the true ohms, and how often the place it names is right."""

import math
import statistics

from tests.support.bench.contact_scores import Row

AIM_95 = (0.92, 0.98)
"""For an interval of 95 %."""


def figures_of(rows: list[Row]) -> dict[str, float]:
    """The coverage of all that was said for the place where it lies, its distance to the aim, and the place's share."""
    share, place = held(rows)[0], placed(rows)
    low, high = AIM_95
    return {"words covered": share, "words": max(0.0, low - share, share - high), "words place": 100 * place["right"]}


def held(rows: list[Row]) -> tuple[float, int]:
    """The share of intervals that hold the true ohms, and how many there are for the place where these lie."""
    told = [row["holds"] for row in rows if row["holds"] is not None]
    return (statistics.fmean(told) if told else math.nan), len(told)


def placed(rows: list[Row]) -> dict[str, float]:
    """Of contacts with a part in series that something was said of: the place is right, wrong, or not parted."""
    told = [row for row in rows if row["named"] and row["series_ohm"]]
    named = {
        "right": [row["named"] == row["place"] for row in told],
        "wrong": [row["named"] not in (row["place"], "either") for row in told],
        "not parted": [row["named"] == "either" for row in told],
    }
    return {word: statistics.fmean(hits) if hits else math.nan for word, hits in named.items()} | {"n": len(told)}


def words_table(rows: list[Row]) -> str:
    """By what it was and where it lies."""
    head = (
        f"WORDS IN OHMS {len(rows)} resistances to ground, two a board, each touched twice: found low, something said "
        "in ohms,\nthe interval for the place where it lies holds it (95 % are meant), and with a part in series which "
        "place is named"
    )
    body = [f"{'':24}{'n':>6}{'low, %':>8}{'said, %':>9}{'holds, %':>10}{'of':>5}{'right':>8}{'wrong':>7}{'either':>8}"]
    whole = [("all", rows)]
    for what in ("short", "leak"):
        for place in ("socket", "behind"):
            some = [row for row in rows if row["what"] == what and row["place"] == place]
            whole.append((f"{what}, {'at the socket' if place == 'socket' else 'behind the part'}", some))
    for code in sorted({row["code"] for row in rows if row["code"]}):
        whole.append((f"  said as {code}", [row for row in rows if row["code"] == code]))
    for words, some in whole:
        if some:
            body.append(_line(words, some))
    return "\n".join([head, *body])


def _line(words: str, rows: list[Row]) -> str:
    low = statistics.fmean(row["verdict"] in ("low", "short") for row in rows)
    said = statistics.fmean(bool(row["code"]) for row in rows)
    share, count = held(rows)
    place = placed(rows)
    return (
        f"{words:24}{len(rows):6}{100 * low:8.1f}{100 * said:9.1f}{100 * share:10.1f}{count:5}"
        f"{100 * place['right']:8.1f}{100 * place['wrong']:7.1f}{100 * place['not parted']:8.1f}"
    )
