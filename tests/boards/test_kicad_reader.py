"""KiCad boards of every format from 5 to 10: one design, the same parts, pins and nets; and each pitfall by itself."""

import pytest

from server.boards.board_file import BoardFile
from server.boards.kicad import read_kicad
from server.boards.nets import nets_of
from server.problems import Refusal
from tests.support.invented_board import PARTS, Pad, Part, kicad, two

VERSIONS = (20171114, 20211014, 20221018, 20241229, 20260206)


def pins(board: BoardFile) -> set[tuple[str, str, str | None]]:
    return {(part.ref, pad.number, pad.net) for part in board.parts for pad in part.pads}


@pytest.mark.parametrize("version", VERSIONS)
def test_every_format_gives_the_same_pins_on_the_same_nets(version: int) -> None:
    board = read_kicad(kicad(version))
    assert pins(board) == {(part.ref, pad.number, pad.net) for part in PARTS for pad in part.pads}
    assert {part.ref: part.value for part in board.parts} == {part.ref: part.value for part in PARTS}
    assert board.format == f"KiCad board {version}"


@pytest.mark.parametrize("version", VERSIONS)
def test_a_pins_function_has_no_number_behind_it(version: int) -> None:
    socket = next(part for part in read_kicad(kicad(version)).parts if part.ref == "J1")
    told = {pad.number: pad.function for pad in socket.pads}
    assert told["2"] == ("LED+" if version >= 20191123 else "")  # formats before 6 hold none, and none is invented


def one(text: str, version: int = 20241229) -> BoardFile:
    return read_kicad(f"(kicad_pcb (version {version}) {text})")


def footprint(inside: str) -> str:
    return f'(footprint "R_0402" (layer "F.Cu") (at 10 20 90) (property "Reference" "R1") {inside})'


@pytest.mark.parametrize(("net", "name"), [
    ('(net 5 "GND")', "GND"), ('(net "GND")', "GND"), ("(net 5 GND)", "GND"), ('(net 0 "")', None), ('(net "")', None),
    ("", None),
])
def test_the_last_word_of_a_net_is_its_name(net: str, name: str | None) -> None:
    board = one(footprint(f'(pad "1" smd rect (at 1 2) (size 1 1) (layers "F.Cu") {net})'))
    assert board.parts[0].pads[0].net == name


def test_places_turn_with_the_part_and_keep_their_side() -> None:
    pad = '(pad "1" smd rect (at 1 2 90) (size 0.5 1) (layers "{}"))'
    for layer, side in (("F.Cu", "top"), ("B.Cu", "bottom"), ("*.Cu", "both"), ("F&B.Cu", "both")):
        found = one(footprint(pad.format(layer))).parts[0].pads[0]
        # a quarter turn against the clock, y downwards: right goes up, down goes right
        assert (found.x_mm, found.y_mm, found.side, found.width_mm, found.height_mm) == (12.0, 19.0, side, 0.5, 1.0)


def test_paste_alone_and_bare_holes_are_no_pads() -> None:
    board = one(footprint('(pad "" smd rect (at 0 0) (size 1 1) (layers "F.Paste")) '
                          '(pad "" np_thru_hole circle (at 0 0) (size 1 1) (layers "*.Cu"))'))
    assert board.parts[0].pads == ()


@pytest.mark.parametrize(("value", "attributes", "fitted"), [
    ("NA", "smd", False), ("(na)0R", "smd", False), ("NA(10uF/6.3V)", "smd", False), ("100R (DNP)", "smd", False),
    ("10k", "smd dnp", False), ("10k", "smd exclude_from_bom", False), ("10k", "smd", True), ("NAND", "smd", True),
    ("100nF", "smd", True),
])
def test_what_is_not_fitted_is_known_by_its_value_or_its_marks(value: str, attributes: str, fitted: bool) -> None:
    part = two("R9", value, "Resistor_SMD:R_0402", "/A", "/B", 1, 1, attributes=attributes)
    assert (read_kicad(kicad(parts=(part,))).parts[0].not_fitted == "") is fitted


def test_a_test_point_that_is_not_bought_is_there_all_the_same() -> None:
    part = Part("TP9", "", "TestPoint:Pad", 1, 1, (Pad("1", "/A"),), attributes="exclude_from_bom")
    assert read_kicad(kicad(parts=(part,))).parts[0].not_fitted == ""


def test_net_ties_and_closed_jumpers_join_their_nets_and_open_ones_do_not() -> None:
    tie = two("NT1", "", "NetTie:NetTie-2", "/AGND", "GND", 1, 1)
    closed = two("JP1", "", "Jumper:SolderJumper-2_Bridged", "/A", "/B", 2, 1)
    left_open = two("JP2", "", "Jumper:SolderJumper-2_Open", "/C", "/D", 3, 1)
    more = two("C1", "1uF", "Capacitor_SMD:C_0402", "GND", "/B", 4, 1)
    nets = nets_of(read_kicad(kicad(parts=(tie, closed, left_open, more))))
    assert set(nets.pins_on) == {"GND", "/B", "/C", "/D"}  # the larger net keeps its name
    assert nets.parts["NT1"].nets() == ["GND"]


def test_groups_of_a_net_tie_and_pads_of_one_number_join_as_the_file_says() -> None:
    tie = two("X1", "", "Custom:Thing", "/A", "/B", 1, 1, extra='(net_tie_pad_groups "1, 2")')
    same = Part("J9", "", "Custom:Conn_2", 2, 1, (Pad("1", "/C"), Pad("1", "/D", 1.0)),
                extra="(duplicate_pad_numbers_are_jumpers yes)")
    assert set(nets_of(read_kicad(kicad(parts=(tie, same)))).pins_on) == {"/A", "/C"}


def test_a_net_is_shown_by_its_last_part_only_where_that_names_one() -> None:
    parts = (two("R1", "1k", "R:R_0402", "/A/SDA", "/B/SDA", 1, 1), two("R2", "1k", "R:R_0402", "/A{slash}B",
        "/X/~{RESET}", 2, 1))
    shown = nets_of(read_kicad(kicad(parts=parts))).shown
    assert shown == {"/A/SDA": "/A/SDA", "/B/SDA": "/B/SDA", "/A{slash}B": "A/B", "/X/~{RESET}": "~RESET"}


def test_parts_of_one_name_are_one_part_unless_their_pins_say_otherwise() -> None:
    left = Part("U1", "SOM", "Custom:BGA", 1, 1, (Pad("1", "/A"), Pad("2", "/B")))
    right = Part("U1", "SOM", "Custom:BGA", 9, 1, (Pad("3", "/C"),))
    nets = nets_of(read_kicad(kicad(parts=(left, right))))
    assert list(nets.parts["U1"].pins) == ["1", "2", "3"] and nets.notes == ()
    clash = right._replace(pads=(Pad("1", "/C"),))
    torn = nets_of(read_kicad(kicad(parts=(left, clash))))
    assert torn.parts["U1"].mixed and "U1" in torn.notes[0]


def test_parts_without_a_name_stay_apart() -> None:
    logo = Part("REF**", "", "Logo:Sign", 1, 1, (Pad("1", "GND"),))
    nets = nets_of(read_kicad(kicad(parts=(logo, logo._replace(ref=""), logo))))
    assert len(nets.parts) == 3 and len(nets.pins_on["GND"]) == 3


def test_a_format_that_counts_its_parts_must_hold_them() -> None:
    whole = kicad(20171114)
    lost = whole[: whole.index("  (module ")] + whole[whole.index("  (module ", whole.index("  (module ") + 9) :]
    with pytest.raises(Refusal) as told:
        read_kicad(lost)
    assert (told.value.problem.code, told.value.problem.given) == ("counts_differ", f"{len(PARTS) - 1} modules")


@pytest.mark.parametrize(("text", "code", "where"), [
    ("(kicad_sch (version 1))", "not_a_board", "line 1"),
    ("(footprint R1)", "not_a_board", "line 1"),
    ("(kicad_pcb (version 1)\n" + footprint('(pad "1" smd rect (at x 2) (layers "F.Cu"))') + ")", "not_a_number",
    "line 2, column 1"),
    ("(kicad_pcb\n\n" + footprint('(pad "1" smd rect (at nan 2) (layers "F.Cu"))') + ")", "not_a_number",
    "line 3, column 1"),
    (kicad()[:-30], "file_ends_early", "the end; open since line"),
    (kicad() + ")", "bracket_too_many", "line"),
])
def test_a_broken_board_is_told_with_its_place(text: str, code: str, where: str) -> None:
    with pytest.raises(Refusal) as told:
        read_kicad(text)
    assert told.value.problem.code == code and told.value.problem.where.startswith(where)


def test_the_edge_is_drawn_from_its_lines_and_arcs() -> None:
    line, *_, arc = read_kicad(kicad()).outline
    assert line == (0.0, 0.0, 80.0, 0.0)
    assert (arc[0], arc[1], round(arc[-2], 2), round(arc[-1], 2)) == (80.0, 40.0, 78.0, 41.5)
    old = one(
        '(gr_arc (start 0 0) (end 1 0) (angle 90) (layer "Edge.Cuts")) '
        '(gr_rect (start 0 0) (end 2 1) (layer "Edge.Cuts")) '
        '(gr_poly (pts (xy 0 0) (xy 1 0) (xy 1 1)) (layer "Edge.Cuts")) '
        '(gr_line (start 0 0) (end 1 1) (layer "F.SilkS"))'
    )
    assert [round(number, 6) for number in old.outline[0][-2:]] == [0.0, 1.0]  # centre, begin, a quarter clockwise
    assert old.outline[1] == (0, 0, 2, 0, 2, 1, 0, 1, 0, 0)
    assert old.outline[2] == (0, 0, 1, 0, 1, 1, 0, 0) and len(old.outline) == 3
