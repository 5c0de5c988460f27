"""Healthy boards' readings that have a wanted mean and standard deviation, by a fixed pattern.

A pattern, not chance: nine boards get nine scores (the expected places of nine sorted normal values)
in an order that a stride and a start decide. Contacts of one group (the lanes of one chip, the
contacts of one rail) share most of their pattern, as they do on real boards, where the two halves
of a pair differ far less between themselves than boards differ; the rest is the contact's own.
The mixed pattern is scaled and rounded to whole millivolts so that the sum, and with it the mean, is
met exactly; the scale is the one, of 41 near the wanted sample deviation (n - 1), whose rounded
readings come nearest to it, and where it still helps, one board reads 1 mV more and another 1 mV less.
"""

import math
import statistics
from itertools import permutations

NORMAL_SCORES: dict[int, tuple[float, ...]] = {
    4: (-1.029, -0.297, 0.297, 1.029),
    5: (-1.163, -0.495, 0.0, 0.495, 1.163),
    9: (-1.485, -0.932, -0.572, -0.275, 0.0, 0.275, 0.572, 0.932, 1.485),
}
"""Expected values of sorted normal samples, by their number (the usual table of rankits)."""


def _strides(count: int) -> list[int]:
    return [step for step in range(1, count) if math.gcd(step, count) == 1]


def pattern(count: int, turn: int) -> list[float]:
    """The scores of `count` boards in the order number `turn`: a stride through them and a start."""
    scores = NORMAL_SCORES[count]
    strides = _strides(count)
    stride, start = strides[turn % len(strides)], turn // len(strides)
    return [scores[(start + place * stride) % count] for place in range(count)]


def _scaled(values: list[float], sd: float) -> list[float]:
    mean = math.fsum(values) / len(values)
    spread = math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))
    return [(value - mean) / spread * sd for value in values]


def _rounded_to_sum(values: list[float], total: int) -> list[int]:
    """Whole numbers nearest to `values` whose sum is `total`: the largest remainders go up."""
    floors = [math.floor(value) for value in values]
    missing = total - sum(floors)
    by_remainder = sorted(range(len(values)), key=lambda place: (floors[place] - values[place], place))
    for place in by_remainder[:missing]:
        floors[place] += 1
    return floors


def healthy_drops_mv(
    mean_mv: int, sd_mv: float, *, boards: int, own_turn: int, group_turn: int, shared: float,
) -> list[int]:
    """One contact's drops on `boards` healthy boards: exactly `mean_mv`, `sd_mv` up to the rounding to 1 mV.

    `shared` is the share (0 to 1) of the pattern that the group has in common.
    """
    common, own = pattern(boards, group_turn), pattern(boards, own_turn)
    mixed = [shared * c + math.sqrt(1 - shared * shared) * o for c, o in zip(common, own, strict=True)]
    tries = [
        _rounded_to_sum([mean_mv + value for value in _scaled(mixed, sd_mv * percent / 100)], mean_mv * boards)
        for percent in range(80, 121)
    ]
    def miss(drops: list[int]) -> tuple[float, list[int]]:
        return abs(statistics.stdev(drops) - sd_mv), drops

    best = min(tries, key=miss)
    return min([best, *_one_millivolt_moved(best)], key=miss)


def _one_millivolt_moved(drops: list[int]) -> list[list[int]]:
    """All lists in which one board reads 1 mV more and another 1 mV less: the mean stays."""
    moved: list[list[int]] = []
    for more, less in permutations(range(len(drops)), 2):
        other = list(drops)
        other[more] += 1
        other[less] -= 1
        moved.append(other)
    return moved
