"""How good forecasts were: Brier with Murphy's decomposition, and what honest forecasts show. Knows no sockets.

Sources: A. H. Murphy, A new vector partition of the probability score, J. Appl. Meteor. 12 (1973), 595-600; the
number of hits of independent forecasts is Poisson-binomial (Hodges and Le Cam 1960); both from memory, checked
against scipy and against worked examples in the tests.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple


class Murphy(NamedTuple):
    """Brier score of forecasts in bins, and its parts: `brier = reliability - resolution + uncertainty`, exactly."""

    brier: float
    reliability: float
    resolution: float
    uncertainty: float


def murphy(bins: Sequence[tuple[float, int, int]]) -> Murphy:
    """The decomposition for bins of (forecast of each in the bin, how many, how many came true); at least one forecast.

    Empty bins count for nothing.
    """
    filled = [(forecast, count, true) for forecast, count, true in bins if count]
    count = math.fsum(many for _, many, _ in filled)
    base = math.fsum(true for _, _, true in filled) / count
    brier = math.fsum(
        true * (1 - forecast) * (1 - forecast) + (many - true) * forecast * forecast for forecast, many, true in filled
    )
    reliability = math.fsum(many * (forecast - true / many) ** 2 for forecast, many, true in filled)
    resolution = math.fsum(many * (true / many - base) ** 2 for _, many, true in filled)
    return Murphy(brier / count, reliability / count, resolution / count, base * (1 - base))


def log_score(odds_of_truth: Sequence[float], floor: float) -> float:
    """Mean of -ln of the odds that were given to what came true, each at least `floor`; in nats, 0 is perfect."""
    return math.fsum(-math.log(max(floor, odds)) for odds in odds_of_truth) / len(odds_of_truth)


def hits_of(odds: Sequence[float]) -> list[float]:
    """Probability of 0, 1, ... hits of independent forecasts that are honest: the Poisson-binomial distribution."""
    chances = [1.0]
    for one in odds:
        longer = [*chances, 0.0]
        for hits in range(len(chances), 0, -1):
            longer[hits] = longer[hits] * (1 - one) + chances[hits - 1] * one
        longer[0] *= 1 - one
        chances = longer
    return chances


class HonestHits(NamedTuple):
    """What honest forecasts show: the central range of their hits, and mean and variance of their distance.

    `low` to `high`: but for `tail` at either end, both included. The distance is |hits - sum of the odds|.
    """

    low: int
    high: int
    distance: float
    variance: float


def honest_hits(odds: Sequence[float], tail: float) -> HonestHits:
    """The same for these odds; `tail` is a probability below one half."""
    chances = hits_of(odds)
    low, below = 0, chances[0]
    while below <= tail:
        low += 1
        below += chances[low]
    high, above = len(odds), chances[-1]
    while above <= tail:
        high -= 1
        above += chances[high]
    expected = math.fsum(odds)
    mean = math.fsum(chance * abs(hits - expected) for hits, chance in enumerate(chances))
    square = math.fsum(chance * (hits - expected) * (hits - expected) for hits, chance in enumerate(chances))
    return HonestHits(low, high, mean, max(0.0, square - mean * mean))
