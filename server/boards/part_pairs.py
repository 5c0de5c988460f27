"""Which pin of a part lies on the other side of a line: two-pin parts, arrays of resistors, chokes.

An array is told by its pin names (`1.1`, `1.2`), else by where its pads face each other, else by the usual
numbering (1 with the last, 2 with the one before). A choke's windings are told by the nets' names, since makers
number them in two ways. Common practice, no source.
"""

import re

from server.boards.nets import BoardPart, natural, plain_name

FACING = 0.25
"""Pads face each other when they differ by less than this share of the part's longer side along it."""


def partner_pin(part: BoardPart, number: str, net: str) -> str | None:
    """The pin across the part; None where there is no single one."""
    if part.kind in ("array", "choke"):
        return _across(part, number)
    if part.kind in ("resistor", "capacitor", "ferrite", "coil", "fuse", "diode", "led", "jumper"):
        others = [pin.number for pin in part.pins.values() if pin.net is not None and pin.net != net]
        return others[0] if len(others) == 1 and len(part.nets()) == 2 else None
    return None


def _across(part: BoardPart, number: str) -> str | None:
    numbers = [pin.number for pin in part.pins.values() if pin.number]
    if found := re.fullmatch(r"(.+)[._]([12])", number):
        other = f"{found[1]}{number[len(found[1])]}{3 - int(found[2])}"
        return other if other in part.pins else None
    if len(numbers) % 2:
        return None
    if part.kind == "choke" and len(numbers) == 4:
        return _winding(part, number, sorted(numbers, key=natural))
    facing = _facing(part, number, numbers)
    ordered = sorted(numbers, key=natural)
    return facing or ordered[len(ordered) - 1 - ordered.index(number)]


def _winding(part: BoardPart, number: str, ordered: list[str]) -> str:
    first, second, third, fourth = ordered
    ways = (((first, second), (fourth, third)), ((first, fourth), (second, third)))
    best = max(ways, key=lambda way: sum(_alike(part, one, other) for one, other in way))
    return next(other if number == one else one for one, other in best if number in (one, other))


def _alike(part: BoardPart, one: str, other: str) -> int:
    """1 where both nets are the same half of a pair, by what their names end in."""
    ends = [_half(part.pins[number].net) for number in (one, other)]
    return 1 if ends[0] and ends[0] == ends[1] else 0


def _half(net: str | None) -> str:
    found = re.search(r"([PN+-])(?:\d*|_?(?:R|L|C|CON|OUT|IN))\)?$", plain_name(net or "").upper())
    return "" if found is None else {"P": "+", "N": "-"}.get(found[1], found[1])


def _facing(part: BoardPart, number: str, numbers: list[str]) -> str | None:
    places = {
        one: (pad.u_mm, pad.v_mm) for one in numbers for pad in part.pins[one].pads[:1]
        if pad.u_mm is not None and pad.v_mm is not None
    }
    if len(set(places.values())) < len(numbers):
        return None
    spans = [max(at) - min(at) for at in zip(*places.values(), strict=True)]
    close = FACING * max(spans) / max(len(numbers) / 2 - 1, 1)
    for along in (0, 1):
        near = [one for one in numbers if one != number and abs(places[one][along] - places[number][along]) < close]
        if len(near) == 1:
            return near[0]
    return None
