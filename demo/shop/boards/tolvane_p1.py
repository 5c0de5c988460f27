"""Tolvane P1, a handheld terminal (invented): charging board TP1 rev B, USB-C receptacle J1.

The two rows face each other, A1 opposite B12. A plug in such a receptacle cannot seat one contact off. What
is short here is usually VBUS, by its clamp D1; the fast lanes sit behind capacitors and read OL.
"""

from demo.shop.boards.parts import COUPLED_LANE, GROUND, NOT_CONNECTED, USB_PAIR, Line, contact, row
from shared_models.board import BoardVersion, ChipPin, Contact, Net, Part, SeriesPart, ShuntPart, Socket

VBUS_20V = Line("main_rail", 20_000, 24_000, "module")
CC_LINE = Line("control", 3300, 6000, "both")  # controllers usually stand 6 V there


def _ground(number: str) -> Contact:
    return contact(number, "GND", GROUND)


def _vbus(number: str) -> Contact:
    path = (ShuntPart(part="D1"), SeriesPart(part="F1", ohm=0.02, is_fuse=True), ChipPin(part="U2", pin="VBUS"))
    return contact(number, "VBUS", VBUS_20V, leads_to="U2", path=path)


def _cc(number: str, name: str) -> Contact:
    return contact(number, name, CC_LINE, leads_to="U2", path=(ChipPin(part="U2", pin=name),))


def _usb(number: str, name: str, pair_with: str, resistor: str) -> Contact:
    path = (SeriesPart(part=resistor, ohm=22), ChipPin(part="U4", pin=name))
    return contact(number, name, USB_PAIR, leads_to="U4", pair_with=pair_with, path=path)


def _lane(number: str, name: str, pair_with: str, capacitor: str) -> Contact:
    path = (SeriesPart(part=capacitor, blocks_dc=True), ChipPin(part="U4", pin=name))
    return contact(number, name, COUPLED_LANE, leads_to="U4", pair_with=pair_with, path=path)


CONTACTS = (
    _ground("A1"),
    _lane("A2", "TX1P", "A3", "C2"),
    _lane("A3", "TX1N", "A2", "C3"),
    _vbus("A4"),
    _cc("A5", "CC1"),
    _usb("A6", "DP", "A7", "R6"),
    _usb("A7", "DN", "A6", "R7"),
    contact("A8", "SBU1", NOT_CONNECTED),
    _vbus("A9"),
    _lane("A10", "RX2N", "A11", "C10"),
    _lane("A11", "RX2P", "A10", "C11"),
    _ground("A12"),
    _ground("B1"),
    _lane("B2", "TX2P", "B3", "C22"),
    _lane("B3", "TX2N", "B2", "C23"),
    _vbus("B4"),
    _cc("B5", "CC2"),
    _usb("B6", "DP", "B7", "R6"),
    _usb("B7", "DN", "B6", "R7"),
    contact("B8", "SBU2", NOT_CONNECTED),
    _vbus("B9"),
    _lane("B10", "RX1N", "B11", "C30"),
    _lane("B11", "RX1P", "B10", "C31"),
    _ground("B12"),
)

J1 = Socket(
    ref="J1",
    name="charging and data",
    kind="usb_c",
    pitch_mm=0.5,
    rows=(
        row("row A", tuple(f"A{place}" for place in range(1, 13))),
        row("row B", tuple(f"B{place}" for place in range(12, 0, -1))),
    ),
    contacts=CONTACTS,
)

PARTS = (
    Part(ref="U2", kind="chip", value_text="charging controller"),
    Part(ref="U4", kind="chip", value_text="processor, over the board cable", guards_data=True),
    Part(ref="D1", kind="diode", value_text="24 V clamp of VBUS"),
    Part(ref="F1", kind="fuse", value_text="3 A, 0.02 ohm"),
    Part(ref="R6", kind="resistor", value_text="22 ohm"),
    Part(ref="R7", kind="resistor", value_text="22 ohm"),
    *(
        Part(ref=f"C{number}", kind="capacitor", value_text="220 nF")
        for number in (2, 3, 10, 11, 22, 23, 30, 31)
    ),
    Part(ref="C60", kind="capacitor", value_text="22 uF 25 V, VBUS"),
)

NETS = (
    Net(name="GND", rail_kind="ground", working_mv=0),
    Net(
        name="VBUS", rail_kind="main", working_mv=20_000, stores_charge=True, proof_at="C60",
        stored_uf=10, bleed_ohm=47_000, source_ma=3250,  # invented: bulk capacitor, divider, charger's limit
    ),
)

P1 = BoardVersion(
    id="tolvane-p1-tp1-b",
    device="Tolvane P1 handheld terminal",
    board="TP1 charging board",
    revision="B",
    sockets=(J1,),
    parts=PARTS,
    nets=NETS,
    made_at_ms=1_736_071_200_000,
    made_by="Tomke",
    note="Invented; the receptacle's contacts are those of the published standard.",
)
