"""USB Type-C's open pin table, shifted: who would meet VBUS if the plug sat places off along its row.

Sources: receptacle contacts A1 to B12 as the USB Type-C specification has them; typed, and confirmed in an
open symbol library (KiCad, CC-BY-SA 4.0: facts taken, no file) and in a board maker's user manual (ST
UM2191, table 1). 20 V is the highest VBUS of the standard power range, 48 V of the extended one (USB PD
3.1, second-hand). 6 V is the usual rating of CC and SBU on a controller, 24 V that of a protector's
connector side (TI application notes and data sheets). What lands on what is *computed* from the table.

A real plug cannot seat one off in this receptacle: its shell and tongue hold it. This is arithmetic with a
table that anybody can check, nothing more.

Does not prove: that any damage follows, nor anything about plugs that can sit off.
"""

import pytest
from msgspec.structs import replace

from server.engine.accepted_board import Board, accept_board
from server.engine.overstress import overstress_of
from shared_models.board import BoardVersion, Contact, Role, Row, Side, Socket
from shared_models.opinion import Overstress
from shared_models.sheet import BenchSheet

ROW_A = ["GND", "TX1+", "TX1-", "VBUS", "CC1", "D+", "D-", "SBU1", "VBUS", "RX2-", "RX2+", "GND"]
ROW_B = ["GND", "TX2+", "TX2-", "VBUS", "CC2", "D+", "D-", "SBU2", "VBUS", "RX1-", "RX1+", "GND"]
NAMES = {f"{row}{i + 1}": name for row, names in (("A", ROW_A), ("B", ROW_B)) for i, name in enumerate(names)}


def receptacle(*, vbus_mv: float, limit_mv: float, source: Side, reversed_b: bool = False) -> Board:
    """The receptacle; `reversed_b` lists row B as it lies, B12 opposite A1."""
    contacts = tuple(_contact(number, name, vbus_mv, limit_mv, source) for number, name in NAMES.items())
    row_a, row_b = [f"A{i}" for i in range(1, 13)], [f"B{i}" for i in range(1, 13)]
    if reversed_b:
        row_b.reverse()
    socket = Socket(
        ref="J1",
        kind="usb_c",
        pitch_mm=0.5,
        rows=(Row(name="A", contacts=tuple(row_a)), Row(name="B", contacts=tuple(row_b))),
        contacts=contacts,
    )
    version = BoardVersion(id="usb-c", device="any", board="any", sockets=(socket,))
    return accept_board(BenchSheet(sheet_id="shift", asked_at_ms=0, board=version, socket="J1"))


def _contact(number: str, name: str, vbus_mv: float, limit_mv: float, source: Side) -> Contact:
    roles: dict[str, Role] = {"GND": "ground", "VBUS": "rail_5v", "D+": "usb_pair", "D-": "usb_pair"}
    nets = {"GND": "GND", "VBUS": "VBUS", "D+": "DP", "D-": "DM"}
    plain = Contact(number=number, name=name, net=nets.get(name), role=roles.get(name, "control"))
    if name == "VBUS":
        return replace(plain, working_mv=vbus_mv, limit_mv=60_000.0, sourced_by=source)
    return plain if name == "GND" else replace(plain, limit_mv=limit_mv)


def lands_on(slip: int) -> set[str]:
    """By the table alone: contacts that lie `slip` places after a VBUS contact of their row."""
    found = set()
    for number, name in NAMES.items():
        place = int(number[1:]) + slip
        if name == "VBUS" and 1 <= place <= 12:
            found.add(f"{number[0]}{place}")
    return found


def met(lines: list[Overstress], who: str) -> dict[str, Overstress]:
    return {line.contact: line for line in lines if line.meets == who and not line.shorted_to_ground}


def test_the_table_shifted_by_one_is_the_known_result() -> None:
    assert {NAMES[number] for number in lands_on(+1)} == {"CC1", "RX2-", "CC2", "RX1-"}
    assert {NAMES[number] for number in lands_on(-1)} == {"TX1-", "SBU1", "TX2-", "SBU2"}
    assert {NAMES[number] for number in lands_on(-3)} >= {"GND"}


@pytest.mark.parametrize("slip", [-2, -1, 1, 2])
def test_a_charger_one_or_two_off_puts_vbus_on_the_lines_the_table_says(slip: int) -> None:
    board = receptacle(vbus_mv=20_000, limit_mv=6_000, source="module")
    hit = met(overstress_of(board, slip), "board")
    # D+ and D- stand twice on the receptacle, so a line hit at A7 is met at B7 as well.
    nets = {NAMES[number] for number in lands_on(slip)}
    assert {NAMES[number] for number in hit} - {"VBUS"} == nets
    assert lands_on(slip) <= set(hit)
    assert all(line.volts_mv == 20_000 for line in hit.values())


@pytest.mark.parametrize("slip", [-3, -2, -1, 1, 2, 3])
def test_a_feeding_board_puts_vbus_on_the_plugs_line_on_the_other_side(slip: int) -> None:
    board = receptacle(vbus_mv=20_000, limit_mv=6_000, source="board")
    hit = met(overstress_of(board, slip), "module")
    # Plug contact n stands on socket contact n + slip, so a socket's VBUS meets the plug's contact n - slip.
    # Three off, VBUS also meets the plug's ground, which is not told as a line that meets too much.
    assert {NAMES[number] for number in hit} - {"VBUS"} == {NAMES[number] for number in lands_on(-slip)} - {"GND"}


@pytest.mark.parametrize(
    ("vbus_mv", "limit_mv", "over_mv"),
    [(20_000, 6_000, 14_000), (20_000, 24_000, -4_000), (48_000, 24_000, 24_000)],
)
def test_how_far_over_the_limit_with_and_without_a_protector(vbus_mv: float, limit_mv: float, over_mv: float) -> None:
    hit = met(overstress_of(receptacle(vbus_mv=vbus_mv, limit_mv=limit_mv, source="module"), +1), "board")
    assert hit["A5"].over_limit_mv == over_mv
    assert hit["B5"].over_limit_mv == over_mv


@pytest.mark.parametrize("slip", [-3, 3])
def test_a_charger_three_off_feeds_the_boards_ground_so_nothing_meets_vbus(slip: int) -> None:
    assert "GND" in {NAMES[number] for number in lands_on(slip)}
    lines = overstress_of(receptacle(vbus_mv=20_000, limit_mv=6_000, source="module"), slip)
    assert met(lines, "board") == {}
    assert met(lines, "module") == {}


def test_as_the_rows_lie_both_shift_the_same_way_in_space() -> None:
    board = receptacle(vbus_mv=20_000, limit_mv=6_000, source="module", reversed_b=True)
    hit = met(overstress_of(board, +1), "board")
    assert {NAMES[number] for number in hit} - {"VBUS"} == {"CC1", "RX2-", "TX2-", "SBU2"}
