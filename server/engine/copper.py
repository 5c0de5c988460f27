"""Copper: what a square of foil resists, and how many squares a trace has.

Source: annealed copper, IEC 60028:1925 (International Annealed Copper Standard), read second-hand: 0.017241 ohm mm2/m
at 20 C, 0.00393 /K.
"""

from server.engine.constants.shorts import COPPER_20C_OHM_M, COPPER_AT_C, COPPER_PER_K, METRES_PER_MICROMETRE


def sheet_ohm(thickness_um: float, celsius: float = COPPER_AT_C) -> float:
    """Ohms a square of a foil of `thickness_um` micrometres at `celsius`."""
    return COPPER_20C_OHM_M * (1 + COPPER_PER_K * (celsius - COPPER_AT_C)) / (thickness_um * METRES_PER_MICROMETRE)


def squares(length_mm: float, width_mm: float) -> float:
    """How many squares lie in a trace: its length over its width."""
    return length_mm / width_mm
