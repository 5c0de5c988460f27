"""What a display shows of a touch: probe, gain, offset, noise, touches that fail, digits mistyped."""

import random

from tests.support.bench import tables as t
from tests.support.bench.truth import Session


def shown(
    rng: random.Random, true_mv: float | None, beside_mv: list[float | None], session: Session, *, hard: bool = False
) -> int | None:
    """Whole millivolts, or None for OL. `beside_mv`: what the neighbours would read."""
    chance, wander, probe, high = rng.random(), rng.gauss(0, t.NOISE_MV), rng.gauss(t.PROBE_OHM, t.PROBE_SD_OHM), 0.0
    extra_ohm, beside = rng.expovariate(1 / t.FAILS_HIGH_OHM), rng.randrange(max(1, len(beside_mv)))
    if chance < t.FAILS_OPEN:
        return None
    if chance < t.FAILS_OPEN + t.FAILS_NEIGHBOUR and beside_mv:
        true_mv = beside_mv[beside]
    elif chance < t.FAILS_OPEN + t.FAILS_NEIGHBOUR + t.FAILS_HIGH:
        high = extra_ohm
    if true_mv is None or true_mv > session.open_circuit_mv:
        return None
    at_probe = true_mv + session.current_ma * (max(0.0, probe) + high)
    read = round(session.gain * at_probe + session.offset_mv + wander)
    if hard and rng.random() < t.MISTYPED:
        read = _mistyped(rng, read)
    return None if read > session.open_circuit_mv else max(0, read)


def _mistyped(rng: random.Random, read: int) -> int:
    digits = list(str(max(0, read)))
    digits[rng.randrange(len(digits))] = str(rng.randrange(10))
    return int("".join(digits))
