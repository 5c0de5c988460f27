"""The five sockets: contacts with roles, nets, chips and rows, and the same as the engine's `BoardVersion`.

USB Type-C, HDMI A and the 22-way camera FPC by their published tables; the 40-contact panel table in the shape of an
openly published one; an invented 60-contact mezzanine with lanes behind coupling capacitors.
"""

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any

from shared_models.board import BoardVersion, Contact, Net, Part, PathElement, Row, SeriesPart, Socket
from tests.support.bench.tables import HEALTHY, RAILS

# one word a contact: role code, then what follows the colon is a net, a pair, or a chip
CODES = {
    "G": "ground", "NC": "unconnected", "L": "lane", "C": "lane_coupled", "A": "aux_coupled", "U": "usb_pair",
    "B": "bus", "K": "control", "W": "pwm", "H": "hot_plug_detect", "M": "main_rail", "5": "rail_5v",
    "3": "panel_supply", "I": "io_rail", "P": "led_plus", "N": "led_minus", "T": "strap",
}  # fmt: skip
RAIL_NETS: dict[str, tuple[str, str, float]] = {
    "main_rail": ("VMAIN", "main", 12_600), "rail_5v": ("5V0", "standby", 5000), "panel_supply": ("3V3", "panel", 3300),
    "io_rail": ("1V8", "io", 1800), "led_plus": ("LED_PLUS", "backlight", 21_000),
}  # fmt: skip
FIRST_CHIP = "U1"
PAIRED = ("lane", "lane_coupled", "aux_coupled", "usb_pair")

USB_C = (
    "G C C 5 K.U2 U U K.U2 5 L L G",
    "G L L 5 K.U2 U U K.U2 5 C C G",
)
HDMI_A = ("L G L L G L L G L L G L K.U2 NC B.U2 B.U2 G 5 H.U2",)
CAMERA_22 = ("G L L G L L G L L G L L G L L G K.U2 K.U2 G B.U2 B.U2 3",)
PANEL_40 = ("NC G C C G C C G C C G C C G A A G 3 3 3 3 K.U1 G G G G H.U1 G G G G K.U2 W.U2 NC NC P P P P NC",)
MEZZANINE_60 = (
    "G L L G L L G L L G C C G C C G B.U2 B.U2 K.U2 K.U2 K.U2 I G M M M G U U G",
    "G L L G L L G L L G C C G C C G B.U2 B.U2 K.U3 K.U3 W.U3 I G P P NC N.U3 N.U3 T G",
)  # fmt: skip


@dataclass(frozen=True)
class Line:
    """One contact of the world: `pair` and `net` join those of equal text; `chip` is what it leads to, if anything."""

    number: str
    role: str
    chip: str
    net: str
    pair: str
    row: int
    place: int

    @property
    def conducts(self) -> bool:
        """Whether a healthy one reads a junction."""
        return self.role in HEALTHY

    @property
    def is_rail(self) -> bool:
        return self.role in RAILS


@dataclass(frozen=True)
class SocketPlan:
    """A socket of the world with the board as the engine is told of it."""

    name: str
    lines: tuple[Line, ...]
    rows: tuple[tuple[int, ...], ...]
    board: BoardVersion
    along: tuple[tuple[int, int], ...]
    """Contacts side by side in a row."""

    def neighbours(self, contact: int) -> list[int]:
        return [b if a == contact else a for a, b in self.along if contact in (a, b)]


def _lines(name: str, rows: tuple[str, ...]) -> list[Line]:
    lines: list[Line] = []
    for row, words in enumerate(rows):
        waiting: dict[str, str] = {}
        for place, word in enumerate(words.split()):
            code, _, chip = word.partition(".")
            role = CODES[code]
            number = f"{'AB'[row]}{place + 1}" if name == "usb_c" else str(place * len(rows) + row + 1)
            pair = ""
            if role in PAIRED:
                pair = waiting.pop(role, "")
                if not pair:
                    pair = waiting[role] = f"{role}-{number}"
            net = "GND" if role == "ground" else RAIL_NETS[role][0] if role in RAIL_NETS else f"N{number}"
            if role in RAIL_NETS:
                chip = f"rail-{net}"
            lines.append(Line(number, role, chip or FIRST_CHIP, net, pair, row, place))
    return lines


def _contact(line: Line, lines: list[Line]) -> Contact:
    role: Any = line.role
    path: tuple[PathElement, ...] = ()
    if line.role.endswith("coupled"):
        path = (SeriesPart(part=f"C{line.number}", blocks_dc=True),)
    elif line.conducts and HEALTHY[line.role].series_ohm:
        path = (SeriesPart(part=f"R{line.number}", ohm=HEALTHY[line.role].series_ohm),)
    partner = next((one.number for one in lines if line.pair and one.pair == line.pair and one != line), None)
    rail = RAIL_NETS.get(line.role)
    signal = line.conducts and rail is None
    return Contact(
        number=line.number, name=f"{line.role}_{line.number}", role=role,
        net=None if line.role == "unconnected" else line.net, pair_with=partner, path=path,
        working_mv=rail[2] if rail else 1800 if signal else None,
        limit_mv=2400 if signal else None, sourced_by="board" if rail else None,
        leads_to=line.chip if signal or line.role.endswith("coupled") else None,
    )  # fmt: skip


def _plan(name: str, kind: Any, pitch_mm: float, rows: tuple[str, ...]) -> SocketPlan:
    lines = _lines(name, rows)
    contacts = tuple(_contact(line, lines) for line in lines)
    by_row = tuple(tuple(i for i, line in enumerate(lines) if line.row == row) for row in range(len(rows)))
    chips = sorted({line.chip for line in lines if line.chip.startswith("U")})
    parts = [Part(ref=chip, kind="chip") for chip in chips]
    for contact in contacts:
        for element in contact.path:
            if isinstance(element, SeriesPart):
                parts.append(Part(ref=element.part, kind="capacitor" if element.blocks_dc else "resistor"))
    nets: list[Net] = [Net(name="GND", rail_kind="ground")]
    for role, (net, rail_kind, working_mv) in RAIL_NETS.items():
        if any(line.role == role for line in lines):
            kind_of_rail: Any = rail_kind
            nets.append(Net(name=net, rail_kind=kind_of_rail, working_mv=working_mv))
    socket = Socket(
        ref="J1", kind=kind, pitch_mm=pitch_mm, contacts=contacts,
        rows=tuple(
            Row(name=f"row {n + 1}", contacts=tuple(lines[i].number for i in row)) for n, row in enumerate(by_row)
        ),
    )  # fmt: skip
    board = BoardVersion(
        id=f"board-{name}", device="a device", board=name, sockets=(socket,), parts=tuple(parts), nets=tuple(nets)
    )
    along = tuple(pair for row in by_row for pair in pairwise(row))
    return SocketPlan(name, tuple(lines), by_row, board, along)


@cache
def plans() -> tuple[SocketPlan, ...]:
    """The five, in the order jobs go round them."""
    return (
        _plan("usb_c", "usb_c", 0.5, USB_C),
        _plan("hdmi_a", "hdmi", 0.5, HDMI_A),
        _plan("camera_22", "zif", 0.5, CAMERA_22),
        _plan("panel_40", "micro_coax", 0.5, PANEL_40),
        _plan("mezzanine_60", "mezzanine", 0.4, MEZZANINE_60),
    )
