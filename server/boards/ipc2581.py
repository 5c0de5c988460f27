"""IPC-2581 (revisions B and C): the nets, the parts, where they lie and which of them are fitted.

Decides: which of the many sections are read (LogicalNet, Component, Package, Layer, Pad, BomItem, Profile), and that
XML from outside may declare nothing: no document type, no entities. A net is told by its LogicalNet; a program that
writes none, or not for every part, names the net of each pad where it draws the copper.
Source: IPC-2581B, element names as public files have them; what KiCad 9 writes, seen on files it wrote.
"""

from collections.abc import Callable, Iterator
from io import BytesIO
from xml.etree.ElementTree import Element, ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import iterparse

from server.boards.board_file import LARGEST_NAME, BoardFile, refused
from server.boards.ipc2581_parts import Component, DrawnPad, Found, nothing_found, parts_of, plain_names
from server.boards.ipc2581_places import at_of, corners_of, name_of, where_of

MM_PER_UNIT = {"MILLIMETER": 1.0, "MICRON": 0.001, "INCH": 25.4}
EXAMPLE = '<LogicalNet name="GND"><PinRef componentRef="U1" pin="3"/></LogicalNet>'
DEEPEST = 64

_TAKEN = frozenset({"LogicalNet", "Component", "Package", "CadHeader", "Layer", "Pad", "BomItem", "Profile",
                    "SoftwarePackage"})
_INSIDE = frozenset({"PinRef", "Pin", "Location", "Xform", "RefDes", "Characteristics", "Textual"})
_EDGE = frozenset({"Polygon", "Cutout", "PolyBegin", "PolyStepSegment", "PolyStepCurve"})


def read_ipc2581(raw: bytes, told: Callable[[int], None] = lambda _: None) -> BoardFile:
    """The parts and nets of an IPC-2581 file. `told` hears at each part or net how far the reading has come.

    Raises:
        Refusal: 422 for broken XML with its line, for declarations, for units that are missing, and where there
            is no netlist.
    """
    found = nothing_found()
    stream = BytesIO(raw)
    try:
        for element, above in _elements(stream):
            _take(element, above, found)
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
    if not found.nets and not found.at_pads:
        raise refused(
            "no_netlist", "There is no netlist in this file: it was written for assembly or for a list of parts.",
            where="LogicalNet, or the net of each pad", given=f"{len(found.components)} parts and no nets",
            expected="at least one net",
            example="export IPC-2581 with nets, or give the test list (IPC-D-356) of the same board",
        )
    units = found.units & set(MM_PER_UNIT)
    if len(units) != 1:
        raise refused(
            "units_unclear", "The file names no unit, or several.", where="CadHeader units",
            given=", ".join(sorted(found.units)) or "nothing", expected=", ".join(MM_PER_UNIT),
            example='<CadHeader units="INCH">',
        )
    unit_mm = MM_PER_UNIT[units.pop()]
    edge = tuple(tuple(round(n * unit_mm, 3) for n in line) for line in found.edge)
    return BoardFile("IPC-2581", parts_of(plain_names(found), unit_mm), edge, _notes(found))


def _notes(found: Found) -> tuple[str, ...]:
    notes = ["This format holds no functions of pins."]
    apart = [key for key, net in found.at_pads.items() if found.nets.get(key, net) != net]
    if apart:
        of = ", ".join(f"{ref}.{pin}" for ref, pin in apart[:4])
        notes.append(f"The list of nets and the copper disagree about {len(apart)} pins ({of}): the list is taken.")
    return tuple(notes)


def _elements(stream: BytesIO) -> Iterator[tuple[Element, list[Element]]]:
    """Elements that are taken, as they end, each with those around it; all else is let go of at once."""
    stack: list[Element] = []
    within: list[str] = []  # the taken elements that are open
    for event, element in iterparse(stream, ("start", "end"), forbid_dtd=True):
        name = name_of(element)
        if event == "start":
            stack.append(element)
            if name in _TAKEN:
                within.append(name)
            if len(stack) > DEEPEST:
                raise refused(
                    "too_deep", "The XML is nested too deeply for a board.", where=name,
                    given=f"{len(stack)} levels", expected=f"at most {DEEPEST}", example=EXAMPLE,
                )
            continue
        stack.pop()
        if name in _TAKEN:
            within.pop()
            yield element, stack
        kept = name in _INSIDE or (name in _EDGE and within == ["Profile"])
        if stack and not (within and kept):
            stack[-1].remove(element)


def _told(element: Element, name: str) -> str:
    return str(element.get(name) or "")[:LARGEST_NAME]


def _inside(element: Element, name: str) -> list[Element]:
    return [one for one in element if name_of(one) == name]


def _take(element: Element, above: list[Element], found: Found) -> None:
    match name_of(element):
        case "CadHeader":
            found.units.add(_told(element, "units").upper())
        case "Layer":
            side = _told(element, "side").upper()
            if side in ("TOP", "BOTTOM"):
                found.sides[_told(element, "name")] = "top" if side == "TOP" else "bottom"
        case "LogicalNet":
            for one in _inside(element, "PinRef"):
                found.nets[_told(one, "componentRef"), _told(one, "pin")] = _told(element, "name")
        case "Package":
            pins = _inside(element, "Pin")
            found.packages[_told(element, "name")] = {_told(one, "number"): where_of(one) for one in pins}
            found.holes.update(
                (_told(element, "name"), _told(one, "number")) for one in pins
                if _told(one, "electricalType").upper() == "MECHANICAL"
            )
        case "Component":
            found.components[_told(element, "refDes")] = Component(
                _told(element, "packageRef"), _told(element, "part"), _told(element, "layerRef"), at_of(element),
            )
        case "Pad":
            _take_pad(element, above, found)
        case "BomItem":
            _take_bought(element, found)
        case "SoftwarePackage":
            found.written_by.add(_told(element, "name").lower())
        case "Profile":
            found.edge.extend(corners_of(element))


def _take_pad(element: Element, above: list[Element], found: Found) -> None:
    """A pad where copper is drawn: its net stands at the set around it, its layer at the one around that."""
    net = next((_told(one, "net") for one in reversed(above) if one.get("net")), "")
    layer = next((_told(one, "layerRef") for one in reversed(above) if one.get("layerRef")), "")
    for one in _inside(element, "PinRef"):
        key = _told(one, "componentRef"), _told(one, "pin")
        x, y = where_of(element)
        found.pads.setdefault(key, []).append(DrawnPad(x, y, layer))
        if net:
            found.at_pads[key] = net


def _take_bought(element: Element, found: Found) -> None:
    refs = [(_told(one, "name"), _told(one, "populate").lower()) for one in _inside(element, "RefDes")]
    found.left_out.update(ref for ref, populate in refs if populate == "false")
    for one in element.iter():
        if name_of(one) == "Textual" and _told(one, "textualCharacteristicName").lower() == "value":
            found.values.update((ref, _told(one, "textualCharacteristicValue")) for ref, _ in refs)
