"""What was found at another place, as sentences: beside `wording`, for `findings`."""

from collections.abc import Sequence

from server.engine.constants.answers import HONEST_LOW_OHM
from server.engine.findings import Finding
from server.engine.rounding import plain
from server.engine.wording_ohms import ohms
from shared_models.opinion import Number, Reason

SAID = {
    "bridged": ("{where}: {ohm}, joined.", "{where}: no bridge."),
    "bridged_to_ground": ("{where}: {ohm}, joined.", "{where}: {ohm}, more than a bridge."),
    "bridged_as_read": ("{where}: {ohm}, joined.", "{where}: {ohm}, more than was read."),
    "part_open": ("{where} is open across.", "{where} conducts."),
    "tail_normal": (
        "{where}'s tail reads as on healthy boards: the spring, not the line behind it.",
        "{where}'s tail reads no better than its spring.",
    ),
    "pad_normal": (
        "Behind {where}'s spring the line reads as on healthy boards.",
        "Behind {where}'s spring the line reads no better.",
    ),
    "fault_behind": (
        "The far end of {where} reads lower: the fault lies behind it.",
        "The far end of {where} reads no lower: the fault lies before it.",
    ),
    "rail_low": ("{where} measures {ohm} to ground: short.", "{where} measures {ohm} to ground: no short."),
    "plug_rail_low": ("The module's {where} measures {ohm}: the module is sick.", "The module's {where} is not low."),
    "meter_as_told": ("The known resistor reads as the sheet says.", "The known resistor says another current."),
    "volts_left": ("Voltage is left at {where}.", "No voltage is left at {where}."),
    "contact_leaks": ("{where} measures {ohm} to ground.", "{where} measures {ohm} to ground: no leak."),
    "strap_open": ("{where} shows no resistor to ground: its strap is cut off.", ""),
    "rail_off": ("Powered, {where} is not made.", "Powered, {where} is made."),
    "led_at_input": ("Powered, {where} stands at its input: its driver does not boost.", ""),
    "led_over": ("Powered, {where} stands over its working voltage: nothing loads it.", ""),
    "may_be_honest": (
        "{where} measures {ohm} to ground: low, and may be honest. Only a healthy board's ohms would tell.", ""
    ),
    "rails_joined": (
        "{where}: {ohm}. The two are joined: never feed either above what the lowest of them takes.",
        "{where}: not joined.",
    ),
}  # fmt: skip
"""What each finding says, where it was so and where it was not."""


def found(finding: Finding) -> Reason:
    """One finding in words, with its number beside it."""
    so, not_so = SAID[finding.code]
    shown = "OL" if finding.value is None else _shown(finding.value)
    numbers = () if finding.value is None else (Number(name="found", value=plain(finding.value)),)
    sentence = (so if finding.was_so else not_so).format(where=finding.where, ohm=shown)
    return Reason(code=f"found_{finding.code}", sentence=sentence, numbers=numbers)


def _shown(ohm: float) -> str:
    """A few ohms with a tenth of one; leads nulled, that is what a bench can tell."""
    return f"{ohm:.1f} ohm" if ohm < HONEST_LOW_OHM else ohms(ohm)


def leaves_open(contacts: Sequence[str], beside: Sequence[str]) -> str:
    """What a story says nothing of, and which stories beside it would, likeliest first."""
    names = ", ".join(contacts)
    if len(beside) > 1:
        return f"Does not explain {names}. Beside it may be, likeliest first: {'; '.join(beside)}."
    return f"Does not explain {names}; {beside[0]} would." if beside else f"Does not explain {names}."
