"""Role to default path, spreads and sibling rule. Numbers come from `constants.ROLE_NUMBERS`.

A `Path` is what the engine needs of the circuit behind a contact in its first form: a junction with
its ideality, and the resistance in series with it. It comes from the contact's own path elements
where somebody filled them, else from the role. `None` means: no junction to speak of (ground,
straps, unknown), so nothing shifts with the meter.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

from server.engine.constants.circuit import LEAST_RAIL_LOAD_MV
from server.engine.constants.roles import RANGE_TO_SD, ROLE_NUMBERS
from server.engine.constants.sessions import (
    BLACK_SPREAD,
    BULK_OHM,
    CHIP_LEAN_SHARE,
    IDEALITY,
    IDEALITY_OWN_SD,
    IDEALITY_SD,
    OWN_SHARE,
    REFERENCE_CURRENT_MA,
    SERIES_OWN_SD_OHM,
    SERIES_PART_SD,
    SERIES_UNKNOWN_SD_OHM,
)
from shared_models.board import ChipPin, Clamp, Contact, Part, PathElement, Pull, SeriesPart, ShuntPart
from shared_models.reading import LeadOnGround
from shared_models.tables import ROLE_BY_ID

CONDUCTING_SHUNTS = ("diode", "esd_array")
NO_JUNCTION = frozenset({"ground", "strap", "unconnected", "core_rail", "core_rail_large"})
SIGNAL_ROLES = frozenset(
    {
        "lane",
        "lane_lvds",
        "lane_coupled",
        "aux_coupled",
        "usb_pair",
        "bus",
        "control",
        "hot_plug_detect",
        "pwm",
        "led_minus",
    }
)


class Path(NamedTuple):
    """The circuit behind a contact: `series_ohm` in front of a junction of `ideality`, each with its deviation.

    `series_sd_ohm` and the two others of n: `ideality_sd` is a contact's own, `shared_ideality_sd` what all lines
    of its chip and role share; of `series_sd_ohm` a contact's own part is `own_series_sd_ohm`. `before_ohm` is the
    part of `series_ohm` that lies in line before the chip: a fault at the contact does not pass it, one behind does.
    """

    ideality: float
    series_ohm: float
    series_sd_ohm: float
    known: bool
    ideality_sd: float = IDEALITY_OWN_SD
    shared_ideality_sd: float = IDEALITY_SD
    own_series_sd_ohm: float = SERIES_OWN_SD_OHM
    before_ohm: float = 0.0


PLAIN_PATH = Path(IDEALITY, BULK_OHM, 0.0, True)
"""The path of a plain line: what a session's common shift is quoted for."""


GROUND_NAMES = ("ground", "gnd")
"""What a board's ground is called where its nets are not told."""
NO_PARTS: Mapping[str, Part] = {}


def is_ground(net: str, grounds: Collection[str]) -> bool:
    """Whether a net is ground, by its name or as one of the board's `grounds`."""
    return net in grounds or net.lower() in GROUND_NAMES

def path_of(
    contact: Contact,
    parts: Mapping[str, Part] = NO_PARTS,
    grounds: Collection[str] = (),
    lead: LeadOnGround = "red",
) -> Path | None:
    """The path of a contact, its own if it has one, else by role; None where there is no junction.

    Of a part in line behind a clamp the reading has little: what it keeps from the chip the clamp takes, so that even
    1 kohm there adds less to a healthy reading than 10 ohm before the clamp (two alike junctions, one behind R: under
    n Vt / 4 I). `parts` tell which shunts are clamps, `grounds` which nets are ground; with red on ground the clamps to
    ground conduct, with black those to a rail.
    """
    if contact.role in NO_JUNCTION:
        return None
    series = [element for element in contact.path if isinstance(element, SeriesPart)]
    if series:
        clamps = [place for place, element in enumerate(contact.path) if _clamps(element, parts, grounds, lead)]
        first = clamps[0] if clamps else len(contact.path)
        before, behind = _ohms_of(contact.path[:first]), _ohms_of(contact.path[first:])
        known = all(element.ohm is not None for element in series)
        sd = SERIES_PART_SD * before if known else SERIES_UNKNOWN_SD_OHM
        of_behind = min(0.5 * behind, SERIES_UNKNOWN_SD_OHM)
        sd = math.hypot(sd, of_behind)
        return Path(IDEALITY, BULK_OHM + before + of_behind, sd, known, before_ohm=before + behind)
    if contact.role == "unknown":
        return None
    ohm = ROLE_NUMBERS[contact.role].series_ohm
    known = bool(contact.path) or ROLE_BY_ID[contact.role].is_rail
    sd = 0.0 if known else SERIES_UNKNOWN_SD_OHM
    return Path(IDEALITY, BULK_OHM + ohm, sd, known, before_ohm=ohm)


def _ohms_of(path: Sequence[PathElement]) -> float:
    """The parts in line that were told a value, together."""
    ohm = 0.0
    for element in path:
        if isinstance(element, SeriesPart) and element.ohm is not None:
            ohm += element.ohm
    return ohm


def _clamps(element: PathElement, parts: Mapping[str, Part], grounds: Collection[str], lead: LeadOnGround) -> bool:
    """Whether an element takes the test current as a junction of its own."""
    if not isinstance(element, Clamp | ShuntPart) or not _leads_off(element, parts):
        return False
    return (element.to_net is None or is_ground(element.to_net, grounds)) == (lead == "red")


def path_under(
    contact: Contact, lead: LeadOnGround, parts: Mapping[str, Part], grounds: Collection[str]
) -> Path | None:
    """The path of a contact under a lead; None where there is no junction.

    With red on ground the lower clamp conducts (`path_of`). With black on ground the upper one does, into a rail
    without power: what that rail feeds lies behind the junction as one more resistance, known by its role's range.
    """
    path = path_of(contact, parts, grounds, lead)
    if path is None or lead == "red" or contact.role == "unknown":
        return path
    numbers = ROLE_NUMBERS[contact.role]
    sd = RANGE_TO_SD * (numbers.black_high_mv - numbers.black_low_mv) / REFERENCE_CURRENT_MA
    return path._replace(
        series_ohm=path.series_ohm + usual_load_ohm(contact.role, numbers.typical_mv),
        series_sd_ohm=math.hypot(path.series_sd_ohm, sd),
        known=False,
    )


def usual_load_ohm(role: str, junction_mv: float) -> float:
    """What an unpowered rail behind a role's upper clamp puts in series with it, in ohms: what is left of the middle
    of the role's range with black on ground once the junction has its `junction_mv` at the table's current.
    """
    numbers = ROLE_NUMBERS[role]
    middle_mv = 0.5 * (numbers.black_low_mv + numbers.black_high_mv)
    return max(middle_mv - junction_mv, LEAST_RAIL_LOAD_MV) / REFERENCE_CURRENT_MA


def blocked(contact: Contact) -> str | None:
    """The part that blocks direct current in the contact's path, if the path says so."""
    for element in contact.path:
        if isinstance(element, SeriesPart) and element.blocks_dc:
            return element.part
    return None


def path_branches(contact: Contact, parts: Mapping[str, Part]) -> bool:
    """Whether the path names more that conducts than one chip behind parts in line."""
    return any(_leads_off(element, parts) for element in contact.path)


def branches_before(contact: Contact, parts: Mapping[str, Part]) -> bool:
    """Whether something that conducts leads off before the first part in line: what is read with that part open."""
    for element in contact.path:
        if isinstance(element, SeriesPart) and not element.blocks_dc:
            return False
        if _leads_off(element, parts):
            return True
    return False


def _leads_off(element: PathElement, parts: Mapping[str, Part]) -> bool:
    if isinstance(element, ShuntPart):
        return element.part in parts and parts[element.part].kind in CONDUCTING_SHUNTS
    return isinstance(element, Clamp | Pull)


def healthy_ol(contact: Contact) -> bool:
    """Whether a healthy contact of this kind shows OL: by its path if known, else by its role."""
    return blocked(contact) is not None or ROLE_BY_ID[contact.role].healthy_ol


def fuse_of(contact: Contact) -> str | None:
    """The fuse in the contact's path, if one is named."""
    for element in contact.path:
        if isinstance(element, SeriesPart) and element.is_fuse:
            return element.part
    return None


def first_series(contact: Contact) -> SeriesPart | None:
    """The first part in series that passes direct current, seen from the contact."""
    for element in contact.path:
        if isinstance(element, SeriesPart) and not element.blocks_dc:
            return element
    return None


def chip_of(contact: Contact) -> str | None:
    """The chip the contact leads to: `leads_to`, else the chip pin its path ends at."""
    if contact.leads_to is not None:
        return contact.leads_to
    for element in contact.path:
        if isinstance(element, ChipPin):
            return element.part
    return None


def leans_with(contact: Contact) -> str:
    """The group a contact leans with from board to board: lines of one chip and role; "" where it stands alone.

    Contacts of one chip share a die, and lines of one role are drawn alike, so most of what differs from board to
    board is common to them. A rail is one net with one state and stands alone; its contacts are not many
    witnesses but one.
    """
    if contact.role in NO_JUNCTION or contact.role == "unknown" or ROLE_BY_ID[contact.role].is_rail:
        return ""
    return f"{chip_of(contact) or ''}/{contact.role}"


def spreads_of(contact: Contact, lead: LeadOnGround = "red") -> tuple[float, float]:
    """(what a contact strays by alone, what it strays by with its group) from board to board, one deviation, mV.

    The table's spread was noted contact by contact, so its group's part is not known apart: taken as the whole of
    it, since a band that is too narrow calls healthy contacts odd and one that is too wide only asks for more.
    """
    numbers = ROLE_NUMBERS[contact.role]
    wider = 1.0 if lead == "red" else BLACK_SPREAD
    if not leans_with(contact):
        return wider * numbers.sd_mv, 0.0
    return wider * max(numbers.sibling_sd_mv, OWN_SHARE * numbers.sd_mv), wider * numbers.sd_mv


def lean_parts(contact: Contact, lean_mv: float) -> tuple[float, float]:
    """(the part of a lean that its group of lines has alone, the part its whole chip shares), one deviation, mV."""
    if chip_of(contact) is None:
        return lean_mv, 0.0
    return math.sqrt(1 - CHIP_LEAN_SHARE * CHIP_LEAN_SHARE) * lean_mv, CHIP_LEAN_SHARE * lean_mv


def sibling_key(contact: Contact) -> str | None:
    """Contacts with the same key should read alike on one board: lanes of a bus, lines of one chip and role."""
    if contact.role in NO_JUNCTION or contact.role == "unknown" or ROLE_BY_ID[contact.role].is_rail:
        return None
    path = path_of(contact)
    series = f"{path.series_ohm:.0f}" if path is not None else ""
    return f"{contact.role}/{chip_of(contact) or ''}/{series}"


def sibling_groups(contacts: Sequence[Contact]) -> dict[str, list[int]]:
    """The places of contacts that should read alike on one board, by `sibling_key`."""
    groups: dict[str, list[int]] = {}
    for index, contact in enumerate(contacts):
        key = sibling_key(contact)
        if key is not None:
            groups.setdefault(key, []).append(index)
    return groups
