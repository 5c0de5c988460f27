"""Typed text to a value with its unit, and back.

`read_text` and `write_text` are inverses on everything `write_text` produces (a property test says
so). What was typed is never altered: a text that fits two values becomes a `Doubt` with both.
Grammar: digits with `.` or `,`, an optional sign, a unit (mV, V, ohm, kohm, Mohm, mA, A), resistor
notation with the multiplier inside (`4k7`, `2R2`, `1M5`), and `OL` / `out of reach`.
"""

import re
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from server.engine.constants.bench import UNIT_FACTORS, UNIT_POWERS
from server.engine.constants.sessions import DECIMAL_DOUBT_MV, DIODE_MODE_MAX_MV, NEGATIVE_DROP_MV, TEXTS_KEPT
from shared_models.reading import DisplayUnit, Draw, Drop, Ohms, OutOfReach, OverRange, ReadingKind, Value, Volts
from shared_models.tables import KEYPAD

_NUMBER = re.compile(
    r"^([+-]?)([0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)\s*(mv|v|ma|a|ohms?|kohms?|mohms?|k|m|r|Ω|kΩ|mΩ)?$", re.IGNORECASE
)
_INSIDE = re.compile(r"^([0-9]+)([rkm])([0-9]+)$", re.IGNORECASE)
_OVER = frozenset({"ol", "0l", "o.l", "0.l", ".ol", "over", "overload"})
_UNITS_OF: dict[str, tuple[str, ...]] = {
    "drop": ("mV", "V"),
    "volts": ("mV", "V"),
    "ohms": ("ohm", "kohm", "Mohm"),
    "draw": ("mA", "A"),
}
_UNIT_WORDS = {
    "mv": "mV",
    "v": "V",
    "ma": "mA",
    "a": "A",
    "ohm": "ohm",
    "ohms": "ohm",
    "r": "ohm",
    "ω": "ohm",
    "k": "kohm",
    "kohm": "kohm",
    "kohms": "kohm",
    "kω": "kohm",
    "m": "Mohm",
    "mohm": "Mohm",
    "mohms": "Mohm",
    "mω": "Mohm",
}


class Doubt(NamedTuple):
    """A text that does not say one value: why, in words, and what it could be (texts with units)."""

    code: str
    sentence: str
    could_be: tuple[str, ...] = ()


@lru_cache(maxsize=TEXTS_KEPT)
def read_text(as_typed: str, display_unit: DisplayUnit, kind: ReadingKind) -> Value | Doubt:
    """The value a typed text stands for, or a Doubt.

    `display_unit` is what the meter's display showed; a unit inside the text wins over it.
    Drops and volts come back in mV, ohms in ohm, draws in mA. The same few hundred texts come again with every board.
    """
    text = " ".join(as_typed.split())
    if text.lower() in _OVER:
        return OverRange()
    if text.lower() == KEYPAD.out_of_reach_text:
        return OutOfReach()
    inside = _INSIDE.match(text)
    if inside and kind == "ohms":
        whole, multiplier, part = inside.groups()
        return Ohms(ohm=_in_base(f"{whole}.{part}", _unit(multiplier, display_unit)))
    match = _NUMBER.match(text)
    if match is None:
        return Doubt("not_a_reading", f"'{as_typed}' is not a reading (try 452, 0.452 V, 4k7, or OL).")
    sign, digits, unit_word = match.groups()
    unit = _unit(unit_word, display_unit)
    if unit not in _UNITS_OF[kind]:
        return Doubt(
            "unit_does_not_fit",
            f"'{as_typed}' in {unit} does not fit a reading in {' or '.join(_UNITS_OF[kind])}.",
            tuple(f"{digits} {fits}" for fits in _UNITS_OF[kind]),
        )
    base = _in_base(sign + digits.replace(",", "."), unit)
    if kind == "drop":
        return _drop(base, digits, unit, told=unit_word is not None, as_typed=as_typed)
    if kind == "ohms":
        return (
            Ohms(ohm=base)
            if base >= 0
            else Doubt("negative_ohms", f"'{as_typed}': a resistance is not negative; voltage is left on the line.")
        )
    return Volts(volts_mv=base) if kind == "volts" else Draw(draw_ma=base)


def _unit(unit_word: str | None, display_unit: str) -> str:
    if unit_word is None:
        return display_unit
    return _UNIT_WORDS[unit_word.casefold()]


def _in_base(number: str, unit: str) -> float:
    """The number in base units, shifted as text: 1.001 V and 1001 mV are the same float, bit for bit."""
    return float(f"{number}e{UNIT_POWERS[unit]}")


def _drop(drop_mv: float, digits: str, unit: str, *, told: bool, as_typed: str) -> Value | Doubt:
    """A diode-mode number: the two slips of the decimal point are asked about, never guessed."""
    decimals = "." in digits or "," in digits
    if not told and unit == "mV" and decimals and 0 < abs(drop_mv) < DECIMAL_DOUBT_MV:
        return Doubt(
            "fits_two_units",
            f"'{as_typed}' fits two units: is it {digits} V or {digits} mV?",
            (f"{digits} V", f"{digits} mV"),
        )
    if not told and unit == "V" and not decimals and abs(drop_mv) > DIODE_MODE_MAX_MV:
        return Doubt(
            "fits_two_units", f"'{as_typed}' V is more than a diode test shows: is it {digits} mV?", (f"{digits} mV",)
        )
    if drop_mv > DIODE_MODE_MAX_MV:
        return Doubt("absurd", f"'{as_typed}' {unit} is more than a diode test shows (4 V at most); type it again.")
    if drop_mv < NEGATIVE_DROP_MV:
        return Doubt(
            "negative_drop",
            f"'{as_typed}' {unit}: a drop is not negative; voltage is left on the line, or the leads are swapped.",
        )
    return Drop(drop_mv=drop_mv)


def write_text(value: Value, unit: DisplayUnit) -> str:
    """The text that `read_text` reads back as `value` when the display shows `unit`.

    The unit is written out, so that the text stands alone. Raises ValueError for a unit of another kind.
    """
    if isinstance(value, OverRange):
        return KEYPAD.ol_text
    if isinstance(value, OutOfReach):
        return KEYPAD.out_of_reach_text
    if isinstance(value, Drop):
        kind, base = "drop", value.drop_mv
    elif isinstance(value, Ohms):
        kind, base = "ohms", value.ohm
    elif isinstance(value, Volts):
        kind, base = "volts", value.volts_mv
    else:
        kind, base = "draw", value.draw_ma
    if unit not in _UNITS_OF[kind]:
        raise ValueError(f"{kind} is not written in {unit} (expected {' or '.join(_UNITS_OF[kind])})")
    # repr is the shortest text that reads back as the same float; a Decimal writes its exponent out for people
    shown = format(Decimal(repr(base / UNIT_FACTORS[unit])), "f")
    return f"{shown} {unit}"
