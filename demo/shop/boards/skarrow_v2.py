"""Skarrow V2, an inspection camera (invented): processor board SV2 rev A, camera socket J2.

A ZIF for a flat cable, 22 contacts in one row, 0.5 mm. The lanes come from the camera and go straight
into the processor; the ring lamp is fed with 5 V.
"""

from demo.shop.boards.parts import (
    CAMERA_LANE,
    CONTROL_1V8_BOARD,
    GROUND,
    IO_1V8_BOTH,
    IO_RAIL_1V8,
    PWM_1V8,
    RAIL_5V,
    STRAP,
    Line,
    contact,
    row,
)
from shared_models.board import BoardVersion, ChipPin, Contact, Net, Part, Pull, SeriesPart, Socket

SENSOR_2V8 = Line("panel_supply", 2800, 3600, "board")


def _ground(number: int) -> Contact:
    return contact(number, "GND", GROUND)


def _lane(number: int, name: str, pair_with: int) -> Contact:
    path = (ChipPin(part="U1", pin=name),)
    return contact(number, name, CAMERA_LANE, leads_to="U1", pair_with=pair_with, path=path)


def _line(number: int, name: str, line: Line, resistor: str | None = None, ohm: float | None = None) -> Contact:
    series = () if resistor is None else (SeriesPart(part=resistor, ohm=ohm),)
    return contact(number, name, line, leads_to="U1", path=(*series, ChipPin(part="U1", pin=name)))


def _supply(number: int, name: str, line: Line, switch: str) -> Contact:
    return contact(number, name, line, leads_to=switch, path=(ChipPin(part=switch, pin="OUT"),))


CONTACTS = (
    _ground(1),
    _lane(2, "CKN", 3),
    _lane(3, "CKP", 2),
    _ground(4),
    _lane(5, "D0N", 6),
    _lane(6, "D0P", 5),
    _ground(7),
    _lane(8, "D1N", 9),
    _lane(9, "D1P", 8),
    _ground(10),
    _line(11, "SCL", IO_1V8_BOTH, "R31", 22),
    _line(12, "SDA", IO_1V8_BOTH, "R32", 22),
    _line(13, "MCLK", CONTROL_1V8_BOARD, "R33", 33),
    _line(14, "CAM_RST", CONTROL_1V8_BOARD),
    _ground(15),
    _supply(16, "1V8C", IO_RAIL_1V8, "U6"),
    _supply(17, "2V8A", SENSOR_2V8, "U7"),
    _supply(18, "5V_LAMP", RAIL_5V, "U8"),
    _supply(19, "5V_LAMP", RAIL_5V, "U8"),
    _line(20, "LAMP_PWM", PWM_1V8),
    contact(21, "ID", STRAP, path=(Pull(ohm=10_000, to_net="GND", part="R34"),)),
    _ground(22),
)

J2 = Socket(
    ref="J2",
    name="camera",
    kind="zif",
    pitch_mm=0.5,
    rows=(row("row", range(1, 23)),),
    contacts=CONTACTS,
)

PARTS = (
    Part(ref="U1", kind="chip", value_text="processor", guards_data=True),
    Part(ref="U2", kind="storage", value_text="soldered storage", holds_data=True),
    Part(ref="U6", kind="switch", value_text="1.8 V of the camera"),
    Part(ref="U7", kind="switch", value_text="2.8 V of the camera"),
    Part(ref="U8", kind="switch", value_text="5 V of the ring lamp"),
    Part(ref="R31", kind="resistor", value_text="22 ohm"),
    Part(ref="R32", kind="resistor", value_text="22 ohm"),
    Part(ref="R33", kind="resistor", value_text="33 ohm"),
    Part(ref="R34", kind="resistor", value_text="10 kohm"),
    Part(ref="C3", kind="capacitor", value_text="47 uF, main rail"),
)

NETS = (
    Net(name="GND", rail_kind="ground", working_mv=0),
    Net(
        name="VCELL", rail_kind="main", working_mv=4200, stores_charge=True, proof_at="C3",
        stored_uf=44, bleed_ohm=1e6, source_ma=2500,  # invented: two capacitors, the gauge's divider, the cell's fuse
    ),
    Net(name="1V8C", rail_kind="io", working_mv=1800, source_ma=300),  # invented limits of the small supplies
    Net(name="2V8A", rail_kind="panel", working_mv=2800, source_ma=150),
    Net(name="5V_LAMP", rail_kind="standby", working_mv=5000, source_ma=400),
)

V2 = BoardVersion(
    id="skarrow-v2-sv2-a",
    device="Skarrow V2 inspection camera",
    board="SV2 processor board",
    revision="A",
    sockets=(J2,),
    parts=PARTS,
    nets=NETS,
    made_at_ms=1_735_898_400_000,
    made_by="Tomke",
    note="Invented. The cable's contacts look at the board; a cable the wrong way up meets nothing.",
)
