"""The fixed rules people use, as scores: a contact is flagged where its score is above one."""

import statistics
from collections.abc import Callable

from tests.support.bench.jobs import Job, OnBench, Shown

Scores = dict[int, float]
PERCENT, MILLIVOLTS, DEVIATIONS = 0.10, 15.0, 3.0
LEAST_BOARDS = 3  # for a deviation
LEAST_MV = 1.0  # a lone healthy reading that slipped to a ground is 0
NAMES = ("10 % raw", "10 % median", "15 mV raw", "15 mV median", "3 sd raw", "3 sd median")


def scores(job: Job, one: OnBench, references: int, shown: Shown) -> dict[str, Scores]:
    """Each rule's score of each contact that showed a number and has healthy numbers to compare with."""
    middle: dict[int, float] = {}
    spread: dict[int, float] = {}
    for contact, line in enumerate(job.plan.lines):
        numbers = [mv for board in job.references[:references] if (mv := board.first[contact]) is not None]
        if line.conducts and numbers and shown[contact] is not None:
            middle[contact] = statistics.fmean(numbers)
            spread[contact] = statistics.stdev(numbers) if len(numbers) >= LEAST_BOARDS else 0.0
    off = {contact: float(shown[contact] or 0) - centre for contact, centre in middle.items()}
    ratio = {contact: off[contact] / max(centre, LEAST_MV) for contact, centre in middle.items()}
    told: dict[str, Scores] = {}
    for name, deviation, limit in (
        ("10 %", ratio, lambda _: PERCENT),
        ("15 mV", off, lambda _: MILLIVOLTS),
        ("3 sd", off, lambda contact: DEVIATIONS * spread[contact]),
    ):
        told[f"{name} raw"] = _score(deviation, 0.0, limit)
        told[f"{name} median"] = _score(deviation, statistics.median(deviation.values()) if deviation else 0.0, limit)
    return told


def _score(deviation: Scores, common: float, limit: Callable[[int], float]) -> Scores:
    return {contact: abs(one - common) / limit(contact) for contact, one in deviation.items() if limit(contact) > 0}
