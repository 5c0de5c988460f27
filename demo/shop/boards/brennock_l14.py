"""Brennock L14, a notebook (invented): main board BL14 rev 2, panel socket J501.

One row of 36 fine coaxial contacts. The picture's lanes and AUX sit behind capacitors, so a healthy one
reads OL and a meter cannot show an open there. The LED driver is on the panel and is fed with the main
rail through F7; contact 4 is an empty guard beside that feed.
"""

from demo.shop.boards.parts import (
    CONTROL_3V3_BOARD,
    COUPLED_AUX,
    COUPLED_LANE,
    GROUND,
    HOT_PLUG,
    NOT_CONNECTED,
    PANEL_3V3,
    PWM_3V3,
    RAIL_5V,
    USB_PAIR,
    Line,
    contact,
    row,
)
from shared_models.board import (
    BoardVersion,
    ChipPin,
    Contact,
    Net,
    Part,
    Pull,
    SeriesPart,
    ShuntPart,
    Socket,
    TestPoint,
)

LED_FEED_19V = Line("main_rail", 19_000, 28_000, "board")  # such drivers take 5 to 21 V and stand 24 to 28


def _ground(number: int) -> Contact:
    return contact(number, "GND", GROUND)


def _led_feed(number: int) -> Contact:
    path = (SeriesPart(part="F7", ohm=0.05, is_fuse=True), TestPoint(name="TP7", side="top"))
    return contact(number, "LED_FEED", LED_FEED_19V, path=path)


def _lane(number: int, name: str, pair_with: int, capacitor: str) -> Contact:
    path = (SeriesPart(part=capacitor, blocks_dc=True), ChipPin(part="U10", pin=name))
    return contact(number, name, COUPLED_LANE, leads_to="U10", pair_with=pair_with, path=path)


def _aux(number: int, name: str, pair_with: int, capacitor: str, pull: str, to_net: str) -> Contact:
    path = (
        Pull(ohm=100_000, to_net=to_net, part=pull),
        SeriesPart(part=capacitor, blocks_dc=True),
        ChipPin(part="U10", pin=name),
    )
    return contact(number, name, COUPLED_AUX, leads_to="U10", pair_with=pair_with, path=path)


def _panel_supply(number: int) -> Contact:
    return contact(number, "3V3P", PANEL_3V3, leads_to="U22", path=(ChipPin(part="U22", pin="OUT"),))


def _usb(number: int, name: str, pair_with: int, resistor: str) -> Contact:
    path = (SeriesPart(part=resistor, ohm=22), ChipPin(part="U10", pin=name))
    return contact(number, name, USB_PAIR, leads_to="U10", pair_with=pair_with, path=path)


CONTACTS = (
    _led_feed(1),
    _led_feed(2),
    _led_feed(3),
    contact(4, "NC", NOT_CONNECTED),
    contact(5, "BL_EN", CONTROL_3V3_BOARD, leads_to="U10", path=(ChipPin(part="U10", pin="BL_EN"),)),
    contact(
        6, "BL_PWM", PWM_3V3, leads_to="U10",
        path=(SeriesPart(part="R522", ohm=33), ShuntPart(part="D522"), ChipPin(part="U10", pin="BL_PWM")),
    ),
    _ground(7),
    _ground(8),
    _ground(9),
    contact(
        10, "HPD", HOT_PLUG, leads_to="U10", path=(SeriesPart(part="R520", ohm=1000), ChipPin(part="U10", pin="HPD")),
    ),
    _ground(11),
    _aux(12, "AUXN", 13, "C512", "R512", "3V3P"),
    _aux(13, "AUXP", 12, "C513", "R513", "GND"),
    _ground(14),
    _lane(15, "L0P", 16, "C515"),
    _lane(16, "L0N", 15, "C516"),
    _ground(17),
    _lane(18, "L1P", 19, "C518"),
    _lane(19, "L1N", 18, "C519"),
    _ground(20),
    _lane(21, "L2P", 22, "C521"),
    _lane(22, "L2N", 21, "C522"),
    _ground(23),
    _lane(24, "L3P", 25, "C524"),
    _lane(25, "L3N", 24, "C525"),
    _ground(26),
    _panel_supply(27),
    _panel_supply(28),
    _panel_supply(29),
    contact(30, "SELFTEST", NOT_CONNECTED),
    contact(31, "NC", NOT_CONNECTED),
    _ground(32),
    _usb(33, "USB_P", 34, "R533"),
    _usb(34, "USB_N", 33, "R534"),
    contact(35, "5V_CAM", RAIL_5V, leads_to="U23", path=(ChipPin(part="U23", pin="OUT"),)),
    _ground(36),
)

J501 = Socket(
    ref="J501",
    name="panel and camera",
    kind="micro_coax",
    pitch_mm=0.4,
    rows=(row("row", range(1, 37)),),
    contacts=CONTACTS,
)

PARTS = (
    Part(ref="U10", kind="chip", value_text="processor with graphics; holds the key of the drive", guards_data=True),
    Part(ref="U22", kind="switch", value_text="load switch of 3V3P"),
    Part(ref="U23", kind="switch", value_text="load switch of 5V_CAM"),
    Part(ref="M1", kind="storage", value_text="plug-in drive", holds_data=True),
    Part(ref="F7", kind="fuse", value_text="2 A, 0.05 ohm"),
    Part(ref="R520", kind="resistor", value_text="1 kohm"),
    Part(ref="R522", kind="resistor", value_text="33 ohm"),
    Part(ref="R512", kind="resistor", value_text="100 kohm"),
    Part(ref="R513", kind="resistor", value_text="100 kohm"),
    Part(ref="R533", kind="resistor", value_text="22 ohm"),
    Part(ref="R534", kind="resistor", value_text="22 ohm"),
    Part(ref="D522", kind="esd_array", value_text="clamp of BL_PWM"),
    *(
        Part(ref=f"C{number}", kind="capacitor", value_text="100 nF")
        for number in (512, 513, 515, 516, 518, 519, 521, 522, 524, 525)
    ),
    Part(ref="C7", kind="capacitor", value_text="47 uF 25 V, main rail"),
)

NETS = (
    Net(name="GND", rail_kind="ground", working_mv=0),
    Net(
        name="LED_FEED", rail_kind="main", working_mv=19_000, stores_charge=True, proof_at="C7",
        stored_uf=470, bleed_ohm=100_000, source_ma=3400,  # invented: bulk capacitors, a divider, the adapter's limit
    ),
    Net(name="3V3P", rail_kind="panel", working_mv=3300, source_ma=1500),  # invented limits of both switches
    Net(name="5V_CAM", rail_kind="standby", working_mv=5000, source_ma=500),
)

L14 = BoardVersion(
    id="brennock-l14-bl14-2",
    device="Brennock L14 notebook",
    board="BL14 main board",
    revision="2",
    sockets=(J501,),
    parts=PARTS,
    nets=NETS,
    made_at_ms=1_735_812_000_000,
    made_by="Ines",
    note="Invented. No healthy board of it has been read yet.",
)
