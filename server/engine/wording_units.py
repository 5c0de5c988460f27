"""Ohms and currents as a person says them, whatever their size: 4.7 kohm, 1.02 mA, 1 µA."""

from server.engine.constants.bench import UNIT_FACTORS
from server.engine.constants.meters import THOUSAND
from server.engine.constants.sessions import CURRENT_LOW_MA, PERCENT


def ohm_words(ohm: float) -> str:
    """470 ohm, 4.7 kohm, 1 Mohm."""
    unit = next((name for name in ("Mohm", "kohm") if ohm >= UNIT_FACTORS[name]), "ohm")
    return f"{ohm / UNIT_FACTORS[unit]:g} {unit}"


def current_words(current_ma: float) -> str:
    """470 mA, 1.2 A, 0.47 µA; three digits."""
    # by what is shown: 999.9 mA is 1 A
    if abs(float(f"{current_ma:.3g}")) >= UNIT_FACTORS["A"]:
        return f"{current_ma / UNIT_FACTORS['A']:.3g} A"
    return f"{current_ma:.3g} mA" if abs(current_ma) >= CURRENT_LOW_MA / PERCENT else f"{current_ma * THOUSAND:.3g} µA"


def forced_words(current_ma: float) -> str:
    """A test current to a hundredth of a milliampere: 1.02 mA; one smaller than any diode test's keeps its digits."""
    return f"{current_ma:.2f} mA" if current_ma >= CURRENT_LOW_MA * 0.5 else current_words(current_ma)
