"""How a socket's contacts lie: rows, pitch, and who is beside whom, from where the pads are.

Decides by the places alone, never by the numbers: on a USB-C socket or one of two rows the next number is
elsewhere. Rows are seen from the side the socket stands on. Pads of a shell or for holding stay out.
"""

import math
import re
from itertools import pairwise
from typing import NamedTuple

from server.boards.nets import BoardPart, BoardPin, natural, plain_name
from server.boards.rails import is_ground_name
from shared_models.board import Row

UNPLACED_PITCH_MM = 0.5
"""Where the file holds no places."""

SAME_ROW_MM = 0.2
MOST_ROWS = 8
NEIGHBOUR = 1.6
"""A contact is a neighbour up to this many times the distance of the nearest one."""

_SHELL = re.compile(r"|0|S|SH|SHLD\d*|SHELL|SHIELD|MP\d*|M\d|MH\d|G\d|S\d|P[A-D]|PAD\d+|TAB|EP", re.IGNORECASE)
_NUMBER = re.compile(r"[A-Za-z0-9]{1,8}")
LARGEST_SOCKET = 400


class Lies(NamedTuple):
    """The contacts to read, as they lie. `left_out`: pins that are no contacts of the plug."""

    pins: list[BoardPin]
    rows: tuple[Row, ...]
    pitch_mm: float
    neighbours: dict[str, tuple[str, ...]]
    left_out: tuple[str, ...]


class _Place(NamedTuple):
    number: str
    along: float
    across: float


def lie(part: BoardPart) -> Lies:
    """The rows of a socket; one row in the natural order where the file holds no places."""
    pins = [pin for pin in part.pins.values() if _is_contact(pin)][:LARGEST_SOCKET]
    out = tuple(pin.number for pin in part.pins.values() if pin not in pins)
    places = _places(part, pins)
    if places is None or len(pins) < 2:
        ordered = sorted((pin.number for pin in pins), key=natural)
        rows = (Row(name="row", contacts=tuple(ordered)),)
        return Lies(pins, rows, UNPLACED_PITCH_MM, {}, out)
    grouped = _rows(places)
    pitch = _pitch(grouped)
    return Lies(pins, _laid(grouped, pitch), min(round(pitch, 3), 25.0), _neighbours(places), out)


def _is_contact(pin: BoardPin) -> bool:
    """A contact has a number a person can read out; a shell's pad is ground or on no net."""
    if not _NUMBER.fullmatch(pin.number):
        return False
    if not _SHELL.fullmatch(pin.number):
        return True
    bare = pin.net is None or is_ground_name(plain_name(pin.net))
    return not bare and not re.search("shield|shell|unconnected", f"{pin.function}{pin.net}", re.IGNORECASE)


def _places(part: BoardPart, pins: list[BoardPin]) -> list[_Place] | None:
    found = []
    for pin in pins:
        pad = pin.pads[0]
        if pad.u_mm is None or pad.v_mm is None:
            return None
        # seen from below, left and right change places
        found.append(_Place(pin.number, -pad.u_mm if part.side == "bottom" else pad.u_mm, pad.v_mm))
    if _levels([one.along for one in found]) < _levels([one.across for one in found]):
        found = [_Place(one.number, one.across, one.along) for one in found]
    return found


def _levels(values: list[float]) -> int:
    ordered = sorted(values)
    return 1 + sum(b - a > SAME_ROW_MM for a, b in pairwise(ordered))


def _rows(places: list[_Place]) -> list[list[_Place]]:
    rows: list[list[_Place]] = []
    for one in sorted(places, key=lambda place: (place.across, place.along, natural(place.number))):
        if rows and one.across - rows[-1][-1].across <= SAME_ROW_MM:
            rows[-1].append(one)
        else:
            rows.append([one])
    if len(rows) > MOST_ROWS:  # no connector in rows: a line in its own order
        return [sorted(places, key=lambda place: natural(place.number))]
    return [sorted(row, key=lambda place: (place.along, natural(place.number))) for row in rows]


def _pitch(rows: list[list[_Place]]) -> float:
    steps = sorted(
        b.along - a.along for row in rows for a, b in pairwise(row) if b.along - a.along > 0.05
    )
    # the middle one of all: a key's gap, or two pads side by side, are few
    return steps[(len(steps) - 1) // 2] if steps else UNPLACED_PITCH_MM


def _laid(rows: list[list[_Place]], pitch: float) -> tuple[Row, ...]:
    """Rows with the places that are left out, counted from the leftmost contact of all."""
    first = min(one.along for row in rows for one in row)
    laid = []
    for at, row in enumerate(rows, 1):
        spots = [round((one.along - first) / pitch) + 1 for one in row]
        fits = len(set(spots)) == len(spots) and spots == sorted(spots) and spots[-1] <= 2 * LARGEST_SOCKET
        gaps = tuple(spot for spot in range(1, spots[-1]) if spot not in set(spots)) if fits else ()
        name = "row" if len(rows) == 1 else f"row {at}"
        laid.append(Row(name=name, contacts=tuple(one.number for one in row), left_out=gaps))
    return tuple(laid)


def _neighbours(places: list[_Place]) -> dict[str, tuple[str, ...]]:
    found = {}
    for one in places:
        apart = sorted(
            (round(math.dist(one[1:], other[1:]), 3), natural(other.number), other.number)
            for other in places if other.number != one.number
        )
        near = max(apart[0][0], 0.05) if apart else 0.0
        found[one.number] = tuple(number for distance, _, number in apart[:8] if distance <= NEIGHBOUR * near)
    return found
