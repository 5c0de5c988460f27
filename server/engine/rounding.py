"""The only way a number leaves the engine, so that both sides print the same bytes.

CPython and Pyodide differ in the last bit of some functions; rounding to fixed places at the end,
and ranking by (rounded value, id), makes equal sheets give equal opinions.
"""

from server.engine.constants.bench import PLACES_BITS, PLACES_MA, PLACES_MV, PLACES_PROBABILITY, PLACES_RATE


def _clean(value: float) -> float:
    return value + 0.0 if value else 0.0  # no negative zero on the wire


def probability(value: float) -> float:
    """A probability, 6 decimals, kept inside 0 to 1."""
    if not value > 0:
        return 0.0
    return round(value, PLACES_PROBABILITY) if value < 1 else 1.0


def factor(value: float) -> float:
    """A factor on odds, or a count of shared jobs: 6 decimals."""
    return _clean(round(value, PLACES_PROBABILITY))


def millivolts(value: float) -> float:
    """Millivolts, 2 decimals."""
    return _clean(round(value, PLACES_MV))


def milliamperes(value: float) -> float:
    """Milliamperes of a diode test, 4 decimals."""
    return _clean(round(value, PLACES_MA))


def bits(value: float) -> float:
    """Information in bits, 4 decimals, never below zero."""
    return _clean(round(max(0.0, value), PLACES_BITS))


def rate(value: float) -> float:
    """Bits per second, 6 decimals: what touches are ranked by; it does not leave the engine."""
    return _clean(round(value, PLACES_RATE))


def plain(value: float) -> float:
    """Any other number (seconds, ohms, deviations), 2 decimals."""
    return _clean(round(value, PLACES_MV))
