"""What was met in an IPC-2581 file, made into parts: names without what KiCad adds, each pin where its copper lies.

Leaves to others: which sections are read (`ipc2581`), and how a place turns with its part (`ipc2581_places`).
Source: what KiCad 9 writes, seen on files it wrote.
"""

import re
from collections import defaultdict
from collections.abc import Iterator
from typing import NamedTuple

from server.boards.board_file import BoardSide, FilePad, FilePart
from server.boards.fitting import left_out_by_list, left_out_by_value
from server.boards.ipc2581_places import At, placed, within

_TOP = re.compile(r"(?:^|[^A-Z])(?:TOP|F\.CU)", re.IGNORECASE)
_BOTTOM = re.compile(r"(?:^|[^A-Z])(?:BOT|B\.CU)", re.IGNORECASE)
KICAD = "kicad"
"""What KiCad calls itself in a file, in small letters."""

_KINDS = ("CMP", "PIN", "NET")
"""What KiCad 8 and 9 write before every name: CMP:R1, PIN:2, NET:GND in revision C, with _ in revision B."""

_ODD = re.compile(r"[^A-Za-z0-9]")

Key = tuple[str, str]


class Component(NamedTuple):
    """A part as it stands in the file: its package's name, its name in the list of parts, its layer, its place."""

    package: str
    part: str
    layer: str
    at: At


class DrawnPad(NamedTuple):
    """Where the copper of a pin lies on the board, in the file's unit, and on which layer."""

    x: float
    y: float
    layer: str


class Found(NamedTuple):
    """What was met on the way: places in the file's unit until the end. `holes`: (package, pin) without copper."""

    nets: dict[Key, str]
    at_pads: dict[Key, str]
    pads: dict[Key, list[DrawnPad]]
    components: dict[str, Component]
    packages: dict[str, dict[str, tuple[float, float]]]
    values: dict[str, str]
    left_out: set[str]
    holes: set[Key]
    sides: dict[str, BoardSide]
    edge: list[list[float]]
    units: set[str]
    written_by: set[str]


def nothing_found() -> Found:
    """What is known before the first section."""
    return Found({}, {}, {}, {}, {}, {}, set(), set(), {}, [], set(), set())


def plain_names(found: Found) -> Found:
    """The same without what KiCad 8 and 9 write before every name, where it stands before each and every one."""
    if KICAD not in found.written_by:
        return found
    keys = [*found.nets, *found.at_pads, *found.pads]
    pins = [pin for _, pin in keys] + [pin for of in found.packages.values() for pin in of]
    every = ([*found.components], pins, [*found.nets.values(), *found.at_pads.values()])
    cut = [
        len(kind) + 1 if names and all(re.match(f"{kind}[:_]", name) for name in names) else 0
        for kind, names in zip(_KINDS, every, strict=True)
    ]
    of_ref, of_pin, of_net = cut

    def plain(key: Key) -> Key:
        return key[0][of_ref:], key[1][of_pin:]

    return found._replace(
        nets={plain(key): net[of_net:] for key, net in found.nets.items()},
        at_pads={plain(key): net[of_net:] for key, net in found.at_pads.items()},
        pads={plain(key): of for key, of in found.pads.items()},
        components={ref[of_ref:]: one for ref, one in found.components.items()},
        packages={name: {pin[of_pin:]: at for pin, at in of.items()} for name, of in found.packages.items()},
        values={ref[of_ref:]: value for ref, value in found.values.items()},
        left_out={ref[of_ref:] for ref in found.left_out},
        holes={(name, pin[of_pin:]) for name, pin in found.holes},
    )


def parts_of(found: Found, unit_mm: float) -> tuple[FilePart, ...]:
    """Every part with its pads, in millimetres; `unit_mm` is the file's unit."""
    pins: dict[str, dict[str, str | None]] = defaultdict(dict)
    for (ref, pin), net in (found.at_pads | found.nets).items():
        pins[ref][pin] = net
    for ref, pin in found.pads:
        pins[ref].setdefault(pin, None)
    refs = list(dict.fromkeys([*found.components, *pins]))
    return tuple(_part(ref, found.components.get(ref), pins[ref], found, unit_mm) for ref in refs)


def _part(
    ref: str, component: Component | None, pins: dict[str, str | None], found: Found, unit_mm: float
) -> FilePart:
    value = found.values.get(ref, "")
    not_fitted = left_out_by_value(value) or (left_out_by_list(ref) if ref in found.left_out else "")
    if component is None:
        pads = tuple(FilePad(pin, net) for pin, net in pins.items())
        return FilePart(ref, value, not_fitted=not_fitted, pads=pads)
    own = found.packages.get(component.package, {})
    side = _side(component.layer, found)
    pads = tuple(
        pad for number in dict.fromkeys([*pins, *own]) if (component.package, number) not in found.holes
        for pad in _pads(ref, number, pins.get(number), own.get(number), component, side, found, unit_mm)
    )
    return FilePart(ref, value or component.part, _footprint(component, value, found), side, not_fitted, pads)


def _footprint(component: Component, value: str, found: Found) -> str:
    """The package's name. KiCad gives parts of one shape one package, and a resistor may have a capacitor's: there the
    part's own name tells, which is library, footprint and value in one."""
    tail = "_" + _ODD.sub("_", value)
    if KICAD in found.written_by and value and _ODD.sub("_", component.part).endswith(tail):
        return re.sub(r"^REF[:_]", "", component.part[: -len(tail)])
    return component.package


def _pads(
    ref: str, number: str, net: str | None, own: tuple[float, float] | None, component: Component,
    side: BoardSide | None, found: Found, unit_mm: float,
) -> Iterator[FilePad]:
    """A pin's pads: where copper is drawn for it, else where its package lays it."""
    drawn: dict[tuple[float, float], list[str]] = defaultdict(list)
    for pad in found.pads.get((ref, number), ()):
        drawn[pad.x, pad.y].append(pad.layer)
    if not drawn and own is not None:
        drawn[placed(component.at, own)] = [component.layer]
    if not drawn:
        yield FilePad(number, net, side=side)
    for (x, y), layers in drawn.items():
        u, v = within(component.at, (x, y))
        # this format's Y grows upwards; a drawing's grows downwards
        x_mm, y_mm, u_mm, v_mm = (round(place * unit_mm, 4) for place in (x, -y, u, -v))
        yield FilePad(number, net, "", x_mm, y_mm, u_mm, v_mm, _side_of(layers, found) or side)


def _side_of(layers: list[str], found: Found) -> BoardSide | None:
    told: list[BoardSide] = []
    for layer in layers:
        side = _side(layer, found)
        if side is not None:
            told.append(side)
    return "both" if len(set(told)) > 1 else told[0] if told else None


def _side(layer: str, found: Found) -> BoardSide | None:
    """The side a layer says it is of; by its name where it says nothing."""
    if layer in found.sides:
        return found.sides[layer]
    return "bottom" if _BOTTOM.search(layer) else "top" if _TOP.search(layer) else None
