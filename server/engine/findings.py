"""Readings at other places than the sweep, as findings: each answers one question with yes or no.

Places: the solder tail, the pad after it, either end of a part, across a part, contact to contact, ohms of a rail
or of a contact, ohms at the module's plug, a known resistor, volts of an unpowered and of a powered board.
What a finding says of each story is `evidence`.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from server.engine.accept import Touched
from server.engine.accepted_board import Board
from server.engine.bands import Healthy
from server.engine.constants.answers import ACROSS_OPEN_OHM, BRIDGE_OHM, HONEST_LOW_OHM, PLUG_RAIL_LOW_OHM, RESISTOR_SD
from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.constants.readings import LEAK_HIGH_OHM
from server.engine.meters import Conditions
from server.engine.quantities import read_text
from server.engine.rail_places import healthy_rail_low, joined_name, volts_finding, where_joined
from server.engine.roles import first_series, healthy_ol
from shared_models.board import Pull
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


class Bench(NamedTuple):
    """What a finding is made beside: the board, its sweep (contact -> mV), bands, this meter, healthy rails' ohms."""

    board: Board
    sweep: dict[int, float]
    bands: Callable[[int], Healthy]
    at: Conditions
    known_ohms: dict[str, list[float]]


def findings_of(bench: Bench, further: list[Touched]) -> list[Finding]:
    """Readings at other places as yes-or-no findings, as they were taken; what answers nothing is left out."""
    found = []
    for touched in further:
        one = _at_plug(touched) if touched.reading.subject != "board_socket" else _at_board(bench, touched)
        if one is not None:
            found.append(one)
    return found


def _at_plug(touched: Touched) -> Finding | None:
    """Ohms of a rail at the module's plug, or at the end of its cable."""
    touch, value = touched.reading.touch, touched.value
    if not (isinstance(touch, AtRail | AtContact) and isinstance(value, Ohms)):
        return None
    where = touch.net if isinstance(touch, AtRail) else touch.contact
    return Finding("plug_rail_low", where, value.ohm < PLUG_RAIL_LOW_OHM, touched.reading.id, value.ohm)


def _at_board(bench: Bench, touched: Touched) -> Finding | None:
    reading, value = touched.reading, touched.value
    touch = reading.touch
    if isinstance(value, Volts):
        return _volts(bench, touched, value)
    if isinstance(touch, BetweenContacts):
        return _between(bench, touch, touched)
    if isinstance(touch, AcrossPart):
        is_open = isinstance(value, OverRange) or (isinstance(value, Ohms) and value.ohm > ACROSS_OPEN_OHM)
        return Finding("part_open", touch.part, is_open, reading.id, _number(touched))
    if isinstance(touch, AtContact) and reading.place in ("tail", "pad") and reading.kind == "drop":
        code = "tail_normal" if reading.place == "tail" else "pad_normal"
        return Finding(code, touch.contact, _is_normal(bench, touch.contact, touched), reading.id, _number(touched))
    if isinstance(touch, AtPartEnd) and isinstance(value, Drop):
        return _part_end(bench, touch, value.drop_mv, touched)
    if isinstance(touch, AtTestPoint):
        return _joined_rails(bench.board, touch, touched) or _known_resistor(bench.at, touch, touched)
    return _ohms_to_ground(bench, touched)


def _number(touched: Touched) -> float | None:
    value = touched.value
    return value.ohm if isinstance(value, Ohms) else value.drop_mv if isinstance(value, Drop) else None


def _between(bench: Bench, touch: BetweenContacts, touched: Touched) -> Finding:
    """From contact to contact; a diode mode shows a bridge as millivolts, about as many as it has ohms."""
    number = _number(touched)
    places = sorted(bench.board.places[one] for one in (touch.contact_a, touch.contact_b))
    where = "-".join(bench.board.contacts[place].number for place in places)
    code = bridge_question(bench.board, places, bench.sweep, bench.at.current_ma)
    return Finding(code, where, number is not None and number < BRIDGE_OHM, touched.reading.id, number)


BRIDGE_CODES = ("bridged", "bridged_to_ground", "bridged_as_read")


def joined_rails(board: Board, findings: Sequence[Finding]) -> list[Finding]:
    """The rails found joined: asked as rails, or from a contact of the one to a contact of the other."""
    told = []
    for finding in findings:
        if finding.code == "rails_joined" and finding.was_so:
            told.append(finding)
        elif finding.code in BRIDGE_CODES and finding.value is not None and finding.value < HONEST_LOW_OHM:
            ends = [board.contacts[board.places[number]] for number in finding.where.split("-")]
            names = [end.net or end.number for end in ends if ROLE_BY_ID[end.role].is_rail]
            if len(names) == len(ends) and names[0] != names[1]:
                told.append(Finding("rails_joined", joined_name(*names), True, finding.record_id, finding.value))
    return told


def bridge_question(board: Board, places: Sequence[int], sweep: Mapping[int, float], current_ma: float) -> str:
    """What a touch from contact to contact asks, one of `BRIDGE_CODES`. Where one of the two is ground and the other
    was read as held to ground, it is that reading once more: in ohms, and so of its size alone it says something new.

    `sweep`: contact -> mV, red on ground.
    """
    roles = [board.contacts[place].role == "ground" for place in places]
    others = [place for place, is_ground in zip(places, roles, strict=True) if not is_ground]
    if len(others) != 1:
        return "bridged"
    net = board.contacts[others[0]].net
    beside = [place for place, one in enumerate(board.contacts) if net is not None and one.net == net]
    held_mv = min((sweep[place] for place in (*others, *beside) if place in sweep), default=math.inf)
    if held_mv >= HONEST_LOW_OHM * current_ma:
        return "bridged"
    # a digit of the display is a millivolt
    return "bridged_as_read" if held_mv + 1 <= BRIDGE_OHM * current_ma else "bridged_to_ground"


def _is_normal(bench: Bench, contact: str, touched: Touched) -> bool:
    """Whether a drop behind the spring is what a healthy contact reads."""
    band = bench.bands(bench.board.places[contact])
    slack = VERDICT_Z_RETOUCH * band.scale + HONEST_LOW_OHM
    return isinstance(touched.value, Drop) and abs(touched.value.drop_mv - band.loc) < slack


def _part_end(bench: Bench, touch: AtPartEnd, drop_mv: float, touched: Touched) -> Finding | None:
    """The near end is the contact's own line again; at the far end a fault behind the part reads lower."""
    for index, contact in enumerate(bench.board.contacts):
        series = first_series(contact)
        if series is None or series.part != touch.part:
            continue
        if touch.end == "near":
            normal = _is_normal(bench, contact.number, touched)
            return Finding("pad_normal", contact.number, normal, touched.reading.id, drop_mv)
        if index in bench.sweep:
            taken = 0.5 * (series.ohm or 0.0)  # half of what the part would take at 1 mA
            lower = drop_mv < bench.sweep[index] - taken
            return Finding("fault_behind", touch.part, lower, touched.reading.id, drop_mv)
    return None


def _joined_rails(board: Board, touch: AtTestPoint, touched: Touched) -> Finding | None:
    """Ohms from one rail to another, asked before anything is injected."""
    pair = where_joined(board, touch.name)
    if pair is None or not isinstance(touched.value, Ohms | OverRange):
        return None
    ohm = _number(touched)
    return Finding("rails_joined", pair, ohm is not None and ohm < HONEST_LOW_OHM, touched.reading.id, ohm)


def _known_resistor(at: Conditions, touch: AtTestPoint, touched: Touched) -> Finding | None:
    """The meter's own current, by a resistor whose value is in the name."""
    value = touched.value
    if not (isinstance(value, Drop) and touch.name.startswith(KNOWN_RESISTOR)):
        return None
    resistor = read_text(touch.name.removeprefix(KNOWN_RESISTOR), "ohm", "ohms")
    if not (isinstance(resistor, Ohms) and resistor.ohm > 0 and value.drop_mv > 0):
        return None
    if not at.told or touched.reading.meter_id != at.meter_id:
        return None
    current_ma = value.drop_mv / resistor.ohm
    apart = abs(math.log(current_ma / at.current_ma))
    as_told = apart < VERDICT_Z_RETOUCH * math.hypot(at.current_sd, RESISTOR_SD)
    return Finding("meter_as_told", touch.name, as_told, touched.reading.id, current_ma)


def _ohms_to_ground(bench: Bench, touched: Touched) -> Finding | None:
    """Ohms of a rail against healthy boards or its kind; of a contact that shows OL in diode mode, leak or strap."""
    touch, value, record = touched.reading.touch, touched.value, touched.reading.id
    if touched.reading.kind != "ohms":
        return None
    if isinstance(touch, AtRail) or (isinstance(touch, AtContact) and _is_rail(bench.board, touch.contact)):
        net = touch.net if isinstance(touch, AtRail) else _rail_name(bench.board, touch.contact)
        if not isinstance(value, Ohms):
            return Finding("rail_low", net, False, record)
        low = healthy_rail_low(bench.board, net, value.ohm, bench.known_ohms)
        return Finding("may_be_honest", net, True, record, value.ohm) if low is None else Finding(
            "rail_low", net, low, record, value.ohm
        )
    if not isinstance(touch, AtContact) or not healthy_ol(bench.board.contacts[bench.board.places[touch.contact]]):
        return None
    pull = _pull_ohm(bench.board, touch.contact)
    ohm = _number(touched)
    if ohm is None:
        return Finding("strap_open", touch.contact, True, record) if pull is not None else None
    usual = LEAK_HIGH_OHM if pull is None else 0.5 * pull
    return Finding("contact_leaks", touch.contact, ohm < usual, record, ohm)


def _is_rail(board: Board, number: str) -> bool:
    return ROLE_BY_ID[board.contacts[board.places[number]].role].is_rail


def _rail_name(board: Board, number: str) -> str:
    return board.contacts[board.places[number]].net or number


def _pull_ohm(board: Board, number: str) -> float | None:
    """The resistor a strap has to somewhere, if its path says so."""
    path = board.contacts[board.places[number]].path
    return next((element.ohm for element in path if isinstance(element, Pull)), None)


def _volts(bench: Bench, touched: Touched, value: Volts) -> Finding | None:
    """Voltage that must not be there; or, on a board that is powered, whether a rail is made."""
    touch = touched.reading.touch
    if "battery_connected" in touched.reading.conditions:
        made = volts_finding(bench.board, touch, value.volts_mv)
        return None if made is None else Finding(*made, touched.reading.id, value.volts_mv)
    where = getattr(touch, "net", getattr(touch, "name", getattr(touch, "contact", "")))
    left = abs(value.volts_mv) > HONEST_READING_LIMIT_MV
    return Finding("volts_left", where, left, touched.reading.id, value.volts_mv)
