"""What readings at other places, and things seen, say of each story: a log factor per story.

A factor is log p(evidence | story) - log p(evidence | a story that says nothing of it), so that the
factors of two independent stories add. Places: the solder tail, across a part, contact to contact,
the far end of a series part, ohms of a rail, ohms at the module's plug, a known resistor, volts at a
rail. Things seen are `looked`.
"""

import math
from collections.abc import Callable
from typing import NamedTuple

from server.engine.accept import Touched
from server.engine.accepted_board import Board
from server.engine.bands import Healthy
from server.engine.constants import (
    ACROSS_OPEN_OHM,
    BEHIND_SERIES_CHIP,
    BEHIND_SERIES_SHUNT,
    BRIDGE_OHM,
    DIFFERS_BY_WARMTH,
    HONEST_LOW_OHM,
    PLUG_RAIL_LOW_OHM,
    PLUG_RAIL_LOW_SICK,
    PLUG_RAIL_LOW_WELL,
    RESISTOR_SD,
    SURE,
    VERDICT_Z_RETOUCH,
    VOLTS_AT_THIS_PLACE,
)
from server.engine.looked import seen_factors
from server.engine.meters import Conditions
from server.engine.quantities import read_text
from server.engine.roles import first_series
from server.engine.stories.kinds import Story
from server.engine.stories.places import BEFORE_KINDS, BEHIND_KINDS
from shared_models.job import Observation
from shared_models.reading import (
    AcrossPart,
    AtContact,
    AtPartEnd,
    AtRail,
    AtTestPoint,
    BetweenContacts,
    Drop,
    Ohms,
    OverRange,
    Volts,
)
from shared_models.tables import HONEST_READING_LIMIT_MV, ROLE_BY_ID

KNOWN_RESISTOR = "known resistor"
"""A test point of this name and a value, as `known resistor 470 ohm`, is a resistor in the hand."""


class Finding(NamedTuple):
    """One thing found at another place: what (`code`), where, whether it was so, and the record."""

    code: str
    where: str
    was_so: bool
    record_id: str
    value: float | None = None


def findings_of(
    board: Board, further: list[Touched], sweep: dict[int, float], bands: Callable[[int], Healthy], at: Conditions
) -> list[Finding]:
    """Readings at other places as yes-or-no findings, in the order they were taken."""
    found = []
    for touched in further:
        one = _finding(board, touched, sweep, bands) or _blunder(board, touched, at)
        if one is not None:
            found.append(one)
    return found


def _finding(
    board: Board, touched: Touched, sweep: dict[int, float], bands: Callable[[int], Healthy]
) -> Finding | None:
    reading, value = touched.reading, touched.value
    touch = reading.touch
    number = value.ohm if isinstance(value, Ohms) else value.drop_mv if isinstance(value, Drop) else None
    if reading.subject != "board_socket":
        if isinstance(touch, AtRail | AtContact) and isinstance(value, Ohms):
            return Finding(
                "plug_rail_low",
                getattr(touch, "net", getattr(touch, "contact", "")),
                value.ohm < PLUG_RAIL_LOW_OHM,
                reading.id,
                value.ohm,
            )
        return None
    if isinstance(touch, BetweenContacts):
        low = (isinstance(value, Ohms) and value.ohm < BRIDGE_OHM) or (
            isinstance(value, Drop) and value.drop_mv < BRIDGE_OHM
        )
        return Finding(
            "bridged",
            "-".join(sorted((touch.contact_a, touch.contact_b), key=lambda one: board.places[one])),
            low,
            reading.id,
            number,
        )
    if isinstance(touch, AcrossPart):
        is_open = isinstance(value, OverRange) or (isinstance(value, Ohms) and value.ohm > ACROSS_OPEN_OHM)
        return Finding("part_open", touch.part, is_open, reading.id, number)
    if isinstance(touch, AtContact) and reading.place in ("tail", "pad") and reading.kind == "drop":
        band = bands(board.places[touch.contact])
        normal = (
            isinstance(value, Drop) and abs(value.drop_mv - band.loc) < VERDICT_Z_RETOUCH * band.scale + HONEST_LOW_OHM
        )
        return Finding("tail_normal", touch.contact, normal, reading.id, number)
    if isinstance(touch, AtPartEnd) and touch.end == "far" and isinstance(value, Drop):
        return _far_end(board, touch.part, value.drop_mv, reading.id, sweep)
    net = touch.net if isinstance(touch, AtRail) else _rail_of(board, touch)
    if net is not None and isinstance(value, Ohms):
        return Finding("rail_low", net, value.ohm < HONEST_LOW_OHM, reading.id, value.ohm)
    return None


def _blunder(board: Board, touched: Touched, at: Conditions) -> Finding | None:
    """A known resistor under this meter, or volts where there must be none."""
    reading, value = touched.reading, touched.value
    touch = reading.touch
    if isinstance(value, Drop) and isinstance(touch, AtTestPoint) and touch.name.startswith(KNOWN_RESISTOR):
        resistor = read_text(touch.name.removeprefix(KNOWN_RESISTOR), "ohm", "ohms")
        if not (isinstance(resistor, Ohms) and resistor.ohm > 0 and value.drop_mv > 0):
            return None
        if not at.told or reading.meter_id != at.meter_id:
            return None
        current_ma = value.drop_mv / resistor.ohm
        apart = abs(math.log(current_ma / at.current_ma))
        as_told = apart < VERDICT_Z_RETOUCH * math.hypot(at.current_sd, RESISTOR_SD)
        return Finding("meter_as_told", touch.name, as_told, reading.id, current_ma)
    if isinstance(value, Volts) and reading.subject == "board_socket" and "battery_connected" not in reading.conditions:
        where = getattr(touch, "net", getattr(touch, "name", getattr(touch, "contact", "")))
        return Finding("volts_left", where, abs(value.volts_mv) > HONEST_READING_LIMIT_MV, reading.id, value.volts_mv)
    return None


def _rail_of(board: Board, touch: object) -> str | None:
    """The rail a contact belongs to, by the name its stories use; None for a signal."""
    if not isinstance(touch, AtContact):
        return None
    contact = board.contacts[board.places[touch.contact]]
    return (contact.net or contact.number) if ROLE_BY_ID[contact.role].is_rail else None


def _far_end(board: Board, part: str, drop_mv: float, record_id: str, sweep: dict[int, float]) -> Finding | None:
    """Behind the part the reading is lower by what the part takes when the fault lies behind it."""
    for index, contact in enumerate(board.contacts):
        series = first_series(contact)
        if series is not None and series.part == part and index in sweep:
            taken = 0.5 * (series.ohm or 0.0)  # half of what the part would take at 1 mA
            return Finding("fault_behind", part, drop_mv < sweep[index] - taken, record_id, drop_mv)
    return None


def log_factors(
    stories: list[Story],
    board: Board,
    findings: list[Finding],
    observations: tuple[Observation, ...],
    last_read: dict[int, int],
) -> list[list[float]]:
    """For each piece of evidence (a finding, a thing seen, one mark of several) the log factor of each story.

    `last_read`: contact -> when it was touched last, ms.
    """
    rows = []
    for finding in findings:
        row = []
        for story in stories:
            likely, usual = _odds(story, board, finding)
            row.append(math.log((likely if finding.was_so else 1 - likely) / (usual if finding.was_so else 1 - usual)))
        rows.append(row)
    return [*rows, *seen_factors(stories, board, observations, last_read)]


def claimed_twice(rows: list[list[float]], first: int, second: int) -> float:
    """What two stories together count too much, as a negative log: a mark is explained once, by either."""
    too_much = 0.0
    for row in rows:
        if row[first] > 0 and row[second] > 0:
            too_much -= min(row[first], row[second])
    return too_much


def _odds(story: Story, board: Board, finding: Finding) -> tuple[float, float]:
    """(p(finding | story), p(finding | a story that says nothing of it))."""
    if finding.code == "plug_rail_low":
        return (PLUG_RAIL_LOW_SICK if story.kind == "elsewhere" else PLUG_RAIL_LOW_WELL), PLUG_RAIL_LOW_WELL
    if finding.code == "meter_as_told":
        return (DIFFERS_BY_WARMTH if story.kind == "meter_differs" else SURE), SURE
    if finding.code == "volts_left":
        return (VOLTS_AT_THIS_PLACE if story.kind == "still_powered" else 1 - SURE), 1 - SURE
    if finding.code == "bridged":
        return (SURE if story.kind == "bridge" and story.subject == finding.where else 1 - SURE), 1 - SURE
    if finding.code == "part_open":
        return (SURE if story.kind == "series_open" and story.part == finding.where else 1 - SURE), 1 - SURE
    if finding.code == "tail_normal":
        concerns = any(board.contacts[index].number == finding.where for index in story.contacts)
        if not concerns or story.kind in ("nothing_wrong", "elsewhere"):
            return SURE, SURE
        return (SURE if story.kind == "contact_torn" else 1 - SURE), SURE
    if finding.code == "fault_behind":
        concerns = any(
            (series := first_series(board.contacts[index])) is not None and series.part == finding.where
            for index in (*story.contacts, *story.footprint)
        )
        if not concerns:
            return 0.5, 0.5
        if story.kind in BEHIND_KINDS:
            return BEHIND_SERIES_CHIP, 0.5
        return (BEHIND_SERIES_SHUNT if story.kind not in BEFORE_KINDS else 1 - SURE), 0.5
    return (SURE if story.kind == "rail_short" and story.subject == finding.where else 1 - SURE), 1 - SURE
