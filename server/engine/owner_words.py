"""Every word of the owner's page that does not come from the record: fixed sentences with gaps, and plain words.

`line` is the one way a sentence gets on the page. A story is told by what is there and what it fits, never by who
did it. Parts and contacts have no names here: an owner gets a letter in a drawing and what the line is for.
"""

import re

from server.engine.constants.papers import TENS, TENS_LEAST, TENS_MOST
from shared_models.owner_page import PaperLine, Piece

SENTENCES: dict[str, str] = {
    "title": "Your {device}: what we found",
    "title_plain": "Your device: what we found",
    # what was told, and how it came in
    "told_happened": "You told us: {what}.",
    "told_symptoms": "What it does: {what}.",
    "told_words": "In your words: “{words}”",
    "told_data_yes": "The data on it matter to you.",
    "told_data_no": "The data on it do not matter to you.",
    "came_in": "How it came in: {what}.",
    "came_in_when": "We took it in on {day}.",
    # pictures
    "photo_before": "Your board, {when}",
    "photo_after": "Your board after the work, {when}",
    # what was found
    "nothing_read": "Nothing has been measured yet.",
    "unsettled": "What is behind it is not settled yet. Likeliest so far:",
    "own_measuring": "The measurements are not settled yet; we say more when they are.",
    "found_nothing_wrong": "At this socket of your board we found nothing wrong.",
    "found_elsewhere": (
        "Your board measures healthy at this socket. The fault lies in the screen or module, its cable, or how it sits."
    ),
    "found_plug_off_by": "It fits a plug that sat off its place with the battery connected: a slip at assembly.",
    "hurt_together": "Lines of this socket are hurt together.",
    "found_plugged_live": "It fits a plug that went in with the battery connected: a slip at assembly.",
    "found_plug_tilted": "It fits a plug that went in tilted with the battery connected: a slip at assembly.",
    "found_tool_slip": "It fits a tool across two contacts with the battery connected: a slip at assembly.",
    "found_bridge": "Two contacts of the socket are joined that must not be.",
    "found_contact_torn": "A contact of the socket is bent, dirty or torn.",
    "found_shunt_short": "A small part beside the socket is shorted.",
    "found_series_open": "A small part in a line of the socket no longer conducts.",
    "found_fuse_open": "A small fuse beside the socket has blown.",
    "found_leak": "Current leaks away from a line of the socket.",
    "found_chip_damaged": "A chip behind the socket is damaged.",
    "found_rail_short": "A supply of the board is shorted.",
    "found_part_knocked_off": "A small part beside the socket is missing.",
    "found_wet": "There is moisture or corrosion around the socket.",
    "found_cracked_joint": "A soldered joint under a chip is cracked.",
    "found_cable_flipped": "It fits a cable that went in the wrong way round: a slip at assembly.",
    "found_separate_faults": "There are several faults without one cause.",
    "beside": "Beside it: {what}",
    "beside_module": "The screen or module has a fault of its own as well: both are needed, one alone does not last.",
    "nothing_odd": "No line measured so far differs from a healthy board's: it rests on what was told and seen.",
    "held_for": "How sure we are: {tens}.",
    # the numbers
    "numbers_are": (
        "Millivolts across each line at a small test current, with {meters}. OL: no current passes. A to {last} are "
        "marked in the drawing of the socket."
    ),
    "from_boards_one": "1 healthy board",
    "from_boards": "{n} healthy boards",
    "from_siblings": "like lines of your board",
    "from_role": "usual for such a line",
    # after the work
    "after_all": "Places measured again after the work: {n}; all read as they should.",
    "after_some": "Places measured again after the work: {n}, of which {good} read as they should.",
    "after_not_again": "Places that read wrong before and were not measured again: {n}.",
    "done": "What was done: {what}.",
    # money and time
    "ceiling": "You agreed to at most {cost}.",
    "ceiling_time": "You agreed to at most {minutes} minutes of work.",
    "whole_cost": "The work costs {cost}.",
    "no_price": "No price is agreed yet.",
    # waiting and charging
    "waiting_wet": "Liquid goes on eating at the board: do not switch it on or charge it, and do not let it wait.",
    "waiting_short": "Do not charge it or switch it on: what is shorted gets hot and can take more with it.",
    "waiting_data": "Each start with the fault in it can end what is left of the chance for your data.",
    "waiting_module": "Do not plug the same screen or module in again before it has been measured.",
    # what was not looked at
    "not_contacts": "Contacts of this socket not measured: {n} of {all}.",
    "not_seen": "Contacts that this measurement cannot judge: {n}.",
    "not_sockets": "Sockets not measured: {names}.",
    "not_sockets_more": "Sockets not measured: {names} and {n} more.",
    "not_anything_else": "What this page does not name was not looked at.",
    # files and parts
    "files_not_opened": "Your files were not opened.",
    "files_as_agreed": "Your files were opened only as far as you agreed to.",
    "returned_what": "{what}.",
    "returned_what_note": "{what}: {note}.",
    # who stands for it
    "measured_by": "Measured by {name} with {meters}.",
    "measured_by_nobody": "Measured with {meters}.",
    "made_by": "For the shop: {name}.",
    "made_by_nobody": "For the shop:",
    "received": "Received by {name}, {when}.",
    "received_nameless": "Received, {when}.",
    # chances
    "chance": "{tens}",
    "chance_device": "that it works again, if it is mended.",
    "chance_device_without": "that it works again without what is damaged; with everything: {full}.",
    "chance_data": "that your data can be had, copied before anything else.",
    "chances_rest_on": "{what}",
    # what would be done next
    "advice": "We would go on with: {what}.",
    "advice_cost": "That costs about {cost}.",
}
"""Sentences by code; what stands in braces is filled from the record."""

SEEN_WORDS = {
    "burnt": "a burn mark at the socket",
    "bent": "bent contacts",
    "lifted": "lifted contacts",
    "wet": "moisture",
    "bridged": "contacts that touch",
    "missing": "a small part missing",
    "clean": "the socket looked clean",
}
"""What is told of how a device came in, in this order."""

DID_WORDS = {
    "reseat_or_clean": "cleaned or seated anew",
    "other_module": "another screen or module",
    "replace_part": "a part of the board replaced",
    "replace_socket": "the socket mended or replaced",
    "donor_board": "another board in its place",
    "move_data_set": "the chips with the data moved to another board",
    "stop": "stopped before anything gets worse",
    "specialist": "handed on to who works on data only",
}
"""What was done, in this order."""

LINE_WORDS = {
    "ground": "ground, the common return",
    "main_rail": "the main supply",
    "rail_5v": "a supply",
    "panel_supply": "the supply of the screen",
    "io_rail": "a supply of the chips",
    "memory_rail": "the supply of the memory",
    "core_rail": "the supply of a main chip",
    "core_rail_large": "the supply of a main chip",
    "lane": "a picture or data line",
    "lane_lvds": "a picture line",
    "lane_coupled": "a picture or data line",
    "aux_coupled": "a side line of the picture",
    "usb_pair": "a USB line",
    "bus": "a line on which chips talk",
    "control": "a control line",
    "hot_plug_detect": "the line that says a screen is there",
    "pwm": "the line that sets the brightness",
    "led_plus": "the supply of the screen's light",
    "led_minus": "the return of the screen's light",
    "strap": "a line that says what is fitted",
    "unconnected": "a contact without a line",
    "unknown": "a line we have no drawing of",
}
VERDICT_WORDS = {
    "expected": "as it should",
    "short": "shorted",
    "low": "too low",
    "high": "too high",
    "open": "no connection",
    "unseen": "cannot be judged here",
    "unsteady": "comes and goes",
}
OWN_MEASURING = (
    "counted_differently", "leads_swapped", "other_revision", "meter_differs", "still_powered",
)
"""Stories about the measuring itself: none of an owner's business until they are settled."""

BOARD_READS_WELL = ("nothing_wrong", "elsewhere")
"""Stories that say themselves that the lines read as they should."""

TENS_WORDS = ("under 1 in 20", "over 19 in 20", "about {n} in 10")

_GAP = re.compile(r"\{([a-z]+)\}")


def line(code: str, **gaps: str | tuple[str, ...]) -> PaperLine:
    """The sentence of `code` with its gaps filled; a tuple is listed."""
    texts = {gap: (given,) if isinstance(given, str) else given for gap, given in gaps.items()}
    sentence = _GAP.sub(lambda found: listed(texts[found[1]]), SENTENCES[code])
    return PaperLine(
        code=code,
        sentence=sentence,
        pieces=tuple(Piece(gap=gap, texts=texts[gap]) for gap in _GAP.findall(SENTENCES[code])),
    )


def listed(texts: tuple[str, ...]) -> str:
    """ "a", "a and b", "a, b and c"."""
    if len(texts) <= 1:
        return "".join(texts)
    return f"{', '.join(texts[:-1])} and {texts[-1]}"


def tens(probability: float) -> str:
    """A chance as it is said to a person: "about 7 in 10", never with decimals."""
    least, most, about = TENS_WORDS
    if probability < TENS_LEAST:
        return least
    if probability > TENS_MOST:
        return most
    return about.format(n=int(probability * TENS + 0.5))


def cut(text: str, letters: int) -> str:
    """The text on one line, at most so long; what is cut is said by an ellipsis."""
    plain = " ".join(text.split())
    return plain if len(plain) <= letters else plain[: letters - 1].rstrip() + "…"
