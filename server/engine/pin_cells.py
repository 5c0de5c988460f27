"""What a cell of a pin table may hold: its value, or what was expected there with an example.

Leaves to others: lines and what they have to do with each other (`pin_table`), paths (`pin_paths`).
"""

import re
from collections.abc import Callable
from typing import Any, Literal, get_args

import msgspec

from server.engine.constants.bench import LONGEST_PATH, UNIT_FACTORS
from server.engine.pin_paths import EXAMPLE, is_part, path_from
from server.engine.pin_roles import role_from_name
from shared_models.base import ContactNumber
from shared_models.board import Millivolts, PathElement, Role, Side
from shared_models.tables import ROLES

Report = Callable[..., None]
PartData = Literal["holds", "guards", "no"]
PART_DATA: dict[str, PartData] = {
    "holds": "holds", "yes": "holds", "x": "holds", "guards": "guards", "no": "no", "": "no",
}
ROLE_OF: dict[str, Role] = {key: row.id for row in ROLES for key in (row.id, row.words.lower())}
SIDES: tuple[str, ...] = get_args(Side)
SEVERAL = re.compile(r"[A-Za-z]*\d+(?:\s*(?:[-–,;/&+]|\.\.|to|and)\s*|\s+)[A-Za-z]*\d+.*", re.DOTALL)
VOLTS = re.compile(r"([+-]?)(\d+)(?:[.,](\d+))?\s*(m?)V?|([+-]?)(\d+)V(\d+)", re.IGNORECASE)


def is_a(kind: Any, given: str | float) -> bool:
    """Whether a value fits a named type."""
    try:
        msgspec.convert(given, kind)
    except msgspec.ValidationError:
        return False
    return True


def number(given: str, report: Report) -> str:
    """A contact's number."""
    if is_a(ContactNumber, given):
        return given
    if given == "":
        report("missing_contact", "the contact's number is missing; a merged cell leaves the others empty", "nothing",
               "a number in every line", "12")
    elif SEVERAL.fullmatch(given):
        report("merged_contacts", "several contacts stand in one line", given, "one contact a line", "12")
    else:
        report("wrong_contact", "this is no contact number", given, "1 to 8 letters and digits", "A5")
    return given


def role(given: str, report: Report, name: str) -> tuple[Role, bool]:
    """The role, and whether it is only proposed from the name."""
    if given == "":
        proposed = role_from_name(name)
        return ("unknown", False) if proposed is None else (proposed, True)
    told = ROLE_OF.get(given.lower())
    if told is None:
        every = ", ".join(row.id for row in ROLES)
        report("unknown_role", "there is no such role", given, f"one of: {every}", "ground")
    return told or "unknown", False


def millivolts(given: str, report: Report) -> float | None:
    """Volts as a spreadsheet writes them: 3.3, 3,3, 3V3, 3300 mV."""
    if given == "":
        return None
    found = VOLTS.fullmatch(given)
    if found is not None:
        sign, whole, part, milli, sign_2, whole_2, part_2 = found.groups()
        volts = float(f"{sign or sign_2 or ''}{whole or whole_2}.{part or part_2 or 0}")
        told = round(volts if milli else volts * UNIT_FACTORS["V"], 2)
        if is_a(Millivolts, told):
            return told
    report("wrong_volts", "this is no voltage of a contact", given, "volts from -1000 to 1000, or nothing", "3.3")
    return None


def side(given: str, report: Report) -> Side | None:
    """Which side sources the line."""
    if given == "":
        return None
    for one in get_args(Side):
        if given.lower() == one:
            return one
    report("unknown_side", "there is no such side", given, "one of: " + ", ".join(SIDES), "board")
    return None


def part(given: str, report: Report) -> str | None:
    """A part's name."""
    if given == "" or is_part(given):
        return given or None
    report("wrong_part", "this is no part's name", given, "letters, digits and . _ : - without spaces", "U7")
    return None


def pair(given: str, report: Report) -> str | None:
    """The other half of a pair."""
    if given == "" or is_a(ContactNumber, given):
        return given or None
    report("wrong_contact", "this is no contact number", given, "1 to 8 letters and digits, or nothing", "A5")
    return None


def path(given: str, report: Report) -> tuple[PathElement, ...]:
    """What lies behind the contact."""
    found = path_from(given)
    if isinstance(found, str) or len(found) > LONGEST_PATH:
        report("wrong_path", "this is no part of a path", found if isinstance(found, str) else given,
               f"at most {LONGEST_PATH} parts with > between them, from the contact inward", EXAMPLE)
        return ()
    return found


def part_data(given: str, report: Report) -> PartData:
    """Whether the owner's data lie in the part the contact leads to, or cannot be read without it."""
    told = PART_DATA.get(given.lower())
    if told is None:
        report("unknown_word", "this says nothing of the owner's data", given, "one of: holds, guards, no", "holds")
    return told or "no"
