"""The words of a closing's choices, for the screens and for what the engine says of closed jobs."""

from shared_models.base import Model
from shared_models.choice import Choice

STORY_WORDS: dict[str, str] = {
    "nothing_wrong": "nothing was wrong with it",
    "elsewhere": "the module, its cable or its seat",
    "plug_off_by": "the plug sat some places off, live",
    "plugged_live": "plugged in live, though straight",
    "plug_tilted": "the plug went in tilted, live",
    "tool_slip": "a tool across live contacts",
    "part_knocked_off": "a small part knocked off",
    "bridge": "a bridge between two contacts",
    "contact_torn": "a contact bent, dirty or torn",
    "series_open": "a part in series open: fuse, bead, resistor",
    "shunt_short": "a part to ground shorted",
    "leak": "a leak at one contact",
    "chip_damaged": "a damaged chip",
    "rail_short": "a rail shorted to ground",
    "wet": "wet or corroded",
    "cracked_joint": "a cracked joint under a chip",
    "cable_flipped": "the cable in the wrong way round",
    "separate_faults": "several separate faults, no one cause",
    "leads_swapped": "the leads were swapped",
    "counted_differently": "counted from another end",
    "other_revision": "a chip of another maker or revision",
    "meter_differs": "the meter or the temperature was another",
    "still_powered": "voltage was left on the board",
}
"""Every kind of story as what was really wrong."""

HOW_KNOWN_WORDS = {
    "measured": "measured",
    "seen": "seen",
    "repaired_and_works": "mended, and it works",
    "believed": "believed, not shown",
}
OPTION_WORDS = {
    "reseat_or_clean": "reseated or cleaned",
    "other_module": "another module",
    "replace_part": "a part replaced",
    "replace_socket": "the socket replaced",
    "donor_board": "a donor board",
    "move_data_set": "the data set of chips moved",
    "specialist": "handed to a specialist",
    "stop": "stopped",
}
DEVICE_WORDS = {
    "works": "works",
    "works_in_part": "works in part",
    "does_not_work": "does not work",
    "not_tried": "was not tried",
}
DATA_WORDS = {
    "safe": "safe",
    "in_part": "safe in part",
    "lost": "lost",
    "not_touched": "not touched",
    "not_asked": "not asked for",
}


class ClosingTables(Model, frozen=True, kw_only=True):
    """The choices of a closing: what was wrong, how it is known, what was done, how device and data ended."""

    stories: tuple[Choice, ...]
    how_known: tuple[Choice, ...]
    did: tuple[Choice, ...]
    device: tuple[Choice, ...]
    data: tuple[Choice, ...]


def _choices(words: dict[str, str]) -> tuple[Choice, ...]:
    return tuple(Choice(id=key, words=said) for key, said in words.items())


CLOSING = ClosingTables(
    stories=_choices(STORY_WORDS),
    how_known=_choices(HOW_KNOWN_WORDS),
    did=_choices(OPTION_WORDS),
    device=_choices(DEVICE_WORDS),
    data=_choices(DATA_WORDS),
)
