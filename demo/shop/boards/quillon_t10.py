"""Quillon T10, a rugged tablet (invented): main board QT10 rev C, display socket J7.

J7 is an open-ended header: nothing at its ends stops a plug that sits one place off, and one place
is two contact numbers, since 1 lies opposite 2. LED+ comes from the boost U31, fed through F3; with
F3 open the contact still sees the boost's own switch, which is why the path begins with a clamp.
The touch lines end in the processor U1, which seals what lies in the storage U3.
"""

from demo.shop.boards.parts import (
    CONTROL_1V8_BOARD,
    CONTROL_1V8_BOTH,
    GROUND,
    IO_1V8_BOTH,
    IO_RAIL_1V8,
    LANE,
    LED_SINK,
    PANEL_3V3,
    PWM_1V8,
    STRAP,
    Line,
    contact,
    row,
)
from shared_models.board import (
    BoardVersion,
    ChipPin,
    Clamp,
    Contact,
    Net,
    Part,
    Pull,
    SeriesPart,
    ShuntPart,
    Socket,
)

LED_PLUS_28V = Line("led_plus", 28_000, 50_000, "board")  # 28 V lit, ten LEDs; U31 and C88 are 50 V parts

LED_PATH = (
    ShuntPart(part="C88"),
    Clamp(part="U31"),
    SeriesPart(part="F3", ohm=0.2, is_fuse=True),
    ChipPin(part="U31", pin="VOUT"),
)


def _ground(number: int) -> Contact:
    return contact(number, "GND", GROUND)


def _lane(number: int, name: str, pair_with: int) -> Contact:
    return contact(number, name, LANE, leads_to="U1", pair_with=pair_with, path=(ChipPin(part="U1", pin=name),))


def _processor(number: int, name: str, line: Line, series: str | None = None, ohm: float | None = None) -> Contact:
    path = () if series is None else (SeriesPart(part=series, ohm=ohm),)
    return contact(number, name, line, leads_to="U1", path=(*path, ChipPin(part="U1", pin=name)))


def _panel_supply(number: int) -> Contact:
    return contact(number, "3V3D", PANEL_3V3, leads_to="U17", path=(ChipPin(part="U17", pin="OUT"),))


def _led_plus(number: int) -> Contact:
    return contact(number, "LED_A", LED_PLUS_28V, leads_to="U31", path=LED_PATH)


def _led_minus(number: int, name: str) -> Contact:
    return contact(number, name, LED_SINK, leads_to="U31", path=(ChipPin(part="U31", pin=name),))


CONTACTS = (
    _ground(1),
    _ground(2),
    _lane(3, "D0P", 5),
    _panel_supply(4),
    _lane(5, "D0N", 3),
    _panel_supply(6),
    _ground(7),
    contact(8, "1V8", IO_RAIL_1V8, leads_to="U16", path=(ChipPin(part="U16", pin="OUT"),)),
    _lane(9, "D1P", 11),
    _ground(10),
    _lane(11, "D1N", 9),
    _processor(12, "RST", CONTROL_1V8_BOARD),
    _ground(13),
    _processor(14, "TE", CONTROL_1V8_BOTH, "R213", 33),
    _lane(15, "CKP", 17),
    contact(16, "ID0", STRAP, path=(Pull(ohm=10_000, to_net="GND", part="R215"),)),
    _lane(17, "CKN", 15),
    _ground(18),
    _ground(19),
    _processor(20, "SCL", IO_1V8_BOTH, "R210", 22),
    _lane(21, "D2P", 23),
    _processor(22, "SDA", IO_1V8_BOTH, "R211", 22),
    _lane(23, "D2N", 21),
    _processor(24, "T_RST", CONTROL_1V8_BOARD),
    _ground(25),
    contact(26, "PWM", PWM_1V8, leads_to="U31", path=(ChipPin(part="U31", pin="PWM"),)),
    _lane(27, "D3P", 29),
    _processor(28, "T_INT", CONTROL_1V8_BOTH, "R214", 33),
    _lane(29, "D3N", 27),
    _led_plus(30),
    _ground(31),
    _led_plus(32),
    _led_minus(33, "LED_K2"),
    _led_minus(34, "LED_K1"),
)

J7 = Socket(
    ref="J7",
    name="display and touch",
    kind="open_header",
    pitch_mm=0.5,
    rows=(row("edge row", range(1, 35, 2)), row("inner row", range(2, 35, 2))),
    contacts=CONTACTS,
    module_joins=(("30", "32"), ("4", "6")),
)

PARTS = (
    Part(ref="U1", kind="chip", value_text="processor; bank 4 takes the touch lines", guards_data=True),
    Part(ref="U3", kind="storage", value_text="soldered storage, sealed by U1", holds_data=True),
    Part(ref="U16", kind="chip", value_text="1.8 V supply"),
    Part(ref="U17", kind="switch", value_text="load switch of 3V3D"),
    Part(ref="U31", kind="chip", value_text="LED boost and sinks"),
    Part(ref="F3", kind="fuse", value_text="1 A, 0.2 ohm"),
    Part(ref="R210", kind="resistor", value_text="22 ohm"),
    Part(ref="R211", kind="resistor", value_text="22 ohm"),
    Part(ref="R213", kind="resistor", value_text="33 ohm"),
    Part(ref="R214", kind="resistor", value_text="33 ohm"),
    Part(ref="R215", kind="resistor", value_text="10 kohm"),
    Part(ref="C12", kind="capacitor", value_text="100 uF, main rail"),
    Part(ref="C88", kind="capacitor", value_text="4.7 uF 50 V, LED+"),
)

NETS = (
    Net(name="GND", rail_kind="ground", working_mv=0),
    Net(
        name="VMAIN",
        rail_kind="main",
        working_mv=4200,
        stores_charge=True,
        proof_at="C12",
        stored_uf=100,
        source_ma=6000,
    ),
    Net(name="3V3D", rail_kind="panel", working_mv=3300),
    Net(name="1V8", rail_kind="io", working_mv=1800),
    Net(
        name="LED_A",
        rail_kind="backlight",
        working_mv=28_000,
        stores_charge=True,
        proof_at="C88",
        stored_uf=4.7,
        bleed_ohm=5.53e6,  # the divider of U31's voltage sense, 5.1 Mohm and 430 kohm
        led_count=10,
        source_ma=120,
    ),
)

T10 = BoardVersion(
    id="quillon-t10-qt10-c",
    device="Quillon T10 rugged tablet",
    board="QT10 main board",
    revision="C",
    sockets=(J7,),
    parts=PARTS,
    nets=NETS,
    made_at_ms=1_735_725_600_000,
    made_by="Ines",
    note="Invented. Edge row odd, towards the board edge; 1 opposite 2.",
)
