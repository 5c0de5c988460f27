"""What comes before power, and what a first draw means, in words."""

from collections.abc import Sequence

from server.engine.constants.bench import UNIT_FACTORS
from shared_models.chances import DrawCode
from shared_models.power import PowerCheck
from shared_models.tables import CAUTION

LINE_WORDS = {
    "lows_explained": "{lows}: not explained yet. Touch again, find what it is, or name it here.",
    "nothing_read": "Nothing was read yet, so no low line is ruled out.",
    "main_rail_proved": "Not proved. Measure it under Make safe.",
    "led_capacitor_proved": "Not proved. Measure it under Make safe.",
    "socket_looked_at": "Nobody looked yet: a picture, or what was seen, under Look.",
    "sure_once": "{lows} may be what is left of the way to the data.",
    "sure_twice": "Said once; it needs a second time.",
}
NEXT: dict[str, str] = {
    "none": "No feed: the supply's lead, a fuse, a switch, a button line. Volts from the plug inward, at places with "
    "no hot neighbour.",
    "at_limit": "Off at once. A short, or a limit set below what it needs. Ohms on each rail, then where it gets warm; "
    "not once more before that is known.",
    "stuck_low": "It begins and stays: a rail is missing or a reset is held. Read which rails come up, with the output "
    "off in between.",
    "in_steps": "It starts again and again: a limit too low, a rail that trips, a chip that gives up. Raise the limit "
    "once, else stop.",
    "as_expected": "As a healthy one. Look for light and picture; where data matter, copy now.",
    "above_expected": "Well above a healthy one: something leaks. Off, and find what gets warm.",
    "below_expected": "Well below a healthy one: not all of it runs. Torch, then which rails are up.",
}
AGAIN = "It was powered once: the list begins anew. "
DRAW_STOPS = ("at_limit", "above_expected")


def listed(names: Sequence[str]) -> str:
    """Names with commas and a last and."""
    return " and ".join([part for part in (", ".join(names[:-1]), names[-1]) if part]) if names else ""


def in_volts(measured_mv: float) -> str:
    """Millivolts, or volts where they are a volt."""
    volt = UNIT_FACTORS["V"]
    return f"{measured_mv:.0f} mV" if abs(measured_mv) < volt else f"{measured_mv / volt:.1f} V"


def missing_words(missing: list[str], limit: PowerCheck | None) -> str:
    """Whether power may go on, or what it waits for."""
    if missing:
        more = len(missing) - 1
        rest = f" and {more} more" if more else ""
        return f"No power yet: {missing[0].lower()}{rest}. {CAUTION}"
    at = ""
    if limit is not None and limit.supply_mv is not None and limit.limit_ma is not None:
        at = f" {in_volts(limit.supply_mv)} at most, {limit.limit_ma:.0f} mA limit."
    return f"Everything on the list stands.{at} Off at the first thing that is not as expected. {CAUTION}"


def draw_sentence(code: DrawCode, draw_ma: float | None, expected_ma: float | None, limit_ma: float | None) -> str:
    """What was drawn beside what was expected, then what to do."""
    told = "" if draw_ma is None else f"{draw_ma:.0f} mA"
    told += f"{', ' if told else ''}{expected_ma:.0f} mA expected" if expected_ma is not None else ""
    told += f"{', ' if told else ''}limit {limit_ma:.0f} mA" if limit_ma is not None else ""
    return f"{told}. {NEXT[code]}" if told else NEXT[code]
