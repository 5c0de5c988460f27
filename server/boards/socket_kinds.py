"""Which parts are sockets worth reading, and how a plug is held in each: a first guess by name and footprint."""

import re

from server.boards.nets import BoardPart, Nets, natural
from shared_models.board import SocketKind

LEAST_CONTACTS = 2

_KINDS: tuple[tuple[SocketKind, str], ...] = (
    ("usb_c", r"usb[_-]?c|type-?c|usbc"),
    ("hdmi", r"hdmi"),
    ("card_edge", r"edge(?!pin)|dimm|m\.?2|ngff|pcie|mini.?pci"),
    ("zif", r"zif|fpc|ffc|flex|fh\d\d"),
    ("micro_coax", r"i-?pex|coax|20455|20525"),
    ("open_header", r"header|conn_\d\dx\d\d|molex|jst|terminal|batt"),
    ("mezzanine", r"mezz|b2b|board.?to.?board|df40|bm\d\d"),
)


def sockets_of(nets: Nets) -> list[BoardPart]:
    """The parts a plug goes into, by name; those of most contacts first."""
    found = [
        part for part in nets.parts.values()
        if part.kind == "connector" and len([pin for pin in part.pins.values() if pin.number]) >= LEAST_CONTACTS
    ]
    return sorted(found, key=lambda part: (-len(part.pins), natural(part.ref)))


def socket_kind(part: BoardPart) -> SocketKind:
    """How the plug is probably held; "other" where nothing says so."""
    text = f"{part.ref} {part.value} {part.footprint}"
    for kind, pattern in _KINDS:
        if re.search(pattern, text, re.IGNORECASE):
            return kind
    return "other"
