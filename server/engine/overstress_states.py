"""What each rail of a socket stands at in each state of the device, and the ways a plug can sit wrong on it.

An LED rail is the one that differs most: at its input when dark (through coil and diode), at its working
voltage when lit, at the driver's own limit when it is unplugged lit, and with the battery off at what the
string of LEDs leaves in its capacitor. `Net` says what is known of that; what is not is taken from the table.
"""

from itertools import pairwise
from typing import NamedTuple

from msgspec.structs import replace

from server.engine.accepted_board import Board
from server.engine.constants.bench import LED_STOP_HIGH_MV
from server.engine.constants.overstress import LED_FEED_DROP_MV, LIVE_ROLES, OVERVOLTAGE_RATIO, SLIPS, TILT_PLACES
from server.engine.overstress import beside, seated_on
from shared_models.board import Contact, Net, SocketKind
from shared_models.overstress import PlugState, StateWords, WayKind
from shared_models.tables import ROLE_BY_ID

STATES: tuple[StateWords, ...] = (
    StateWords(id="battery_off", words="battery off"),
    StateWords(id="battery_in_off", words="battery in, off"),
    StateWords(id="asleep", words="asleep"),
    StateWords(id="lit", words="lit"),
    StateWords(id="just_unplugged", words="unplugged lit"),
)
CANNOT_SIT_OFF: dict[SocketKind, str] = {
    "usb_c": "A USB-C plug cannot sit off its place: shell and tongue hold it. Only a tool or dirt joins contacts.",
    "hdmi": "An HDMI plug cannot sit off its place: its shell holds it. Only a tool or dirt joins contacts.",
}


class Sitting(NamedTuple):
    """One way to sit wrong: plug contact index -> socket contact index, or the pairs a tool joins."""

    id: str
    kind: WayKind
    words: str
    stands: dict[int, int]
    pairs: tuple[tuple[int, int], ...] = ()
    slip: int = 0


def sittings_of(board: Board) -> list[Sitting]:
    """Every way a plug can sit wrong on this kind of socket, the usual ones first, then a tool's."""
    ways: list[Sitting] = []
    kind = board.socket.kind
    if kind not in CANNOT_SIT_OFF:
        ways += [_off(board, slip) for slip in SLIPS if seated_on(board, slip)]
        ways += [_tilted(board, end) for end in ("first", "last")]
        ways += _rocked(board) + _turned(board) + _skewed(board)
        if kind == "zif":
            ways.append(Sitting("flipped", "flipped", "cable the wrong way round", _flipped(board)))
    along = beside(pair for row in board.spots for pair in pairwise(row))
    across = beside(pair for rows in pairwise(board.spots) for pair in zip(*rows, strict=False))
    if along:
        ways.append(Sitting("tool_along", "tool_along", "tool across two along the row", {}, along))
    if across:
        ways.append(Sitting("tool_across", "tool_across", "tool across the rows", {}, across))
    return ways


def _off(board: Board, slip: int) -> Sitting:
    places = "one place" if abs(slip) == 1 else f"{abs(slip)} places"
    return Sitting(
        f"off_by:{slip}", "off_by", f"{places} off, {'+' if slip > 0 else '−'}", seated_on(board, slip), slip=slip
    )


def _tilted(board: Board, end: str) -> Sitting:
    """One end lands alone: the shortest run that brings a live rail and a line without a ground, else the longest."""
    runs = []
    for places in range(1, max(TILT_PLACES) + 1):
        landed = [index for row in board.rows for index in (row[:places] if end == "first" else row[-places:])]
        runs.append(landed)
        if feeds_without_ground(board, landed):
            break
    words = f"tilted, {'low' if end == 'first' else 'high'} end first"
    return Sitting(f"tilted:{end}", "tilted", words, {index: index for index in runs[-1]})


def _rocked(board: Board) -> list[Sitting]:
    """Tilted about its length: one row lands, the other not yet. Only where that row brings a live rail alone."""
    ways = []
    for number, row in enumerate(board.rows) if len(board.rows) == 2 else ():
        if feeds_without_ground(board, row):
            name = board.socket.rows[number].name
            ways.append(Sitting(f"rocked:{number}", "tilted", f"tilted, {name} first", {index: index for index in row}))
    return ways


def _turned(board: Board) -> list[Sitting]:
    """Turned in its plane about the middle: at each end a run of the one row stands on the row across.

    Assumed: the run is as long as that of a tilted plug, the middle stays in place, and what has left the
    socket hangs free.
    """
    if len(board.spots) != 2 or len(board.spots[0]) != len(board.spots[1]):
        return []
    run = max(TILT_PLACES)
    near, far = board.spots
    if len(near) < 2 * run:
        return []
    ways = []
    for way, one, other in (("clockwise", near, far), ("anticlockwise", far, near)):
        stands = {index: index for row in board.spots for index in row[run:-run] if index is not None}
        stands |= dict(beside(zip(other[:run], one[:run], strict=True)))
        stands |= dict(beside(zip(one[-run:], other[-run:], strict=True)))
        ways.append(Sitting(f"turned:{way}", "turned", f"turned {way}", stands))
    return ways


def _skewed(board: Board) -> list[Sitting]:
    """A single row put in askew: at the end that is not home its contacts span two of the socket's.

    Assumed: half of the row does.
    """
    if len(board.rows) != 1 or len(board.rows[0]) < 2:
        return []
    row = board.spots[0]
    half = len(row) // 2
    stands = {index: index for index in board.rows[0]}
    low_home, high_home = beside(pairwise(row[half:])), beside(pairwise(row[: len(row) - half]))
    return [
        Sitting("skewed:first", "skewed", "askew, low end home", stands, low_home),
        Sitting("skewed:last", "skewed", "askew, high end home", stands, high_home),
    ]


def feeds_without_ground(board: Board, landed: list[int]) -> bool:
    """Whether the module is fed there while no ground of it stands on the board's, with a line beside to leave by."""
    contacts = [board.contacts[index] for index in landed]
    rails = [contact for contact in contacts if ROLE_BY_ID[contact.role].is_rail and (contact.working_mv or 0.0) > 0]
    return bool(rails) and any(is_line(contact) for contact in contacts) and not any(
        contact.role == "ground" for contact in contacts
    )


def is_line(contact: Contact) -> bool:
    """A line of a signal: neither ground, rail, strap nor unconnected."""
    return not ROLE_BY_ID[contact.role].is_rail and contact.role not in ("ground", "unconnected", "strap", "unknown")


def _flipped(board: Board) -> dict[int, int]:
    """A flat cable put in the wrong way round: n stands on N + 1 - n of its row."""
    return dict(beside(pair for row in board.spots for pair in zip(row, reversed(row), strict=True)))


def net_of(board: Board, contact: Contact) -> Net | None:
    """The net a contact belongs to, where the board's record has it."""
    return board.nets.get(contact.net) if contact.net else None


def at_state(board: Board, state: PlugState) -> Board:
    """The board with every rail's working voltage set to what it stands at in `state`; limits stay."""
    feed_mv = _feed_mv(board)
    contacts = [
        replace(contact, working_mv=_rail_mv(board, contact, state, feed_mv))
        if ROLE_BY_ID[contact.role].is_rail
        else contact
        for contact in board.contacts
    ]
    return board._replace(contacts=contacts)


def _feed_mv(board: Board) -> float:
    """The working voltage of the main rail, which feeds the LED boost; 0 where nobody wrote it down."""
    by_net = [net.working_mv or 0.0 for net in board.version.nets if net.rail_kind == "main"]
    by_contact = [contact.working_mv or 0.0 for contact in board.contacts if contact.role == "main_rail"]
    return max([0.0, *by_net, *by_contact])


def _rail_mv(board: Board, contact: Contact, state: PlugState, feed_mv: float) -> float | None:
    net = net_of(board, contact)
    working = contact.working_mv if contact.working_mv is not None else (net.working_mv if net is not None else None)
    if working is None:
        return None
    if contact.sourced_by == "module":  # a module with a supply of its own does not ask the board
        return 0.0 if state == "battery_off" else working
    if contact.role == "led_plus":
        return _led_mv(working, net, state, feed_mv)
    if state == "battery_off":
        return working if net is not None and net.stores_charge else 0.0
    return working if contact.role in LIVE_ROLES["lit" if state == "just_unplugged" else state] else 0.0


def _led_mv(working: float, net: Net | None, state: PlugState, feed_mv: float) -> float:
    if state == "lit":
        return working
    if state == "just_unplugged":
        over = net.overvoltage_mv if net is not None else None
        return over if over is not None else working * OVERVOLTAGE_RATIO
    if state == "battery_off":
        count = net.led_count if net is not None else None
        return working if count is None else min(working, count * LED_STOP_HIGH_MV)
    return min(working, max(0.0, feed_mv - LED_FEED_DROP_MV))
