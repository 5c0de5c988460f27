"""Marlbeck S4, a bench spectrometer (invented): logic board MS4 rev D, power-card socket J3.

A mezzanine in two rows, A and B. The power card drives all rails; with the card off, the logic board's own
loads are seen: a core that reads 3 mV and a memory of little over 100 mV are healthy here.
"""

from demo.shop.boards.parts import (
    BUS_3V3,
    CONTROL_3V3_BOARD,
    CONTROL_3V3_MODULE,
    GROUND,
    NOT_CONNECTED,
    STRAP,
    Line,
    contact,
    row,
)
from shared_models.board import BoardVersion, ChipPin, Contact, Net, Part, Pull, SeriesPart, Socket

CORE_1V0 = Line("core_rail", 1000, 1200, "module")
MEMORY_1V2 = Line("memory_rail", 1200, 1500, "module")
DIGITAL_3V3 = Line("io_rail", 3300, 4000, "module")
DIGITAL_1V8 = Line("io_rail", 1800, 2100, "module")
SUPPLY_5V = Line("rail_5v", 5000, 6000, "module")


def _ground(number: str) -> Contact:
    return contact(number, "GND", GROUND)


def _rail(number: str, name: str, line: Line, load: str) -> Contact:
    return contact(number, name, line, leads_to=load, path=(ChipPin(part=load, pin=name),))


def _line(number: str, name: str, line: Line, resistor: str | None = None, ohm: float | None = None) -> Contact:
    series = () if resistor is None else (SeriesPart(part=resistor, ohm=ohm),)
    return contact(number, name, line, leads_to="U5", path=(*series, ChipPin(part="U5", pin=name)))


CONTACTS = (
    _ground("A1"),
    _rail("A2", "VCORE", CORE_1V0, "U5"),
    _rail("A3", "VCORE", CORE_1V0, "U5"),
    _ground("A4"),
    _rail("A5", "VCORE", CORE_1V0, "U5"),
    _rail("A6", "VCORE", CORE_1V0, "U5"),
    _ground("A7"),
    _rail("A8", "VMEM", MEMORY_1V2, "U6"),
    _rail("A9", "VMEM", MEMORY_1V2, "U6"),
    _ground("A10"),
    _rail("A11", "3V3", DIGITAL_3V3, "U5"),
    _rail("A12", "3V3", DIGITAL_3V3, "U5"),
    _rail("A13", "1V8", DIGITAL_1V8, "U5"),
    _line("A14", "PG", CONTROL_3V3_MODULE),
    _ground("A15"),
    _ground("B1"),
    _rail("B2", "VCORE", CORE_1V0, "U5"),
    _rail("B3", "VCORE", CORE_1V0, "U5"),
    _ground("B4"),
    _rail("B5", "5V", SUPPLY_5V, "U9"),
    _rail("B6", "5V", SUPPLY_5V, "U9"),
    _ground("B7"),
    _rail("B8", "VMEM", MEMORY_1V2, "U6"),
    _line("B9", "SCL", BUS_3V3, "R61", 22),
    _line("B10", "SDA", BUS_3V3, "R62", 22),
    _line("B11", "ALERT", CONTROL_3V3_MODULE, "R63", 33),
    _line("B12", "EN", CONTROL_3V3_BOARD),
    contact("B13", "ID", STRAP, path=(Pull(ohm=10_000, to_net="GND", part="R64"),)),
    contact("B14", "NC", NOT_CONNECTED),
    _ground("B15"),
)

J3 = Socket(
    ref="J3",
    name="power card",
    kind="mezzanine",
    pitch_mm=0.5,
    rows=(
        row("row A", tuple(f"A{place}" for place in range(1, 16))),
        row("row B", tuple(f"B{place}" for place in range(1, 16))),
    ),
    contacts=CONTACTS,
)

PARTS = (
    Part(ref="U5", kind="chip", value_text="logic array, core 1.0 V"),
    Part(ref="U6", kind="chip", value_text="memory, 1.2 V"),
    Part(ref="U9", kind="chip", value_text="detector bias, from 5 V"),
    Part(ref="U12", kind="storage", value_text="calibration and results", holds_data=True),
    Part(ref="R61", kind="resistor", value_text="22 ohm"),
    Part(ref="R62", kind="resistor", value_text="22 ohm"),
    Part(ref="R63", kind="resistor", value_text="33 ohm"),
    Part(ref="R64", kind="resistor", value_text="10 kohm"),
    Part(ref="C40", kind="capacitor", value_text="220 uF, 5 V"),
)

NETS = (
    Net(name="GND", rail_kind="ground", working_mv=0),
    Net(
        name="5V", rail_kind="main", working_mv=5000, stores_charge=True, proof_at="C40",
        stored_uf=330, bleed_ohm=22_000, source_ma=3000,  # invented: bulk capacitors, a divider, the supply's limit
    ),
    Net(name="3V3", rail_kind="io", working_mv=3300),
    Net(name="1V8", rail_kind="io", working_mv=1800),
    Net(name="VMEM", rail_kind="memory", working_mv=1200),
    Net(name="VCORE", rail_kind="core", working_mv=1000),
)

S4 = BoardVersion(
    id="marlbeck-s4-ms4-d",
    device="Marlbeck S4 bench spectrometer",
    board="MS4 logic board",
    revision="D",
    sockets=(J3,),
    parts=PARTS,
    nets=NETS,
    made_at_ms=1_735_984_800_000,
    made_by="Tomke",
    note="Invented. Core rails are compared in ohms with the leads nulled.",
)
