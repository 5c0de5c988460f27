"""IPC-2581 (revisions B and C): the netlist part, with the parts and where they lie.

Decides: which of the many sections are read (LogicalNet, Component, Package), and that XML from outside may
declare nothing: no document type, no entities. Not held: whether a part is fitted in this variant.
Source: IPC-2581B, element names as public files have them.
"""

import math
from collections import defaultdict
from collections.abc import Callable, Iterator
from io import BytesIO
from typing import Any, NamedTuple
from xml.etree.ElementTree import Element, ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import iterparse

from server.boards.board_file import LARGEST_NAME, BoardFile, BoardSide, FilePad, FilePart, refused

MM_PER_UNIT = {"MILLIMETER": 1.0, "MICRON": 0.001, "INCH": 25.4}
EXAMPLE = '<LogicalNet name="GND"><PinRef componentRef="U1" pin="3"/></LogicalNet>'
DEEPEST = 64


class _Component(NamedTuple):
    package: str
    value: str
    side: BoardSide | None
    x_mm: float
    y_mm: float
    turn: float
    mirrored: bool


class _Found(NamedTuple):
    """What was met on the way: places of packages and parts in the file's unit until the end."""

    nets: dict[str, list[tuple[str, str]]]
    components: dict[str, _Component]
    packages: dict[str, dict[str, tuple[float, float]]]
    units: set[str]


def read_ipc2581(raw: bytes, told: Callable[[int], None] = lambda _: None) -> BoardFile:
    """The parts and nets of an IPC-2581 file. `told` hears at each part or net how far the reading has come.

    Raises:
        Refusal: 422 for broken XML with its line, for declarations, for units that are missing, and where there
            is no netlist.
    """
    found = _Found({}, {}, {}, set())
    stream = BytesIO(raw)
    try:
        for element in _elements(stream):
            _take(element, found)
            told(stream.tell())
    except DefusedXmlException as error:
        raise refused(
            "xml_declares", "The XML declares a document type or entities of its own; such a file is not opened.",
            where="the beginning of the file", given=type(error).__name__, expected="XML without DOCTYPE and ENTITY",
            example="export it again from the layout program",
        ) from error
    except ParseError as error:
        line, column = error.position
        raise refused(
            "broken_xml", "The XML is broken or cut short.", where=f"line {line}, column {column + 1}",
            given=str(error), expected="whole XML", example=EXAMPLE,
        ) from error
    except ValueError as error:
        raise refused(
            "not_a_number", "A place in the file is no number.", where="Location, Xform or Pin", given=str(error),
            expected="a number", example='<Location x="12.5" y="40.1"/>',
        ) from error
    if not found.nets:
        raise refused(
            "no_netlist", "There is no netlist in this file: it was written for assembly or for a list of parts.",
            where="LogicalNet", given=f"{len(found.components)} parts and no nets", expected="at least one LogicalNet",
            example="export IPC-2581 with nets, or give the test list (IPC-D-356) of the same board",
        )
    units = found.units & set(MM_PER_UNIT)
    if len(units) != 1:
        raise refused(
            "units_unclear", "The file names no unit, or several.", where="CadHeader units",
            given=", ".join(sorted(found.units)) or "nothing", expected=", ".join(MM_PER_UNIT),
            example='<CadHeader units="INCH">',
        )
    return BoardFile("IPC-2581", _parts(found, MM_PER_UNIT[units.pop()]), (), (
        "This format holds no functions of pins, and not which parts are fitted.",
    ))


def _elements(stream: BytesIO) -> Iterator[Element]:
    """Elements as they end, outermost ones emptied on the way so that memory stays small."""
    depth, stack = 0, []
    for event, element in iterparse(stream, ("start", "end"), forbid_dtd=True):
        if event == "start":
            depth += 1
            stack.append(element)
            if depth > DEEPEST:
                raise refused(
                    "too_deep", "The XML is nested too deeply for a board.", where=_name(element),
                    given=f"{depth} levels",
                    expected=f"at most {DEEPEST}", example=EXAMPLE,
                )
            continue
        depth -= 1
        stack.pop()
        name = _name(element)
        if name in ("LogicalNet", "Component", "Package", "CadHeader"):
            yield element
        if name not in ("PinRef", "Pin", "Location", "Xform"):
            element.clear()
        elif stack and _name(stack[-1]) not in ("LogicalNet", "Component", "Package", "Pin"):
            stack[-1].remove(element)
        if len(stack) == 1 or (stack and _name(stack[-1]) in ("Step", "CadData", "Ecad")):
            stack[-1].remove(element)


def _name(element: Element) -> str:
    return str(element.tag).rsplit("}", 1)[-1]


def _told(element: Element, name: str) -> str:
    return str(element.get(name) or "")[:LARGEST_NAME]


def _inside(element: Element, name: str) -> list[Element]:
    return [one for one in element if _name(one) == name]


def _take(element: Element, found: _Found) -> None:
    match _name(element):
        case "CadHeader":
            found.units.add(_told(element, "units").upper())
        case "LogicalNet":
            pins = [(_told(one, "componentRef"), _told(one, "pin")) for one in _inside(element, "PinRef")]
            found.nets.setdefault(_told(element, "name"), []).extend(pins)
        case "Package":
            pins = _inside(element, "Pin")
            found.packages[_told(element, "name")] = {_told(one, "number"): _place(one) for one in pins}
        case "Component":
            turn, mirrored = _turn(element)
            layer = _told(element, "layerRef").upper()
            found.components[_told(element, "refDes")] = _Component(
                _told(element, "packageRef"), _told(element, "part"), _side(layer), *_place(element), turn, mirrored,
            )


def _side(layer: str) -> BoardSide | None:
    return "bottom" if "BOT" in layer else "top" if "TOP" in layer else None


def _place(element: Element) -> tuple[float, float]:
    for one in _inside(element, "Location"):
        return _number(one.get("x")), _number(one.get("y"))
    return 0.0, 0.0


def _turn(element: Element) -> tuple[float, bool]:
    for one in _inside(element, "Xform"):
        return _number(one.get("rotation")), str(one.get("mirror")).lower() == "true"
    return 0.0, False


def _number(told: Any) -> float:
    value = float(told or 0)
    if not math.isfinite(value):
        raise ValueError(told)
    return value


def _parts(found: _Found, unit_mm: float) -> tuple[FilePart, ...]:
    pins: dict[str, dict[str, str]] = defaultdict(dict)
    for net, members in found.nets.items():
        for ref, pin in members:
            pins[ref][pin] = net
    refs = list(dict.fromkeys([*found.components, *pins]))
    return tuple(_part(ref, found.components.get(ref), pins[ref], found, unit_mm) for ref in refs)


def _part(ref: str, component: _Component | None, pins: dict[str, str], found: _Found, unit_mm: float) -> FilePart:
    if component is None:
        return FilePart(ref, pads=tuple(FilePad(pin, net) for pin, net in pins.items()))
    places = found.packages.get(component.package, {})
    numbers = list(dict.fromkeys([*pins, *places]))
    pads = tuple(_pad(number, pins.get(number), places.get(number), component, unit_mm) for number in numbers)
    return FilePart(ref, component.value, component.package, component.side, pads=pads)


def _pad(
    number: str, net: str | None, place: tuple[float, float] | None, component: _Component, unit_mm: float
) -> FilePad:
    if place is None:
        return FilePad(number, net, side=component.side)
    u, v = (-place[0] if component.mirrored else place[0]), place[1]
    cos, sin = math.cos(math.radians(component.turn)), math.sin(math.radians(component.turn))
    # this format's Y grows upwards; a drawing's grows downwards
    return FilePad(
        number, net, "", round((component.x_mm + u * cos - v * sin) * unit_mm, 4),
        round(-(component.y_mm + u * sin + v * cos) * unit_mm, 4), round(u * unit_mm, 4), round(-v * unit_mm, 4),
        component.side,
    )
