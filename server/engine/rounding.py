"""The only way a number leaves the engine, so that both sides print the same bytes.

CPython and Pyodide differ in the last bit of some functions; rounding to fixed places at the end,
and ranking by (rounded value, id), makes equal sheets give equal opinions. `+ 0.0` turns a negative zero into zero.
"""

from server.engine.constants.bench import PLACES_BITS, PLACES_MA, PLACES_MV, PLACES_PROBABILITY, PLACES_RATE
from server.engine.constants.sessions import CURRENT_LOW_MA


def probability(value: float) -> float:
    """A probability, 6 decimals, kept inside 0 to 1."""
    if not value > 0:
        return 0.0
    return round(value, PLACES_PROBABILITY) if value < 1 else 1.0


def factor(value: float) -> float:
    """A factor on odds, or a count of shared jobs: 6 decimals."""
    return round(value, PLACES_PROBABILITY) + 0.0


def millivolts(value: float) -> float:
    """Millivolts, 2 decimals."""
    return round(value, PLACES_MV) + 0.0


def milliamperes(value: float) -> float:
    """Milliamperes of a diode test, 4 decimals."""
    return round(value, PLACES_MA) + 0.0


def test_current(value: float) -> float:
    """Milliamperes as they are told, 2 decimals; 4 where a current is less than any diode test forces."""
    return plain(value) if value >= CURRENT_LOW_MA else milliamperes(value)


def bits(value: float) -> float:
    """Information in bits, 4 decimals, never below zero."""
    return round(max(0.0, value), PLACES_BITS) + 0.0


def rate(value: float) -> float:
    """Bits per second, 6 decimals: what touches are ranked by; it does not leave the engine."""
    return round(value, PLACES_RATE) + 0.0


def plain(value: float) -> float:
    """Any other number (seconds, ohms, deviations), 2 decimals."""
    return round(value, PLACES_MV) + 0.0
