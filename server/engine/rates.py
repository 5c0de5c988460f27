"""Chances as distributions: beta rates, their products, and the interval of a mixture of them.

A product of independent beta rates is taken as the beta of the same mean and variance (from memory: Fan 1991; tests
hold it against simulation). Which story is true is uncertain too: each has its own beta, weighed by its odds, and the
interval is that of the mixture. Also runs on the phone.
"""

from functools import lru_cache
from typing import NamedTuple

from server.engine.constants.chances import BRANCH_COUNTS, CDF_STEPS, CDFS_KEPT, INTERVAL_TAIL, Rate
from server.engine.t_tail import regularised_beta


class Moments(NamedTuple):
    """The mean of a chance and the mean of its square."""

    mean: float
    square: float


class Told(NamedTuple):
    """A chance with the interval that holds it in eight of ten cases."""

    odds: float
    low: float
    high: float


ONE = Moments(1.0, 1.0)
Known = dict[str, dict[str, Moments]]
"""Fault class -> "mended", "left", "starts" -> moments, with the shop's own jobs in them."""


def moments(rate: Rate) -> Moments:
    """Of a beta rate (worked, failed)."""
    worked, failed = rate
    whole = worked + failed
    mean = worked / whole
    return Moments(mean, mean * (worked + 1) / (whole + 1))


def both(one: Moments, other: Moments) -> Moments:
    """Of two independent chances that must both come true."""
    return Moments(one.mean * other.mean, one.square * other.square)


def else_by(one: Moments, rescue: Moments) -> Moments:
    """Of the first, or where it fails the second: R + (1 - R) K with R and K independent."""
    missed = 1 - one.mean
    missed_square = 1 - 2 * one.mean + one.square
    square = one.square + 2 * (one.mean - one.square) * rescue.mean + missed_square * rescue.square
    return Moments(one.mean + missed * rescue.mean, square)


def told(parts: list[tuple[float, Moments]]) -> Told:
    """The chance of a mixture: (weight, moments) of each part, with its interval."""
    total = mean = 0.0
    for weight, one in parts:
        total += weight
        mean += weight * one.mean
    counted = [(weight / total, one) for weight, one in parts if weight >= BRANCH_COUNTS * total]
    low = _quantile(counted, INTERVAL_TAIL)
    high = _quantile(counted, 1 - INTERVAL_TAIL)
    odds = mean / total
    return Told(odds, min(low, odds), max(high, odds))


def _places() -> list[float]:
    """Steps from 0 to 1, finer at both ends: u * u * (3 - 2 u)."""
    evenly = [step / CDF_STEPS for step in range(CDF_STEPS + 1)]
    return [u * u * (1 + 2 * (1 - u)) for u in evenly]


PLACES = _places()


# the same few classes of fault come back at every reading; the answer depends on them alone
@lru_cache(CDFS_KEPT)
def _below(mean: float, square: float) -> tuple[float, ...]:
    """How much of the beta of this mean and mean square lies below each place."""
    variance = square - mean * mean
    if variance <= 0 or mean <= 0 or mean >= 1:
        return tuple(1.0 if place >= mean else 0.0 for place in PLACES)
    whole = mean * (1 - mean) / variance - 1
    return tuple(regularised_beta(place, 1 - place, mean * whole, (1 - mean) * whole) for place in PLACES)


def _quantile(parts: list[tuple[float, Moments]], share: float) -> float:
    """Where the mixture has this share below it, between two places in proportion."""
    total = 0.0
    for weight, _ in parts:
        total += weight
    rows = [(weight / total, _below(one.mean, one.square)) for weight, one in parts]
    before = 0.0
    for step in range(1, len(PLACES)):
        here = 0.0
        for weight, row in rows:
            here += weight * row[step]
        if here >= share:
            gone = (share - before) / (here - before) if here > before else 1.0
            return PLACES[step - 1] + gone * (PLACES[step] - PLACES[step - 1])
        before = here
    return 1.0
