"""On which side of the board a touch lies: what lies on the other one costs turning the board over first.

Known only where the board came from a file that holds places; elsewhere a touch costs what the table of touches says.
"""

from typing import NamedTuple

from msgspec.structs import replace

from server.engine.accept import Facts
from server.engine.accepted_board import Board
from server.engine.constants.touches import TURN_OVER_S
from shared_models.board import BoardPad, TestPoint
from shared_models.opinion import NextTouch
from shared_models.reading import AcrossPart, AtContact, AtPartEnd, AtRail, AtTestPoint, BetweenContacts, Reading, Touch

Where = tuple[str, ...]
"""The sides on which something can be touched; none where that is not known."""


class Sides(NamedTuple):
    """Where the socket's contacts, each part, and each net that is measured as a rail can be touched."""

    socket: Where
    of_part: dict[str, Where]
    of_rail: dict[str, Where]


def sides_of(board: Board) -> Sides:
    """The sides by the board's drawing; all empty without one. What lies under its part is no place to touch."""
    drawing = board.version.drawing
    of_part: dict[str, Where] = {}
    on_net: dict[str, list[BoardPad]] = {}
    for pad in drawing.pads if drawing is not None else ():
        if pad.reach != "under_part":
            of_part[pad.part] = _with(of_part.get(pad.part, ()), pad.side)
            on_net.setdefault(pad.net, []).append(pad)
    points = [
        one.name for contact in board.contacts for one in (*contact.path, *contact.also) if isinstance(one, TestPoint)
    ]
    stores = [ref for ref, part in board.parts.items() if part.kind == "capacitor"]
    of_rail = {net: _best(pads, points) or _best(pads, stores) or _best(pads, None) for net, pads in on_net.items()}
    return Sides(of_part.get(board.socket.ref, ()), of_part, of_rail)


def where_now(sides: Sides, facts: Facts) -> Where:
    """Where the probe is: at the touch made last, else at the socket."""
    readings = [one.reading for one in (*facts.sweep, *facts.further)]
    last = max(readings, key=_when, default=None)
    if last is None or last.subject != "board_socket":
        return sides.socket
    return _touched(sides, last.touch) or sides.socket


def turning_s(now: Where, there: Where) -> float:
    """The seconds that turning the board over adds: none where both lie on one side, or where nobody knows."""
    known = now and there and "both" not in (*now, *there)
    return TURN_OVER_S if known and not any(side in now for side in there) else 0.0


def turned(sides: Sides, now: Where, shown: NextTouch) -> NextTouch:
    """The touch with the seconds of turning the board over, where it takes that."""
    more = turning_s(now, _touched(sides, shown.touch)) if shown.subject == "board_socket" else 0.0
    return replace(shown, seconds=shown.seconds + more) if more > 0 else shown


def _touched(sides: Sides, touch: Touch) -> Where:
    match touch:
        case AtContact() | BetweenContacts():
            return sides.socket
        case AtPartEnd() | AcrossPart():
            return sides.of_part.get(touch.part, ())
        case AtTestPoint():
            return sides.of_part.get(touch.name, ())
        case AtRail():
            return sides.of_rail.get(touch.net, ())


def _best(pads: list[BoardPad], parts: list[str] | None) -> Where:
    found: Where = ()
    for pad in pads:
        if parts is None or pad.part in parts:
            found = _with(found, pad.side)
    return found


def _with(sides: Where, side: str) -> Where:
    return sides if side in sides else (*sides, side)


def _when(reading: Reading) -> tuple[int, str]:
    return reading.taken_at_ms, reading.id
