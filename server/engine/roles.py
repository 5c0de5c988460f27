"""Role to default path, spreads and sibling rule. Numbers come from `constants.ROLE_NUMBERS`.

A `Path` is what the engine needs of the circuit behind a contact in its first form: a junction with
its ideality, and the resistance in series with it. It comes from the contact's own path elements
where somebody filled them, else from the role. `None` means: no junction to speak of (ground,
straps, unknown), so nothing shifts with the meter.
"""

from typing import NamedTuple

from server.engine.constants import (
    BULK_OHM,
    IDEALITY,
    IDEALITY_OWN_SD,
    IDEALITY_SD,
    OWN_SHARE,
    ROLE_NUMBERS,
    SERIES_OWN_SD_OHM,
    SERIES_PART_SD,
    SERIES_UNKNOWN_SD_OHM,
)
from shared_models.board import ChipPin, Contact, SeriesPart
from shared_models.tables import ROLE_BY_ID

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
    of its chip and role share; of `series_sd_ohm` a contact's own part is `own_series_sd_ohm`.
    """

    ideality: float
    series_ohm: float
    series_sd_ohm: float
    known: bool
    ideality_sd: float = IDEALITY_OWN_SD
    shared_ideality_sd: float = IDEALITY_SD
    own_series_sd_ohm: float = SERIES_OWN_SD_OHM


PLAIN_PATH = Path(IDEALITY, BULK_OHM, 0.0, True)
"""The path of a plain line: what a session's common shift is quoted for."""


def path_of(contact: Contact) -> Path | None:
    """The path of a contact, its own if it has one, else by role; None where there is no junction."""
    if contact.role in NO_JUNCTION:
        return None
    series = [element for element in contact.path if isinstance(element, SeriesPart)]
    if series:
        told = [element.ohm for element in series if element.ohm is not None]
        ohm = 0.0
        for one in told:
            ohm += one
        known = len(told) == len(series)
        sd = SERIES_PART_SD * ohm if known else SERIES_UNKNOWN_SD_OHM
        return Path(IDEALITY, BULK_OHM + ohm, sd, known)
    if contact.role == "unknown":
        return None
    ohm = ROLE_NUMBERS[contact.role].series_ohm
    known = bool(contact.path) or ROLE_BY_ID[contact.role].is_rail
    return Path(IDEALITY, BULK_OHM + ohm, 0.0 if known else SERIES_UNKNOWN_SD_OHM, known)


def blocked(contact: Contact) -> str | None:
    """The part that blocks direct current in the contact's path, if the path says so."""
    for element in contact.path:
        if isinstance(element, SeriesPart) and element.blocks_dc:
            return element.part
    return None


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


def spreads_of(contact: Contact) -> tuple[float, float]:
    """(what a contact strays by alone, what it strays by with its group) from board to board, one deviation, mV.

    The table's spread was noted contact by contact, so its group's part is not known apart: taken as the whole of
    it, since a band that is too narrow calls healthy contacts odd and one that is too wide only asks for more.
    """
    numbers = ROLE_NUMBERS[contact.role]
    if not leans_with(contact):
        return numbers.sd_mv, 0.0
    return max(numbers.sibling_sd_mv, OWN_SHARE * numbers.sd_mv), numbers.sd_mv


def sibling_key(contact: Contact) -> str | None:
    """Contacts with the same key should read alike on one board: lanes of a bus, lines of one chip and role."""
    if contact.role in NO_JUNCTION or contact.role == "unknown" or ROLE_BY_ID[contact.role].is_rail:
        return None
    path = path_of(contact)
    series = f"{path.series_ohm:.0f}" if path is not None else ""
    return f"{contact.role}/{chip_of(contact) or ''}/{series}"
