"""How honest chances were: what was said of devices and of data, beside how they ended.

A device counts once it was tried, one that works in part as one that works (what cannot be mended is left out of its
chance); data that were safe or lost count, those that nobody asked for do not.
"""

import math
from collections.abc import Sequence
from typing import Literal

from server.engine.constants.learning import HONEST_TAIL
from server.engine.learning_words import counted_words
from server.engine.rounding import plain, probability
from server.engine.scores import honest_hits
from shared_models.closing import Closing
from shared_models.learning import ChanceHonesty

DEVICE_ENDED = {"works": True, "works_in_part": True, "does_not_work": False}
DATA_ENDED = {"safe": True, "lost": False}


def honest_chances(closings: Sequence[Closing]) -> tuple[ChanceHonesty, ...]:
    """Of the device, then of the data, where any job can tell; closings are those that count."""
    devices = [
        (one.device_chance_before, DEVICE_ENDED[one.device])
        for one in closings
        if one.device_chance_before is not None and one.device in DEVICE_ENDED
    ]
    data = [
        (one.data_chance_before, DATA_ENDED[one.data])
        for one in closings
        if one.data_chance_before is not None and one.data in DATA_ENDED
    ]
    found = (_told("device", devices), _told("data", data))
    return tuple(one for one in found if one is not None)


def _told(of: Literal["device", "data"], ended: list[tuple[float, bool]]) -> ChanceHonesty | None:
    if not ended:
        return None
    said = [chance for chance, _ in ended]
    came_true = len([None for _, so in ended if so])
    honest = honest_hits(said, HONEST_TAIL)
    jobs = counted_words(len(ended), "job")
    what = f"works in {came_true} of {jobs}" if of == "device" else f"safe in {came_true} of {jobs}"
    name = "The device" if of == "device" else "The data are"
    span = f"{honest.low}" if honest.low == honest.high else f"{honest.low} to {honest.high}"
    return ChanceHonesty(
        of=of,
        jobs=len(ended),
        said_sum=plain(math.fsum(said)),
        came_true=came_true,
        honest_low=honest.low,
        honest_high=honest.high,
        brier=probability(math.fsum((chance - so) * (chance - so) for chance, so in ended) / len(ended)),
        sentence=f"{name} {what}; honest chances as they were said give {span} in 19 of 20 such sets.",
    )
