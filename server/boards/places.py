"""Where a net can be touched: its pads with their side and how well a probe gets there, and the board's edge."""

import math
import re
from collections.abc import Iterable

from server.boards.board_file import FilePad
from server.boards.nets import BoardPart, Nets
from server.boards.rails import Rail
from shared_models.board import BoardDrawing, BoardPad, Reach

MOST_PADS = 40
"""Pads kept of a net that feeds or returns: the nearest ones to the socket."""

FINE_MM = 0.3
"""A pad narrower than this wants a fine tip."""

_BALLS = re.compile(r"bga|lga|csp|balls", re.IGNORECASE)
INSIDE = 0.15
"""A pad further in than this share of its chip's size lies under it."""


def drawing(nets: Nets, rails: dict[str, Rail], wanted: Iterable[str], socket: BoardPart,
            outline: tuple[tuple[float, ...], ...]) -> BoardDrawing | None:
    """The pads of the wanted nets, or None where the file holds no places."""
    center = _center(socket)
    if center is None:
        return None
    pads: list[BoardPad] = []
    cut: list[str] = []
    for net in wanted:
        found = [pad for ref, number in nets.pins_on[net] for pad in _pads(nets, nets.parts[ref], number, net)]
        if net in rails and len(found) > MOST_PADS:
            found = sorted(found, key=lambda pad: math.hypot(pad.x_mm - center[0], pad.y_mm - center[1]))[:MOST_PADS]
            cut.append(nets.shown[net])
        pads.extend(found)
    return BoardDrawing(outline=outline, pads=tuple(pads), nets_cut=tuple(cut))


def reach_of(part: BoardPart, pad: FilePad) -> Reach:
    """How a probe gets at a pad of a part."""
    if part.kind in ("chip", "connector") and (_BALLS.search(part.footprint) or _inside(part, pad)):
        return "under_part"
    return "fine" if 0 < min(pad.width_mm, pad.height_mm) < FINE_MM else "free"


def _inside(part: BoardPart, pad: FilePad) -> bool:
    if part.kind != "chip" or len(part.pins) < 8 or pad.u_mm is None or pad.v_mm is None:
        return False
    places = [
        (one.u_mm, one.v_mm) for pin in part.pins.values() for one in pin.pads
        if one.u_mm is not None and one.v_mm is not None
    ]
    for at, values in zip((pad.u_mm, pad.v_mm), zip(*places, strict=True), strict=True):
        low, high = min(values), max(values)
        edge = INSIDE * (high - low)
        if high > low and not low + edge < at < high - edge:
            return False
    return True


def _center(socket: BoardPart) -> tuple[float, float] | None:
    pads = [
        (pad.x_mm, pad.y_mm) for pin in socket.pins.values() for pad in pin.pads
        if pad.x_mm is not None and pad.y_mm is not None
    ]
    if not pads:
        return None
    return sum(x for x, _ in pads) / len(pads), sum(y for _, y in pads) / len(pads)


def _pads(nets: Nets, part: BoardPart, number: str, net: str) -> Iterable[BoardPad]:
    for pad in part.pins[number].pads:
        if pad.x_mm is not None and pad.y_mm is not None:
            yield BoardPad(
                part=part.ref, pin=number, net=nets.shown[net], x_mm=round(pad.x_mm, 3), y_mm=round(pad.y_mm, 3),
                side=pad.side or "top", width_mm=round(pad.width_mm, 3), height_mm=round(pad.height_mm, 3),
                reach=reach_of(part, pad),
            )
