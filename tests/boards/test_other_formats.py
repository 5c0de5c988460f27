"""IPC-D-356, IPC-2581 and pin lists: the same design as the KiCad file, and each pitfall by itself."""

import pytest

from server.boards.door import OpenBoard
from server.boards.ipc356 import read_ipc356
from server.boards.ipc2581 import read_ipc2581
from server.boards.kicad import read_kicad
from server.boards.pin_list import PinColumnNames, columns_from, read_pin_list
from server.problems import Refusal
from tests.support.invented_board import PARTS, Pad, Part, ipc356, ipc2581, kicad, pin_list, two

DESIGN = {(part.ref, pad.number): pad.net for part in PARTS for pad in part.pads if pad.net and pad.number}
LINE = "327GND              U1    -3          A01X+010000Y+010000X0118Y0197R000S1"


def nets(board: object) -> dict[tuple[str, str], str]:
    return {(part.ref, pad.number): pad.net for part in board.parts for pad in part.pads if pad.net}  # type: ignore[attr-defined]


def refused(call: object, *arguments: object) -> tuple[str, str]:
    with pytest.raises(Refusal) as told:
        call(*arguments)  # type: ignore[operator]
    problem = told.value.problem
    assert problem.message and problem.given and problem.expected and problem.example
    return problem.code, problem.where


def test_every_format_gives_the_same_pins_on_the_same_nets() -> None:
    assert nets(read_kicad(kicad())) == DESIGN
    assert nets(read_ipc356(ipc356())) == DESIGN
    assert nets(read_ipc2581(ipc2581())) == DESIGN
    assert nets(read_pin_list(pin_list(), PinColumnNames(pin="Pin", net="Net", ref="Part"))) == DESIGN


def test_every_format_with_places_puts_the_pads_where_the_others_do() -> None:
    def places(board: object) -> dict[tuple[str, str], tuple[float, float, str]]:
        return {
            (part.ref, pad.number): (round(pad.x_mm, 2), round(pad.y_mm, 2), pad.side)
            for part in board.parts for pad in part.pads if pad.net and pad.number != "MP"  # type: ignore[attr-defined]
        }

    board = places(read_kicad(kicad()))
    for other in (places(read_ipc356(ipc356())), places(read_ipc2581(ipc2581()))):
        assert set(other) == set(board)
        for key, (x_mm, y_mm, side) in board.items():
            assert other[key] == (pytest.approx(x_mm, abs=0.011), pytest.approx(y_mm, abs=0.011), side), key


# ---- IPC-D-356 -----------------------------------------------------------------------------------------


def test_long_nets_get_their_own_name_from_the_table_in_p_or_c_lines() -> None:
    for letter in "PC":
        text = f"P  UNITS CUST 0\n{letter}  NNAMEm0008 VCC_UNCORE_V1P35\n{LINE.replace('GND  ', 'm0008')}\n999\n"
        assert nets(read_ipc356(text)) == {("U1", "3"): "VCC_UNCORE_V1P35"}
    eagle = f"P  UNITS CUST 0\nP  NNAME1 A_RATHER_LONG_NAME\n{LINE.replace('GND   ', 'NNAME1')}\n999\n"
    assert nets(read_ipc356(eagle)) == {("U1", "3"): "A_RATHER_LONG_NAME"}


def test_two_sides_of_a_resistor_whose_names_were_cut_stay_two_nets() -> None:
    # KiCad keeps the last 14 letters and writes a collision as #1; taking the #1 off would short the resistor
    text = ("P  UNITS CUST 0\n" + LINE.replace("GND             ", "0_MOSI_3V3#1    ").replace("U1    -3", "R55   -1")
            + "\n" + LINE.replace("GND             ", "I-0_MOSI_3V3    ").replace("U1    -3", "R55   -2") + "\n999\n")
    assert nets(read_ipc356(text)) == {("R55", "1"): "0_MOSI_3V3#1", ("R55", "2"): "I-0_MOSI_3V3"}


def test_vias_holes_and_nc_are_no_parts_and_no_nets() -> None:
    text = "\n".join(["P  UNITS CUST 0", LINE, LINE.replace("GND", "N/C").replace("-3", "-4"),
                      LINE.replace("U1 ", "VIA").replace("327", "317"), LINE.replace("327", "367").replace("-3", "-9"),
                      "999", ""])
    board = read_ipc356(text)
    assert [(part.ref, pad.number, pad.net) for part in board.parts for pad in part.pads] == [("U1", "3", "GND"),
        ("U1", "4", None)]


def test_a_hole_that_carries_a_parts_name_and_no_pin_is_no_pin() -> None:
    # as KiCad writes a mounting hole
    hole = "317N/C              Mounti      D1102PA00X+015748Y+000984X2362Y0000R000S0"
    assert nets(read_ipc356(f"P  UNITS CUST 0\n{LINE}\n{hole}\n999\n")) == {("U1", "3"): "GND"}


@pytest.mark.parametrize(("written", "x_mm", "y_mm"), [
    ("X+010000Y-020000", 25.4, 50.8), ("X 010000Y 020000", 25.4, -50.8), ("X  10000Y -2000", 25.4, 5.08),
    ("X010000Y020000", 25.4, -50.8),
])
def test_places_are_read_with_and_without_signs_and_spaces(written: str, x_mm: float, y_mm: float) -> None:
    pad = read_ipc356(f"P  UNITS CUST 0\n{LINE.replace('X+010000Y+010000', written)}\n999\n").parts[0].pads[0]
    assert (pad.x_mm, pad.y_mm) == (x_mm, y_mm)


@pytest.mark.parametrize(("units", "x_mm"), [("CUST 0", 25.4), ("CUST 1", 10.0), ("SI", 10.0), ("  CUST  0 ", 25.4)])
def test_units_are_those_everybody_agrees_on(units: str, x_mm: float) -> None:
    assert read_ipc356(f"P  UNITS {units}\n{LINE}\n999\n").parts[0].pads[0].x_mm == x_mm


@pytest.mark.parametrize(("text", "code", "where"), [
    (f"P  UNITS CUST 2\n{LINE}\n999\n", "units_unclear", "line 1"),
    (f"P  CODE 00\n{LINE}\n999\n", "units_missing", "the lines that begin with P"),
    (f"P  UNITS CUST 0\nP  UNITS CUST 1\n{LINE}\n999\n", "units_differ", "line 1, line 2"),
    (f"P  UNITS CUST 0\n{LINE}\n", "file_ends_early", "line 2"),
    (f"P  UNITS CUST 0\n{LINE[:30]}\n999\n", "broken_line", "line 2"),
    (f"P  UNITS CUST 0\n{LINE.replace('-3', ' 3')}\n999\n", "broken_line", "line 2"),
    (f"P  UNITS CUST 0\nhello\n{LINE}\n999\n", "broken_line", "line 2"),
    ("P  UNITS CUST 0\n999\n", "no_parts", "the whole file"),
])
def test_a_broken_test_list_is_told_with_its_line(text: str, code: str, where: str) -> None:
    assert refused(read_ipc356, text) == (code, where)


def test_two_parts_cut_to_one_name_are_told_and_nothing_is_traced_through_them() -> None:
    module = two("Module301", "", "", "/A", "GND", 1, 1)
    other = two("Module302", "", "", "/B", "/C", 3, 1)
    board = OpenBoard.of(ipc356((module, other, Part("J1", "", "", 5, 1, (Pad("1", "/A"), Pad("2", "/C"))))).encode())
    assert any("Module" in note and "several parts" in note for note in board.summary().notes)
    path = board.traced("J1").board.sockets[0].contacts[0].path
    assert all(getattr(one, "far_net", None) is None for one in path)


def test_a_name_that_may_have_been_cut_is_told_even_where_no_pin_clashes() -> None:
    parts = (Part("Module1", "", "", 1, 1, (Pad("1", "/A"),)), Part("Module2", "", "", 3, 1, (Pad("2", "/A"),)))
    notes = OpenBoard.of(ipc356(parts).encode()).summary().notes
    assert any("Module may stand for several parts" in note for note in notes)


# ---- IPC-2581 ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "code"), [
    (ipc2581(with_nets=False), "no_netlist"),
    (ipc2581()[:-40], "broken_xml"),
    (ipc2581().replace(b'units="MILLIMETER"', b'units="CUBIT"'), "units_unclear"),
    (ipc2581().replace(b'<Location x="50"', b'<Location x="wide"'), "not_a_number"),
    (b'<!DOCTYPE a [<!ENTITY b "c">]>' + ipc2581()[38:], "xml_declares"),
    (b'<!DOCTYPE a [<!ENTITY a0 "ha">' + b"".join(b'<!ENTITY a%d "&a%d;&a%d;">' % (n, n - 1, n - 1) for n in range(1,
    40))
     + b"]><a>&a39;</a>", "xml_declares"),
    (b"<!DOCTYPE a SYSTEM 'http://invented.example/a.dtd'><a/>", "xml_declares"),
    (b"<a>" * 10_000, "too_deep"),
])
def test_broken_empty_and_hostile_xml_is_told(text: bytes, code: str) -> None:
    assert refused(read_ipc2581, text)[0] == code


def xml(inside: str, header: str = "") -> bytes:
    step = f'<Step name="board">{inside}</Step>'
    return (f'<IPC-2581 revision="C" xmlns="http://webstds.ipc.org/2581">{header}<Ecad>'
            f'<CadHeader units="MILLIMETER"/><CadData>{step}</CadData></Ecad></IPC-2581>').encode()


def drawn(ref: str, pin: str, net: str, x: float = 1.0, layer: str = "L1") -> str:
    return (f'<LayerFeature layerRef="{layer}"><Set net="{net}"><Pad><Location x="{x}" y="2"/>'
            f'<PinRef componentRef="{ref}" pin="{pin}"/></Pad></Set></LayerFeature>')


def test_nets_that_stand_at_the_copper_alone_are_read_and_the_list_of_nets_goes_before_them() -> None:
    listed = '<LogicalNet name="GND"><PinRef componentRef="U1" pin="1"/></LogicalNet>'
    board = read_ipc2581(xml(listed + drawn("U1", "1", "VCC") + drawn("U1", "2", "SDA")))
    assert nets(board) == {("U1", "1"): "GND", ("U1", "2"): "SDA"}
    assert any("disagree about 1 pins (U1.1)" in note for note in board.notes)
    alone = read_ipc2581(xml(drawn("U1", "2", "SDA")))
    assert nets(alone) == {("U1", "2"): "SDA"} and not any("disagree" in note for note in alone.notes)


def test_a_layers_side_is_what_it_says_and_copper_on_both_sides_is_on_both() -> None:
    layers = '<Layer name="L1" side="TOP"/><Layer name="L8" side="BOTTOM"/>'
    part = ('<Package name="P"><Pin number="1"/></Package>'
            '<Component refDes="J1" packageRef="P" part="X" layerRef="L8"><Location x="1" y="2"/></Component>')
    inside = layers + part + drawn("J1", "1", "A", layer="L1") + drawn("J1", "1", "A", layer="L8")
    (found,) = read_ipc2581(xml(inside)).parts
    assert found.side == "bottom" and [pad.side for pad in found.pads] == ["both"]


def test_a_name_that_only_looks_like_kicads_keeps_its_letters() -> None:
    inside = drawn("CMP_A", "PIN_1", "NET_A") + drawn("CMPX", "PIN_2", "NETB")
    assert nets(read_ipc2581(xml(inside))) == {("CMP_A", "PIN_1"): "NET_A", ("CMPX", "PIN_2"): "NETB"}
    # in KiCad's own file PIN_ stands before every pin, CMP_ and NET_ do not
    board = read_ipc2581(xml(inside, '<SoftwarePackage name="KiCad"/>'))
    assert nets(board) == {("CMP_A", "1"): "NET_A", ("CMPX", "2"): "NETB"}


def test_the_list_of_parts_says_what_is_not_fitted_but_a_test_point_never_was_to_be_bought() -> None:
    bought = "".join(
        f'<BomItem><RefDes name="{ref}" populate="false"/><Characteristics><Textual textualCharacteristicName="Value"'
        f' textualCharacteristicValue="{value}"/></Characteristics></BomItem>'
        for ref, value in (("R1", "10k"), ("TP1", ""))
    )
    parts = {part.ref: part for part in read_ipc2581(
        xml(drawn("R1", "1", "A") + drawn("TP1", "1", "A"), f"<Bom>{bought}</Bom>")).parts}
    assert (parts["R1"].value, bool(parts["R1"].not_fitted), parts["TP1"].not_fitted) == ("10k", True, "")


def test_a_hole_without_copper_is_no_pin_and_a_mirrored_part_is_mirrored() -> None:
    part = ('<Package name="P"><Pin number="1"><Location x="1" y="0.5"/></Pin>'
            '<Pin number="H" electricalType="MECHANICAL"><Location x="3" y="0"/></Pin></Package>'
            '<Component refDes="J1" packageRef="P" part="X" layerRef="BOTTOM"><Xform rotation="90" mirror="true"/>'
            '<Location x="10" y="20"/></Component>')
    (found,) = read_ipc2581(xml(part + '<LogicalNet name="A"><PinRef componentRef="J1" pin="1"/></LogicalNet>')).parts
    # mirrored to -1, 0.5, a quarter turn against the clock to -0.5, -1, and y grows downwards in a drawing
    assert [(pad.number, pad.x_mm, pad.y_mm, pad.side) for pad in found.pads] == [("1", 9.5, -19.0, "bottom")]


def test_the_edge_of_the_board_is_read_with_its_arcs() -> None:
    polygon = ('<Profile><Polygon><PolyBegin x="0" y="0"/><PolyStepSegment x="10" y="0"/>'
               '<PolyStepCurve x="10" y="10" centerX="10" centerY="5" clockwise="false"/>'
               '<PolyStepSegment x="0" y="0"/></Polygon></Profile>')
    (line,) = read_ipc2581(xml(polygon + drawn("U1", "1", "A"))).outline
    assert line[:4] == (0, 0, 10, 0) and max(line[::2]) == pytest.approx(15) and min(line[1::2]) == pytest.approx(-10)


def test_inches_are_inches() -> None:
    pad = read_ipc2581(ipc2581().replace(b"MILLIMETER", b"INCH")).parts[0].pads[0]
    assert (pad.x_mm, pad.y_mm) == (pytest.approx(50 * 25.4), pytest.approx(10 * 25.4))


# ---- pin lists -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("told", "names"), [
    ("ref=1,pin=2,net=3", PinColumnNames("2", "3", "1")),
    ("part=J1, pin=Pin Name, net=Name, function=Direction", PinColumnNames("Pin Name", "Name", None, "Direction",
    "J1")),
])
def test_columns_are_told_by_number_or_heading(told: str, names: PinColumnNames) -> None:
    assert columns_from(told) == names


@pytest.mark.parametrize("told", ["", "pin=1", "pin=1,net=2", "pin=1,net=2,ref=3,part=J1", "pin=1,net=2,colour=3",
    "pin,net"])
def test_columns_that_leave_something_open_are_refused(told: str) -> None:
    assert refused(columns_from, told) == ("columns_unsaid", "the columns")


@pytest.mark.parametrize(("text", "told", "code", "where"), [
    ("Pin Name,Name\nTX_N,TX_N\n", "part=J1,pin=Pin,net=Name", "no_such_column", "line 1"),
    ("J1,1\n", "ref=1,pin=2,net=3", "no_such_column", "line 1"),
    ("J1,1,GND\nJ1,2\n", "ref=1,pin=2,net=3", "unequal_line", "line 2"),
    ("J1,1,GND\nJ1,,GND\n", "ref=1,pin=2,net=3", "missing_number", "line 2"),
    ("J1,1,GND\nJ1,1,VCC\n", "ref=1,pin=2,net=3", "pin_on_two_nets", "line 2"),
    ('J1,1,"GND\n', "ref=1,pin=2,net=3", "broken_line", "line 1"),
])
def test_a_broken_pin_list_is_told_with_its_line(text: str, told: str, code: str, where: str) -> None:
    assert refused(read_pin_list, text, columns_from(told)) == (code, where)


def test_numbers_keep_their_zeros_and_a_pin_on_no_net_is_on_none() -> None:
    board = read_pin_list("J1;07;GND\nJ1;08;N/C\n", columns_from("ref=1,pin=2,net=3"))
    assert [(pad.number, pad.net) for pad in board.parts[0].pads] == [("07", "GND"), ("08", None)]
