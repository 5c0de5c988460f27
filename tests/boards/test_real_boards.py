"""Real boards in open formats: counts, pin tables and paths that independent readers and a person's eye found.

Sources: the designs' own files (KiCad 5 to 10, IPC-D-356, IPC-D-356A) under open licences, with eleven pin tables
made by another reader and checked by a second, generic one; the paths were followed by hand in the layouts. The
files prove nothing about formats they do not use, and none of them is IPC-2581.
"""

import json
from functools import cache
from typing import Any

import pytest

from server.boards.door import OpenBoard
from server.boards.ipc356 import read_ipc356
from server.boards.kicad import read_kicad
from server.boards.pin_list import columns_from
from server.engine.door import form_opinion
from server.problems import Refusal
from shared_models.board import ChipPin, Clamp, Contact, Feed, Pull, SeriesPart, TestPoint
from shared_models.sheet import BenchSheet
from tests.support.real_boards import CARRIER_CSV, CARRIER_IPC, KICAD, MINNOWMAX, REAL_BOARDS, real

assert REAL_BOARDS is not None  # without the folder this file is not collected
TABLES = sorted((REAL_BOARDS / "pin-tables").glob("*.json"))
FILE_OF = {path.rsplit("/", 1)[1]: path for path in KICAD.values()}


@cache
def board(path: str) -> OpenBoard:
    return OpenBoard.of(real(path))


@cache
def contacts(path: str, ref: str) -> dict[str, Contact]:
    return {one.number: one for one in board(path).traced(ref).board.sockets[0].contacts}


@pytest.mark.parametrize(("name", "parts", "nets", "pins"), [
    ("teres", 453, 474, 2018), ("reform", 504, 658, 2029), ("usbc_edp", 132, 133, 523), ("carrier", 98, 308, 739),
    ("pic", 63, 111, 236),
])
def test_a_board_holds_as_many_parts_nets_and_pads_with_a_net_as_were_counted(name: str, parts: int, nets: int,
        pins: int) -> None:
    read = read_kicad(real(KICAD[name]).decode())
    pads = [pad for part in read.parts for pad in part.pads if pad.net is not None]
    assert (len(read.parts), len({pad.net for pad in pads}), len(pads)) == (parts, nets, pins)


def test_the_test_list_of_an_x86_board_holds_as_many_as_were_counted() -> None:
    read = read_ipc356(real(MINNOWMAX).decode("latin-1"))
    pads = [pad for part in read.parts for pad in part.pads]
    # the 641st net of the count is N/C, which is none
    assert (len(read.parts), len({pad.net for pad in pads if pad.net}), len(pads)) == (881, 640, 3856)
    assert sum(pad.net is None for pad in pads) == 386
    names = {pad.net for pad in pads}
    assert "VCC_UNCORE_V1P35" in names and not any(name and name.startswith("m0") for name in names)


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_a_pin_table_is_the_one_that_another_reader_found(path: Any) -> None:
    table = json.loads(path.read_text())
    rows = {row.pin: row for row in board(FILE_OF[table["board"]]).traced(table["connector"]).pins}
    assert set(rows) == {pin["pin"] for pin in table["pins"]} and len(TABLES) == 11
    for pin in table["pins"]:
        row = rows[pin["pin"]]
        # the other reader leaves the pin's number behind its function
        function = pin["function"] and pin["function"].removesuffix(f"_{pin['pin']}")
        assert (row.net, row.function, row.pins_on_net) == (pin["net"], function, pin["pins_on_net"]), pin
        if isinstance(pin["others"], list):
            assert sorted(row.others) == sorted(pin["others"])


def kicads_name(net: str) -> str:
    """The net's name as KiCad's test list writes it: upper case, the last 14 letters."""
    return net.upper()[-14:]


def test_the_same_board_in_two_formats_agrees_on_every_pin_and_net() -> None:
    pcb = {(part.ref[:6], pad.number[:4]): pad.net for part in read_kicad(real(KICAD["carrier"]).decode()).parts
           for pad in part.pads if pad.net}
    ipc = {(part.ref, pad.number): pad.net for part in read_ipc356(real(CARRIER_IPC).decode("latin-1")).parts
           for pad in part.pads if pad.net}
    assert len(pcb) == 736 and set(pcb) == set(ipc)
    apart = {key for key in pcb if kicads_name(pcb[key] or "") != ipc[key]}
    # eight pins on four nets, whose last 14 letters are those of another net, are written as the last ten and #1
    assert len(apart) == 8 and {ref for ref, _ in apart} >= {"R55", "R56", "R60", "R61"}
    for key in apart:
        assert ipc[key] == f"{kicads_name(pcb[key] or '')[-10:]}#1"
    # and the same pins lie together on a net in both
    groups = [{frozenset(key for key in nets if nets[key] == net) for net in nets.values()} for nets in (pcb, ipc)]
    assert groups[0] == groups[1]


def test_a_damping_resistor_whose_two_sides_were_cut_alike_is_not_shorted() -> None:
    # the module lies on one side of R55, the edge connector on the other
    nets = board(CARRIER_IPC).nets
    assert len(nets.parts["R55"].nets()) == 2


def ways(contact: Contact) -> list[str]:
    """The parts in line and the chip at the end, short."""
    return [one.part if isinstance(one, SeriesPart) else f"{one.part}.{one.pin}" for one in contact.path
            if isinstance(one, SeriesPart | ChipPin)]


@pytest.mark.parametrize(("name", "socket", "number", "way"), [
    ("usbc_edp", "J1", "3", ["U6.40"]), ("usbc_edp", "J1", "9", ["U6.20"]), ("usbc_edp", "J1", "12", ["R13"]),
    ("usbc_edp", "J1", "17", ["U1.10"]), ("usbc_edp", "J1", "22", ["U1.11"]), ("usbc_edp", "J1", "23", ["U1.12"]),
    ("usbc_edp", "J7", "A2", ["C30", "U6.31"]), ("usbc_edp", "J7", "A4", ["R3"]),
    ("teres", "eDP1", "7", ["C208", "U17.A3"]), ("teres", "eDP1", "4", ["C202", "U17.C1"]), ("teres", "eDP1", "13",
    ["R22", "U17.F9"]),
    ("teres", "eDP1", "14", ["U1.AC10"]), ("teres", "eDP1", "15", ["U1.Y13"]), ("teres", "eDP1", "16", ["L4"]),
    ("teres", "eDP1", "17", ["R100", "U12.8"]), ("teres", "eDP1", "18", ["R101", "U12.9"]), ("teres", "BATTERY1", "6",
    ["R78"]),
    ("reform", "J24", "3", ["C105", "U10.40"]), ("reform", "J24", "12", ["FB14"]), ("reform", "J24", "17", ["R64",
    "U10.32"]),
    ("reform", "J24", "22", ["U1.105"]), ("reform", "J24", "26", ["FB15"]), ("reform", "J8", "A6", ["R70", "U18.20"]),
])
def test_a_path_followed_by_hand_comes_out(name: str, socket: str, number: str, way: list[str]) -> None:
    assert ways(contacts(KICAD[name], socket)[number]) == way


@pytest.mark.parametrize(("name", "socket", "numbers", "feed", "volts"), [
    ("usbc_edp", "J1", ("26", "27", "28", "29"), Feed(diode="D1", coil="L2", chip="U2", pin="8", net="BOOST_OUT"), 12),
    ("teres", "eDP1", ("21", "22"), Feed(diode="D3", coil="L11", chip="U16", pin="1", net="Net-(D3-Pad2)"), 18),
])
def test_a_lights_feed_leads_to_the_boosts_coil_and_converter(
    name: str, socket: str, numbers: tuple[str, ...], feed: Feed, volts: float
) -> None:
    for number in numbers:
        contact = contacts(KICAD[name], socket)[number]
        assert (contact.fed_by, contact.role, contact.working_mv) == (feed, "led_plus", 1000 * volts)


def test_far_nets_clamps_pulls_and_test_points_stand_on_the_way() -> None:
    usbc, teres, reform = (contacts(KICAD["usbc_edp"], "J1"), contacts(KICAD["teres"], "eDP1"),
        contacts(KICAD["reform"], "J8"))
    assert TestPoint(name="12V1", side="top") in usbc["26"].path
    assert SeriesPart(part="R13", ohm=0.0, far_net="3V3") in usbc["12"].path
    assert SeriesPart(part="R4", ohm=30_000.0, far_net="Net-(Q2-B)") in usbc["22"].also
    assert Clamp(part="U4", to_net="GND") in teres["4"].path and ChipPin(part="U16", pin="4") in teres["14"].also
    assert Pull(part="R71", ohm=1500.0, to_net="LPC_VCC") in reform["A6"].path
    assert contacts(KICAD["teres"], "BATTERY1")["6"].path[0] == TestPoint(name="VBAT1", side="top")
    hdmi = contacts(MINNOWMAX, "P1")
    assert [one.part for one in hdmi["19"].path if isinstance(one, SeriesPart)] == ["L7"]
    assert {one.part for number in ("17", "18") for one in hdmi[number].also if not isinstance(one,
        TestPoint)} >= {"R169", "R170"}
    assert ways(hdmi["3"]) == ["CPU1.AV3"] and ChipPin(part="U2", pin="23") in hdmi["3"].also


@pytest.mark.parametrize(("name", "socket", "numbers"), [
    ("usbc_edp", "J1", ("1", "14", "24", "25", "30")), ("teres", "eDP1", tuple(str(at) for at in range(23, 31))),
    ("reform", "J24", ("15", "16", "24", "25", "30")), ("reform", "J8", ("A4", "A9", "B4", "B9", "A5", "B5")),
])
def test_contacts_that_lead_nowhere_are_not_connected(name: str, socket: str, numbers: tuple[str, ...]) -> None:
    assert {number for number in numbers if contacts(KICAD[name], socket)[number].role != "unconnected"} == set()


def test_resistors_that_are_not_fitted_are_open_circuits_and_named_beside_the_way() -> None:
    edp = contacts(KICAD["teres"], "eDP1")
    for number, ref in (("4", "R17"), ("5", "R16")):  # both "(na)100K"
        assert ref in {one.part for one in edp[number].also if not isinstance(one, TestPoint)}
        assert ref not in {one.part for one in edp[number].path if not isinstance(one, TestPoint)}
    assert sum(bool(part.not_fitted) for part in board(KICAD["teres"]).nets.parts.values()) == 23


@pytest.mark.parametrize("path", [*KICAD.values(), MINNOWMAX, CARRIER_IPC])
def test_the_largest_sockets_of_every_board_are_taken_by_the_engine(path: str) -> None:
    sockets = board(path).summary().sockets
    assert sockets
    for socket in sockets[:3]:
        if 0 < socket.contacts <= 100:  # more take the engine seconds each
            traced = board(path).traced(socket.ref)
            ref = traced.board.sockets[0].ref
            opinion = form_opinion(BenchSheet(sheet_id="s", asked_at_ms=1, board=traced.board, socket=ref,
                mode="sweep"))
            assert len(opinion.contacts) == socket.contacts, socket.ref


def test_the_real_pin_list_has_no_pin_numbers_and_says_which_columns_it_has() -> None:
    with pytest.raises(Refusal) as told:
        OpenBoard.of(real(CARRIER_CSV), columns_from("part=J1,pin=Pin,net=Name"))
    assert told.value.problem.code == "no_such_column" and "Pin Name, Name, Direction" in told.value.problem.expected
    named = OpenBoard.of(real(CARRIER_CSV), columns_from("part=J1,pin=Pin Name,net=Name,function=Direction"))
    assert len(named.nets.parts["J1"].pins) == 75


def test_functions_that_a_file_names_are_kept() -> None:
    assert contacts(KICAD["usbc_edp"], "J1")["26"].name == "BL_PWR"
    # a header's pins are all called Pin: then the net is the better name
    assert contacts(KICAD["reform"], "J24")["26"].name == "EDP_BL_VCC"
