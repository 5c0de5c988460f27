"""From a contact to everything it leads to, on an invented board: each rule of tracing, and what is proposed of it."""

import msgspec
import pytest

from server.boards.door import OpenBoard
from server.boards.part_kinds import kind_of, ohms_in
from server.boards.rails import is_ground_name, is_rail_name, volts_in
from server.engine.door import form_opinion
from server.problems import Refusal
from shared_models.board import BoardVersion, ChipPin, Clamp, Contact, Feed, Pull, SeriesPart, ShuntPart, TestPoint
from shared_models.board_file import PinRow
from shared_models.sheet import BenchSheet
from tests.support.invented_board import PARTS, Pad, Part, ipc356, kicad, two


def contacts(parts: tuple[Part, ...] = PARTS, socket: str = "J1") -> dict[str, Contact]:
    traced = OpenBoard.of(kicad(parts=parts).encode()).traced(socket)
    return {one.number: one for one in traced.board.sockets[0].contacts}


J1 = contacts()


def test_the_lights_feed_leads_back_to_its_boost_and_names_the_places_to_touch() -> None:
    feed = J1["2"]
    assert feed.fed_by == Feed(diode="D1", coil="L1", chip="U2", pin="1", net="SW")
    assert feed.path == (TestPoint(name="TP1", side="bottom"), ShuntPart(part="C1", to_net="GND"), ChipPin(part="U2",
        pin="1"))
    # the divider that measures the feed is no way on
    assert feed.also == (SeriesPart(part="R1", ohm=180_000.0, far_net="FEEDBACK"),)
    assert (feed.role, feed.sourced_by) == ("led_plus", "board")


def test_a_lane_is_followed_through_its_capacitor_since_neither_side_is_a_rail() -> None:
    assert J1["5"].path == (SeriesPart(part="C2", blocks_dc=True, far_net="TX0_CHIP_P"), ChipPin(part="U1", pin="1"))
    assert (J1["5"].role, J1["5"].pair_with, J1["6"].pair_with) == ("lane_coupled", "6", "5")


def test_a_pull_resistor_is_named_and_not_followed_and_the_series_resistor_is() -> None:
    assert J1["8"].path == (
        Pull(part="R3", ohm=100_000, to_net="GND"), SeriesPart(part="R2", ohm=1000, far_net="HPD_CHIP"),
        ChipPin(part="U1", pin="3"),
    )
    assert (J1["8"].role, J1["8"].sourced_by) == ("hot_plug_detect", "module")


def test_a_bead_feeds_from_a_rail_and_the_way_ends_there() -> None:
    assert J1["9"].path == (ShuntPart(part="C4", to_net="GND"), SeriesPart(part="FB1", far_net="+3V3"))
    assert (J1["9"].role, J1["9"].working_mv, J1["9"].leads_to) == ("panel_supply", 3300.0, None)


@pytest.mark.parametrize(("number", "far_net", "pin"), [("10", "USB_P", "4"), ("11", "USB_N", "5")])
def test_each_winding_of_a_choke_leads_to_its_own_half(number: str, far_net: str, pin: str) -> None:
    # the choke's pins are 1-2 and 4-3; a wrong pairing would lead D+ to D-
    assert J1[number].path == (Clamp(part="D2", to_net="GND"), SeriesPart(part="L2", far_net=far_net),
        ChipPin(part="U1", pin=pin))
    assert J1[number].role == "usb_pair"


def choke(*pads: tuple[str, str]) -> Part:
    return Part("L2", "90R@100MHz", "Filter:choke", 9, 9, tuple(Pad(number, net, float(at)) for at, (number,
        net) in enumerate(pads)))


def test_a_choke_that_is_numbered_the_other_way_round_pairs_by_its_nets() -> None:
    other = choke(("1", "/USB_CON_P"), ("4", "/USB_P"), ("2", "/USB_CON_N"), ("3", "/USB_N"))
    found = contacts((*(part for part in PARTS if part.ref != "L2"), other))
    assert [one.far_net for one in found["10"].path if isinstance(one, SeriesPart)] == ["USB_P"]


def test_an_array_pairs_the_pads_that_face_each_other() -> None:
    assert J1["13"].path == (
        SeriesPart(part="RN1", ohm=33.0, far_net="SDA_CHIP"), Pull(part="R5", ohm=2200, to_net="+1V8"),
        ChipPin(part="U1", pin="6"),
    )


def test_an_array_whose_pads_carry_their_pairs_name_is_paired_by_it() -> None:
    named = Part("RM1", "RA_100k", "R_MATRIX_4", 9, 9, (Pad("1.1", "/BUS/SDA"), Pad("2.1", "/X"), Pad("1.2",
        "/SDA_CHIP"), Pad("2.2", "/Y")))
    found = contacts((*(part for part in PARTS if part.ref != "RN1"), named))
    assert [one.far_net for one in found["13"].path if isinstance(one, SeriesPart)] == ["SDA_CHIP"]


def test_a_part_that_is_not_fitted_is_an_open_circuit_and_is_named() -> None:
    assert (J1["14"].role, J1["14"].path, J1["14"].net) == ("unconnected", (), None)
    assert J1["14"].also == (ShuntPart(part="R6", to_net="AUX_CHIP"),)
    board = OpenBoard.of(kicad().encode()).traced("J1").board
    assert {part.ref: part.fitted for part in board.parts}["R6"] is False


def test_resistors_alone_are_a_strap() -> None:
    assert (J1["12"].role, J1["12"].path) == ("strap", (Pull(part="R4", ohm=10_000, to_net="GND"),))


def test_pins_on_one_net_that_meet_no_other_part_are_not_connected_whatever_the_net_is_called() -> None:
    socket = Part("J1", "", "Conn:ZIF", 1, 1, (
        Pad("A4", "unconnected-(J1-PadA4)"), Pad("B9", "unconnected-(J1-PadA4)", 1.0), Pad("A1", "GND", 2.0),
    ))
    found = contacts((*(part for part in PARTS if part.ref != "J1"), socket))
    assert [found[number].role for number in ("A4", "B9", "A1")] == ["unconnected", "unconnected", "ground"]


def test_a_shared_line_is_said_to_go_to_its_chip_and_not_to_the_next_socket() -> None:
    other = Part("J2", "KEYBOARD", "Connector_FFC:ZIF_1x2", 20, 30, (Pad("1", "/BUS/SDA"), Pad("2", "GND", 0.5)))
    assert contacts((*PARTS, other))["13"].role_why == "SDA, to U1.6"


def test_nothing_is_followed_through_a_rail() -> None:
    # R7 lies between +1V8 and a line of its own: a contact on +1V8 does not lead there
    extra = (two("R7", "0R", "R:R_0402", "+1V8", "/ELSEWHERE", 70, 20), two("J2", "", "Conn:ZIF", "+1V8", "GND", 80,
        20))
    bigger = tuple(two(f"C{at}", "100nF", "C:C_0402", "+1V8", "GND", 90, at) for at in range(100, 130))
    found = contacts((*PARTS, *extra, *bigger), "J2")
    assert found["1"].path == () and found["1"].role == "io_rail"


# ---- rails, kinds, values ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["3V3", "+5V", "+3.3V", "5V_R", "VDC18V", "USB5V", "LCD_VCC", "VBAT", "1.1V_CPUX",
    "+V1P0A", "SD_PWR", "AVDD"])
def test_a_supply_is_known_by_its_name(name: str) -> None:
    assert is_rail_name(name)


@pytest.mark.parametrize("name", ["SPI-0_MOSI_3V3", "UART-1_RTS_3V3", "VDD_EN", "30V_GATE", "LCD_RESET", "HDMI_TX2_DP",
    "D5", "T_BAT"])
def test_a_signal_is_no_supply_whatever_voltage_stands_behind_it(name: str) -> None:
    assert not is_rail_name(name) and not is_ground_name(name)


@pytest.mark.parametrize(("name", "volts"), [
    ("3V3", 3.3), ("+5V", 5.0), ("/PWR/VDC18V", 18.0), ("D5_0V_HDMI", 5.0), ("VCC_UNCORE_V1P35", 1.35), ("1.8V", 1.8),
    ("SPI-0_MOSI_3V3", 3.3), ("GND", None), ("HDMI_TX2_DP", None), ("VBAT", None), ("GPIO5", None),
])
def test_a_voltage_is_read_out_of_a_name_or_none_is(name: str, volts: float | None) -> None:
    assert volts_in(name) == volts


@pytest.mark.parametrize(("value", "ohm"), [
    ("33R", 33), ("4k7", 4700), ("0R", 0), ("5,1K", 5100), ("100R/1%", 100), ("0.01", 0.01), ("16m", 0.016),
    ("90.9K 1%", 90_900),
    ("12K1%", 12_000), ("(na)100K", 100_000), ("1M", 1_000_000), ("10", 10), ("100nF", None), ("22uH", None),
    ("600R@100MHz", None),
    ("12MHz", None), ("", None), ("BLUE", None),
])
def test_a_value_is_read_as_ohms_or_not_at_all(value: str, ohm: float | None) -> None:
    assert ohms_in(value) == (None if ohm is None else pytest.approx(ohm))


@pytest.mark.parametrize(("ref", "value", "footprint", "pins", "kind"), [
    ("Q1", "12MHz-20pf", "Crystal-FP:TSX-3.2x2.5mm", 4, "crystal"), ("L4", "FB0603/600R/200mA", "RLC:L_0603", 2,
    "ferrite"),
    ("L13", "3.3nH", "RLC:R_0402", 2, "coil"), ("C85", "10uF", "RLC:R_0603", 2, "capacitor"), ("R3", "16m",
    "Lib:0805_R", 2, "resistor"),
    ("U4", "CLAMP4", "Devices:SLP10", 10, "clamp"), ("D10", "", "", 4, "clamp"), ("+3.3V1", "TESTPAD",
    "Other:TESTPAD_40", 1, "test_point"),
    ("U6", "PROGRAM", "Package_DIP:DIP-8_Socket", 8, "chip"), ("P2", "SUPP28", "Package_DIP:DIP-28_Socket", 28,
    "connector"),
    ("J1", "DB9", "Connector_Dsub:DSUB-9_MountingHoles", 10, "connector"), ("H3", "", "", 1, "hole"), ("RM7", "RA1206",
    "R_MATRIX_4", 8, "array"),
    ("U11", "", "footprints:MOLEX_67910", 54, "connector"), ("L3", "", "", 4, "choke"), ("XY9", "", "", 6, "chip"),
    ("XY9", "", "", 2, "other"),
])
def test_a_part_is_known_by_footprint_value_and_pins_before_its_letters(ref: str, value: str, footprint: str,
        pins: int, kind: str) -> None:
    assert kind_of(ref, value, footprint, pins) == kind


# ---- the board that comes out ---------------------------------------------------------------------------------


def test_all_of_it_is_marked_as_proposed_and_says_why() -> None:
    for contact in J1.values():
        assert contact.role_origin == "proposed" and contact.role_why
        assert ("working_mv" in contact.proposed) == (contact.working_mv is not None)
        assert ("sourced_by" in contact.proposed) == (contact.sourced_by is not None)
        assert ("pair_with" in contact.proposed) == (contact.pair_with is not None)
    nets = OpenBoard.of(kicad().encode()).traced("J1").board.nets
    assert all(net.proposed == (net.rail_kind is not None) for net in nets)
    assert {net.name: net.proof_at for net in nets}["LED_FEED"] == "TP1"


@pytest.mark.parametrize("raw", [kicad().encode(), ipc356().encode()])
def test_the_engine_takes_the_board_as_it_is(raw: bytes) -> None:
    board = OpenBoard.of(raw).traced("J1").board
    assert msgspec.json.decode(msgspec.json.encode(board), type=BoardVersion) == board
    opinion = form_opinion(BenchSheet(sheet_id="s", asked_at_ms=1, board=board, socket="J1", mode="sweep"))
    assert [one.contact for one in opinion.contacts] == [one.number for one in board.sockets[0].contacts]


def test_the_shells_pads_are_no_contacts_and_rows_lie_as_the_pads_do() -> None:
    traced = OpenBoard.of(kicad().encode()).traced("J1")
    socket = traced.board.sockets[0]
    assert traced.left_out == ("MP",) and socket.pitch_mm == 0.5
    assert [row.contacts for row in socket.rows] == [tuple(str(at) for at in range(1, 15))]
    assert J1["1"].neighbours == ("2",) and set(J1["5"].neighbours) == {"4", "6"}


def test_neighbours_are_found_across_rows_and_a_keys_gap_is_left_out() -> None:
    pads = tuple(Pad(number, "/A", x, y) for number, x, y in (
        ("1", 0.0, 0.0), ("3", 0.5, 0.0), ("5", 2.0, 0.0), ("2", 0.0, 0.6), ("4", 0.5, 0.6), ("6", 2.0, 0.6),
    ))
    traced = OpenBoard.of(kicad(parts=(Part("J5", "", "Conn:Mezz", 9, 9, pads),)).encode()).traced("J5")
    rows = traced.board.sockets[0].rows
    assert [(row.contacts, row.left_out) for row in rows] == [(("1", "3", "5"), (3, 4)), (("2", "4", "6"), (3, 4))]
    beside = {one.number: set(one.neighbours) for one in traced.board.sockets[0].contacts}
    assert beside["1"] == {"3", "2", "4"} and beside["5"] == {"6"}


def test_from_below_left_and_right_change_places() -> None:
    pads = tuple(Pad(str(at), "/A", 0.5 * at) for at in (1, 2, 3))
    traced = OpenBoard.of(kicad(parts=(Part("J5", "", "Conn:ZIF", 9, 9, pads, bottom=True),)).encode()).traced("J5")
    assert traced.board.sockets[0].rows[0].contacts == ("3", "2", "1")


def test_the_drawing_holds_the_pads_of_the_ways_and_says_which_nets_it_cut() -> None:
    many = tuple(two(f"C{at}", "100nF", "C:C_0402", "+3V3", "GND", 90 + at, 90) for at in range(100, 160))
    drawing = OpenBoard.of(kicad(parts=(*PARTS, *many)).encode()).traced("J1").board.drawing
    assert drawing is not None and set(drawing.nets_cut) == {"GND", "+3V3"}
    assert {pad.part for pad in drawing.pads if pad.net == "TX0_P"} == {"J1", "C2"}
    under = {(pad.part, pad.pin): pad.reach for pad in drawing.pads}
    assert under["U1", "17"] == "under_part" and under["U1", "1"] == "free"
    assert len(drawing.outline) == 5


def test_a_list_without_places_has_no_drawing_and_invents_none() -> None:
    from server.boards.pin_list import columns_from
    from tests.support.invented_board import pin_list

    board = OpenBoard.of(pin_list().encode(), columns_from("ref=Part,pin=Pin,net=Net")).traced("J1").board
    assert board.drawing is None and board.sockets[0].contacts[0].x_mm is None
    assert all(part.value_text == "" for part in board.parts)


def test_names_that_are_no_ids_become_ones_and_the_board_is_still_taken() -> None:
    odd = two("+3.3V (A)", "10k", "R:R_0402", "/HPD", "/X", 1, 1)
    board = OpenBoard.of(kicad(parts=(*PARTS, odd)).encode()).traced("J1").board
    assert any(part.ref == "x-3.3V--A-" for part in board.parts)


@pytest.mark.parametrize(("ref", "status", "code"), [("J99", 404, "no_such_socket"), ("H1", 422, "no_contacts")])
def test_a_socket_that_cannot_be_traced_is_told(ref: str, status: int, code: str) -> None:
    with pytest.raises(Refusal) as told:
        OpenBoard.of(kicad().encode()).traced(ref)
    assert (told.value.status, told.value.problem.code, told.value.problem.example) == (status, code, "J1")


def test_the_pin_table_stands_as_in_the_file_and_in_the_order_people_count() -> None:
    socket = Part("J8", "PLUG", "Connector_USB:USB_C", 20, 30, (
        Pad("A10", "/A"), Pad("A2", "/B", 0.5, 0.0, "TX"), Pad("0", "GND", 1.0), Pad("SH", "GND", 1.5),
        Pad("S1", "/C", 2.0), Pad("B1", None, 2.5),
    ))
    more = (two("R1", "1k", "R:R_0402", "/B", "GND", 1, 1), two("R2", "1k", "R:R_0402", "/B", "/C", 2, 1))
    traced = OpenBoard.of(kicad(parts=(socket, *more)).encode()).traced("J8")
    rows = {row.pin: row for row in traced.pins}
    assert list(rows) == ["0", "A2", "A10", "B1", "S1", "SH"]
    assert rows["A2"] == PinRow(pin="A2", function="TX", net="/B", pins_on_net=3, others=("R1.1", "R2.1"))
    assert (rows["B1"].net, rows["B1"].pins_on_net, rows["A10"].others) == (None, 0, ())
    # the shell's pads are ground; a contact that is called like one and carries a signal is a contact
    assert traced.left_out == ("0", "SH")
    assert {one.number for one in traced.board.sockets[0].contacts} == {"A2", "A10", "B1", "S1"}
