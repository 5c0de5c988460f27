"""Open pin tables of connectors, shifted by arithmetic: who would meet which rail if a plug sat places off.

Sources. HDMI type A: pins 1 to 19 as listed by an open symbol library (KiCad, CC-BY-SA 4.0: facts taken, no
file), a public pinout page and a computer maker's manual, which agree. Panel connector of 40 contacts: the
open pin table of a notebook's panel, in a CC BY 4.0 document of its maker. A single-board computer's
header of 40 pins: the same symbol library; its lines stand 3.3 V. SATA power, 15 contacts:
O'Reilly, PC Hardware in a Nutshell, table 13-7. What lands on what is *computed* from the tables.

How slips are counted: here a slip of +1 means that plug contact n stands on socket contact n + 1. A rail of
the *socket* at n then meets plug contact n - 1; lists that move the rail's number by the slip describe our
slip of the other sign. An HDMI or a USB plug cannot sit off its place at all: its shell holds it. SATA is
keyed. This is arithmetic with tables that anybody can check, nothing more, and says nothing of damage.
"""

import pytest

from server.engine.door import form_opinion, overstress_map
from shared_models.board import BoardVersion, Contact, Role, Side, SocketKind
from shared_models.job import Intake
from shared_models.opinion import Overstress
from tests.support.benches import board_of, line, sheet_of


def table(names: str) -> list[str]:
    """The names of a connector's contacts, in the order of their numbers."""
    return names.split()


def contact(number: int, name: str, rails: dict[str, float], side: Side) -> Contact:
    """A contact by its name in the table: ground, a rail of `rails`, nothing, or a line."""
    if name.endswith("GND"):
        return line(number, "ground", name=name)
    if name in rails:
        role: Role = "main_rail" if rails[name] > 6000 else "rail_5v" if rails[name] > 4000 else "panel_supply"
        return line(
            number, role, name=name, net=name, working_mv=rails[name], limit_mv=rails[name] * 1.2, sourced_by=side
        )
    if name == "NC":
        return line(number, "unconnected", name=name)
    return line(number, "control", name=name, limit_mv=3600)


def socket_of(
    names: list[str],
    rails: dict[str, float],
    *,
    kind: SocketKind = "other",
    side: Side = "board",
    rows: list[list[str]] | None = None,
    joins_nets: bool = True,
) -> BoardVersion:
    """A socket with that table; lines stand 3.6 V, as 3.3 V inputs do. `side` drives the rails."""
    contacts = [contact(n, name, rails, side) for n, name in enumerate(names, 1)]
    return board_of(contacts, kind=kind, rows=rows, module_joins_nets=joins_nets)


def met_by_module(board: BoardVersion, slip: int) -> dict[str, Overstress]:
    return {one.contact: one for one in overstress_map(board, "J1", slip) if one.meets == "module"}


def shorted(board: BoardVersion, slip: int) -> set[str]:
    return {one.contact for one in overstress_map(board, "J1", slip) if one.shorted_to_ground}


# ---- HDMI type A -----------------------------------------------------------------------------


HDMI = table("D2+ D2-GND D2- D1+ D1-GND D1- D0+ D0-GND D0- CK+ CK-GND CK- CEC UTIL SCL SDA DDC-GND +5V HPD")


def test_the_neighbours_of_hdmis_5_v_are_a_ground_and_hot_plug_detect() -> None:
    assert HDMI.index("+5V") + 1 == 18
    assert (HDMI[16], HDMI[18]) == ("DDC-GND", "HPD")
    assert HDMI[15] == "SDA"


@pytest.mark.parametrize(("slip", "meets"), [(-1, {"19"}), (1, set()), (2, {"16"})])
def test_hdmis_5_v_would_meet_what_the_table_says(slip: int, meets: set[str]) -> None:
    board = socket_of(HDMI, {"+5V": 5000}, kind="hdmi")
    lines = met_by_module(board, slip)
    assert set(lines) == meets
    for one in lines.values():
        assert (one.volts_mv, one.over_limit_mv) == (5000, 1400)


def test_one_off_towards_the_ground_only_shorts_where_the_module_joins_its_grounds() -> None:
    # +1: plug 17, a ground of the module, stands on the 5 V; another of its grounds would have to reach ground
    board = socket_of(HDMI, {"+5V": 5000}, kind="hdmi")
    standing = {n: n + 1 for n in range(1, 19)}
    grounds = [n for n, name in enumerate(HDMI, 1) if name.endswith("GND")]
    reaches_ground = any(standing[n] in grounds for n in grounds if n in standing)
    assert bool(shorted(board, 1)) is reaches_ground


def test_a_real_hdmi_plug_is_never_told_to_sit_off() -> None:
    crooked = Intake(what_happened=("plug_went_in_crooked", "battery_in_during_change"))
    opinion = form_opinion(sheet_of(socket_of(HDMI, {"+5V": 5000}, kind="hdmi"), intake=crooked))
    assert not any(one.kind == "plug_off_by" for one in opinion.stories)
    loose = form_opinion(sheet_of(socket_of(HDMI, {"+5V": 5000}, kind="open_header"), intake=crooked))
    assert any(one.kind == "plug_off_by" for one in loose.stories)


# ---- a panel connector of 40 contacts -------------------------------------------------------------


PANEL = table("""
    NC GND TX3N TX3P GND TX2N TX2P GND TX1N TX1P GND TX0N TX0P GND AUXP AUXN GND
    3V3 3V3 3V3 3V3 TEST GND GND GND GND HPD BGND BGND BGND BGND BL_EN PWM NC NC BL BL BL BL NC
""")
PANEL_RAILS = {"3V3": 3300.0, "BL": 21_000.0}


def panel(joins_nets: bool = True) -> BoardVersion:
    return socket_of(PANEL, PANEL_RAILS, kind="micro_coax", joins_nets=joins_nets)


def lands(slip: int, rail: str) -> set[str]:
    """By the table alone: the plug's names that stand on that rail's contacts, the rail itself left out."""
    found = set()
    for n, name in enumerate(PANEL, 1):
        if name == rail and 1 <= n - slip <= len(PANEL):
            found.add(PANEL[n - slip - 1])
    return found - {rail}


def test_the_table_has_forty_contacts_and_guards_beside_the_backlight() -> None:
    assert len(PANEL) == 40
    assert (PANEL[33], PANEL[34], PANEL[39]) == ("NC", "NC", "NC")
    assert PANEL[35:39] == ["BL"] * 4


@pytest.mark.parametrize("slip", [-2, -1, 1, 2])
def test_one_or_two_off_the_backlights_21_v_meets_guards_alone(slip: int) -> None:
    assert lands(slip, "BL") == {"NC"}
    over = [one for one in overstress_map(panel(), "J1", slip) if one.volts_mv == 21_000]
    assert over == []


def test_three_off_it_meets_the_dimming_input() -> None:
    # "-3 puts it on PWM": the rail's number less three, which is our slip of +3
    assert lands(3, "BL") == {"NC", "PWM"}
    lines = {PANEL[int(n) - 1]: one for n, one in met_by_module(panel(), 3).items() if one.volts_mv == 21_000}
    assert set(lines) == {"PWM"}
    assert lines["PWM"].over_limit_mv == 21_000 - 3600


def test_three_off_the_other_way_the_boards_own_dimming_output_meets_it_through_the_joined_feed() -> None:
    # our -3: plug 36 (backlight) stands on socket 33 (PWM), plug 39 on socket 36; the panel joins its feed
    lines = [one for one in overstress_map(panel(), "J1", -3) if one.volts_mv == 21_000]
    assert [(one.meets, PANEL[int(one.contact) - 1]) for one in lines] == [("board", "PWM")]
    assert [one for one in overstress_map(panel(joins_nets=False), "J1", -3) if one.volts_mv == 21_000] == []


def test_four_off_it_would_meet_enable_and_dimming() -> None:
    assert lands(4, "BL") >= {"PWM", "BL_EN"}
    lines = {PANEL[int(n) - 1] for n, one in met_by_module(panel(), 4).items() if one.volts_mv == 21_000}
    assert lines == {"PWM", "BL_EN"}


def test_one_off_shorts_the_3_3_v_to_ground() -> None:
    # "-1 shorts 3.3 V to GND": our +1
    assert "GND" in lands(1, "3V3")
    assert shorted(panel(), 1) == {"18", "19", "20", "21"}
    assert shorted(panel(), 0) == set()


def test_two_off_would_put_the_3_3_v_on_aux() -> None:
    # "-2 puts 3.3 V on AUX": our +2. It also meets the module's grounds, so the table's answer is of a module
    # that joins nothing inside; one that joins its grounds shorts the rail instead
    assert lands(2, "3V3") == {"AUXN", "GND"}
    apart = met_by_module(panel(joins_nets=False), 2)
    assert apart["16"].volts_mv == 3300
    assert apart["16"].over_limit_mv == -300
    assert shorted(panel(), 2) == {"18", "19", "20", "21"}


# ---- a single-board computer's header ----------------------------------------------------------------------


HEADER = table("""
    3V3 5V SDA 5V SCL GND GPIO4 TXD GND RXD GPIO17 GPIO18 GPIO27 GND GPIO22 GPIO23 3V3 GPIO24 MOSI GND MISO GPIO25
    SCLK CE0 GND CE1 ID_SD ID_SC GPIO5 GND GPIO6 GPIO12 GPIO13 GND GPIO19 GPIO16 GPIO26 GPIO20 GND GPIO21
""")


def header(side: Side, *, joins_nets: bool = True) -> BoardVersion:
    rows = [[str(n) for n in range(1, 41, 2)], [str(n) for n in range(2, 41, 2)]]
    rails = {"3V3": 3300.0, "5V": 5000.0}
    return socket_of(HEADER, rails, kind="open_header", side=side, rows=rows, joins_nets=joins_nets)


def test_a_hat_one_place_towards_pin_1_feeds_5_v_into_every_line_its_grounds_stand_on() -> None:
    # one place along a row is two numbers: the hat's ground 6 stands on 4, 5 V, and none of its other grounds
    # reaches a ground of the board, so they hand the 5 V on
    grounds = [n for n, name in enumerate(HEADER, 1) if name == "GND"]
    standing = {n: n - 2 for n in grounds if n > 2}
    assert standing[6] == 4
    assert not set(standing.values()) & set(grounds)
    lines = {one.contact: one for one in overstress_map(header("board"), "J1", -1) if one.meets == "board"}
    fed = {contact for contact, one in lines.items() if one.volts_mv == 5000}
    assert fed == {str(n) for n in standing.values() if HEADER[n - 1] != "5V"}
    assert all(lines[contact].over_limit_mv == 1400 for contact in fed)


def test_a_hat_that_joins_nothing_hands_nothing_on() -> None:
    lines = overstress_map(header("board", joins_nets=False), "J1", -1)
    assert [one for one in lines if one.meets == "board" and one.volts_mv == 5000] == []


@pytest.mark.parametrize("slip", [1, 2])
def test_a_hat_that_feeds_5_v_onto_ground_puts_it_on_no_line(slip: int) -> None:
    # its 5 V of pin 4 (one place) or of pin 2 (two places) stands on pin 6, ground
    assert HEADER[4 + 2 - 1] == HEADER[2 + 4 - 1] == "GND"
    assert [
        one for one in overstress_map(header("module"), "J1", slip) if one.meets == "board" and one.volts_mv == 5000
    ] == []


# ---- SATA power -----------------------------------------------------------------------------------------


SATA = table("3V3 3V3 3V3 GND GND GND 5V 5V 5V GND DAS GND 12V 12V 12V")
SATA_RAILS = {"3V3": 3300.0, "5V": 5000.0, "12V": 12_000.0}


@pytest.mark.parametrize("slip", [-1, 1])
def test_sata_power_one_off_makes_shorts_to_ground_and_no_overvoltage(slip: int) -> None:
    board = socket_of(SATA, SATA_RAILS, kind="card_edge", side="module")
    lines = [one for one in overstress_map(board, "J1", slip) if (one.over_limit_mv or 0) > 0]
    # DAS lies beside grounds alone, so no line that is not a rail meets any of them
    assert {SATA[int(one.contact) - 1] for one in lines} <= {"DAS"}
    assert lines == []


def test_sata_power_four_off_would_put_12_v_on_5_v_and_5_v_on_3_3_v() -> None:
    # the source's -4: the plug's rail lands on the number less four, which for a module that feeds is our -4
    landed = {
        (SATA[n - 1], SATA[n - 5]) for n in range(5, 16) if SATA[n - 1] in SATA_RAILS and SATA[n - 5] in SATA_RAILS
    }
    assert landed == {("5V", "3V3"), ("12V", "5V")}
