"""What lies behind a contact, as one cell of a pin table: from the contact inward, parts apart by `>`.

    R214 33 > D5 to GND > U7.14        a part in series, one to another net, the pin of a chip
    F2 fuse > FB3                      a fuse; a part whose ohms nobody knows
    C12 blocks > clamp to GND          a coupling capacitor; a protection diode
    pull R7 2k2 to 1V8 > at TP12 top   a pull resistor; a place that a probe can reach

Decides: how such a cell reads, and which parts it names. A net that is a ground by its name is ground.
"""

import re

import msgspec

from server.engine.pin_roles import role_from_name
from server.engine.quantities import read_text
from shared_models.base import Id
from shared_models.board import ChipPin, Clamp, Part, PartKind, PathElement, Pull, SeriesPart, ShuntPart, TestPoint
from shared_models.reading import Ohms
from shared_models.tables import PART_LETTERS

_PART = r"(?!(?:pull|clamp|at)\b)[A-Za-z0-9][\w:-]*"
_NET = r"(?P<net>\S(?:.*\S)?)"
_CHIP = re.compile(rf"(?P<part>{_PART})(?:\.|\s+pin\s+)(?P<pin>\w+)", re.IGNORECASE)
_POINT = re.compile(r"at\s+(?P<name>\S(?:.*?\S)?)(?:\s+(?P<side>top|bottom))?", re.IGNORECASE)
_CLAMP = re.compile(rf"clamp(?:\s+(?!to\b)(?P<part>{_PART}))?(?:\s+to\s+{_NET})?", re.IGNORECASE)
_PULL = re.compile(rf"pull(?:\s+(?P<part>(?=[A-Za-z]){_PART}))?\s+(?P<ohm>\S+(?:\s*ohm)?)\s+to\s+{_NET}", re.IGNORECASE)
_SHUNT = re.compile(rf"(?P<part>{_PART})\s+to\s+{_NET}", re.IGNORECASE)
_SERIES = re.compile(
    rf"(?P<part>(?=[A-Za-z]){_PART})(?:\s+(?P<mark>fuse|blocks))?(?:\s+(?P<ohm>[\d.,]\S*(?:\s*ohm)?))?", re.IGNORECASE
)
EXAMPLE = "R214 33 > U7.14"


def path_from(cell: str) -> tuple[PathElement, ...] | str:
    """The elements of a cell from the contact inward, or the piece of it that is none."""
    if not cell.strip():
        return ()
    found: list[PathElement] = []
    for piece in re.split(r">|→", cell):
        element = _element(piece.strip())
        if element is None:
            return piece.strip() or cell
        found.append(element)
    return tuple(found)


def _element(piece: str) -> PathElement | None:
    try:
        element = _read(piece)
        return None if element is None else msgspec.convert(msgspec.to_builtins(element), PathElement)
    except msgspec.ValidationError:
        return None


def _read(piece: str) -> PathElement | None:
    if found := _POINT.fullmatch(piece):
        side = (found["side"] or "").lower()
        return TestPoint(name=found["name"], side="top" if side == "top" else "bottom" if side else None)
    if found := _CLAMP.fullmatch(piece):
        return Clamp(part=found["part"], to_net=_net(found["net"]))
    if found := _PULL.fullmatch(piece):
        ohm = _ohm(found["ohm"])
        return None if ohm is None else Pull(ohm=ohm, to_net=found["net"], part=found["part"])
    if found := _CHIP.fullmatch(piece):
        return ChipPin(part=found["part"], pin=found["pin"])
    if found := _SHUNT.fullmatch(piece):
        return ShuntPart(part=found["part"], to_net=_net(found["net"]))
    found = _SERIES.fullmatch(piece)
    ohm = None if found is None or found["ohm"] is None else _ohm(found["ohm"])
    if found is None or (found["ohm"] is not None and ohm is None):
        return None
    mark = (found["mark"] or "").lower()
    return SeriesPart(part=found["part"], ohm=ohm, blocks_dc=mark == "blocks", is_fuse=mark == "fuse")


def _ohm(text: str) -> float | None:
    value = read_text(text, "ohm", "ohms")
    return value.ohm if isinstance(value, Ohms) else None


def _net(text: str | None) -> str | None:
    return None if text is None or role_from_name(text) == "ground" else text


def parts_in(path: tuple[PathElement, ...]) -> list[Part]:
    """The parts a path names, in its order, each once."""
    parts: dict[str, Part] = {}
    for element in path:
        ref = None if isinstance(element, TestPoint) else element.part
        if ref is not None and ref not in parts:
            fuse = isinstance(element, SeriesPart) and element.is_fuse
            parts[ref] = Part(ref=ref, kind="fuse" if fuse else part_kind(ref, chip=isinstance(element, ChipPin)))
    return list(parts.values())


def part_kind(ref: str, *, chip: bool = False) -> PartKind:
    """The kind that the letters of a part's name speak for; a part whose pin is named is a chip."""
    letters = re.match(r"[A-Z]*", ref.upper())
    told: PartKind = "other"
    for row in PART_LETTERS:
        if letters is not None and letters[0] == row.letters:
            told = row.kind
    return "chip" if chip and told == "other" else told


def is_part(text: str) -> bool:
    """Whether a text can be the name of a part."""
    try:
        msgspec.convert(text, Id)
    except msgspec.ValidationError:
        return False
    return True
