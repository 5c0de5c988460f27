"""A plug off its place: what the module meets and what the board meets are two questions.

A socket's voltage lands on the plug's wrong line; the board's own neighbour meets it only through what the
module joins inside. Shown on the invented T10, whose panel joins 30 and 32, and on small sockets.
"""

from typing import Any

import pytest
from msgspec.structs import replace

from demo.shop.boards import ALL_BOARDS, P1, T10, V2
from server.engine.door import SheetError, form_opinion, overstress_map
from shared_models.board import BoardVersion, Contact, SeriesPart, SocketKind
from shared_models.job import Intake
from shared_models.opinion import Overstress
from tests.support.benches import board_of, line, sheet_of

SLIPS = (-3, -2, -1, 1, 2, 3)
LED_PLUS_MV = 28_000


def without_joins(board: BoardVersion, *, nets_too: bool) -> BoardVersion:
    """The board as if its module joined nothing inside."""
    bare = replace(board.sockets[0], module_joins=(), module_joins_nets=not nets_too)
    return replace(board, sockets=(bare,))


def met(board: BoardVersion, slip: int, who: str, volts_mv: float | None = None) -> list[str]:
    """Contacts on that side that meet a voltage (or just this one)."""
    return [
        one.contact
        for one in overstress_map(board, board.sockets[0].ref, slip)
        if one.meets == who and not one.shorted_to_ground and (volts_mv is None or one.volts_mv == volts_mv)
    ]


# ---- the T10's slip, worked by hand ---------------------------------------------------------


def test_one_place_towards_low_numbers_puts_led_plus_on_28_through_what_the_panel_joins() -> None:
    # plug 32 stands on socket 30 and plug 30 on socket 28; the panel joins 30 and 32
    hit = next(one for one in overstress_map(T10, "J7", -1) if one.meets == "board" and one.contact == "28")
    assert hit.volts_mv == LED_PLUS_MV
    assert hit.limit_mv == 2100
    assert hit.over_limit_mv == LED_PLUS_MV - 2100
    assert hit.from_contact in ("30", "32")
    assert hit.through_ohm == pytest.approx(33 + 5)
    assert met(T10, -1, "board", LED_PLUS_MV) == ["28"]


def test_the_joined_lines_are_what_takes_it_there() -> None:
    assert "28" not in met(without_joins(T10, nets_too=True), -1, "board", LED_PLUS_MV)
    # the two lines have one net's name; the module joins nets of one name unless somebody says otherwise
    assert "28" in met(without_joins(T10, nets_too=False), -1, "board", LED_PLUS_MV)


@pytest.mark.parametrize("slip", SLIPS)
def test_29_never_meets_led_plus_it_lies_across_the_row(slip: int) -> None:
    assert "29" not in met(T10, slip, "board", LED_PLUS_MV)
    assert "29" not in met(T10, slip, "module", LED_PLUS_MV)


def test_that_slip_only_grounds_the_panel_supply_and_gives_the_panel_no_more_than_its_sink_line() -> None:
    lines = overstress_map(T10, "J7", -1)
    assert [one.contact for one in lines if one.shorted_to_ground] == ["4", "6"]
    assert met(T10, -1, "module") == ["34"]


def test_one_place_towards_high_numbers_hurts_the_panel_instead() -> None:
    assert met(T10, 1, "module", LED_PLUS_MV) == ["28"]
    assert "28" not in met(T10, 1, "board")
    # there the plug's 3V3D spans 4, 6 and 8: the 1.8 V rail meets 3.3 V
    rail = next(one for one in overstress_map(T10, "J7", 1) if one.contact == "8" and one.meets == "board")
    assert (rail.volts_mv, rail.over_limit_mv) == (3300, 1200)


def test_a_plug_in_its_place_meets_nothing() -> None:
    assert overstress_map(T10, "J7", 0) == ()


def test_the_story_of_that_slip_says_28_was_hit_and_29_was_not() -> None:
    intake = Intake(what_happened=("battery_in_during_change", "plug_went_in_crooked"))
    opinion = form_opinion(replace(sheet_of(T10), socket="J7", intake=intake))
    slip = next(one for one in opinion.stories if one.kind == "plug_off_by" and one.subject == "-1")
    reason = next(one for one in slip.reasons if one.code == "met_voltage")
    assert reason.contacts == ("28",)


# ---- small sockets -----------------------------------------------------------------------------


def rail_beside_lines(**socket: Any) -> BoardVersion:
    """LINE, RAIL, LINE, LINE: one live rail between signals, in one row."""
    contacts: list[Contact] = [
        line("1", "control", limit_mv=2100),
        line("2", "rail_5v", working_mv=5000, limit_mv=6000, sourced_by="board"),
        line("3", "control", limit_mv=2100),
        line("4", "control", limit_mv=2100),
    ]
    return board_of(contacts, **socket)


@pytest.mark.parametrize(("slip", "plug"), [(-1, "3"), (1, "1")])
def test_a_rail_lands_on_the_plugs_line_that_stands_on_it_and_on_no_line_of_the_board(slip: int, plug: str) -> None:
    board = rail_beside_lines()
    assert met(board, slip, "module", 5000) == [plug]
    assert met(board, slip, "board") == []


def test_joined_in_the_module_the_rail_comes_back_to_the_board() -> None:
    board = rail_beside_lines(module_joins=(("3", "4"),))
    # one towards low numbers: plug 3 stands on the rail, plug 4 on socket 3
    assert met(board, -1, "board", 5000) == ["3"]
    assert met(board, -1, "module", 5000) == ["3", "4"]


def test_a_module_that_is_a_source_puts_its_voltage_on_the_board() -> None:
    contacts = [
        line("1", "control", limit_mv=2100),
        line("2", "rail_5v", working_mv=5000, limit_mv=6000, sourced_by="module"),
        line("3", "control", limit_mv=2100),
    ]
    assert met(board_of(contacts), 1, "board", 5000) == ["3"]
    assert met(board_of(contacts), -1, "board", 5000) == ["1"]


def test_a_rail_on_a_ground_is_a_short_and_puts_its_voltage_nowhere() -> None:
    # plug 3 (ground) stands on the rail, plug 4 (ground) on socket 3 (ground), and the module joins its grounds
    contacts = [
        line("1", "ground"),
        line("2", "rail_5v", working_mv=5000, sourced_by="board"),
        line("3", "ground"),
        line("4", "ground"),
    ]
    lines = overstress_map(board_of(contacts), "J1", -1)
    assert [(one.contact, one.shorted_to_ground, one.over_limit_mv) for one in lines] == [("2", True, None)]


def test_a_limit_nobody_knows_is_taken_from_the_table_of_io_lines() -> None:
    contacts = [line("1", "control"), line("2", "rail_5v", working_mv=5000, sourced_by="module"), line("3", "ground")]
    hit = overstress_map(board_of(contacts), "J1", -1)[0]
    assert (hit.contact, hit.limit_mv, hit.over_limit_mv) == ("1", 2100, 2900)


def test_the_resistor_on_the_way_is_named() -> None:
    contacts = [
        line("1", "control", path=(SeriesPart(part="R1", ohm=1000),)),
        line("2", "rail_5v", working_mv=5000, sourced_by="module"),
        line("3", "ground"),
    ]
    assert overstress_map(board_of(contacts), "J1", -1)[0].through_ohm == pytest.approx(1005)


def test_lines_are_sorted_by_side_and_place_and_each_contact_is_told_once_a_side() -> None:
    for board in ALL_BOARDS:
        numbers = [contact for row in board.sockets[0].rows for contact in row.contacts]
        for slip in SLIPS:
            lines: tuple[Overstress, ...] = overstress_map(board, board.sockets[0].ref, slip)
            keys = [(one.meets, numbers.index(one.contact)) for one in lines]
            assert keys == sorted(keys)
            assert len(keys) == len(set(keys))


def test_an_unknown_socket_is_refused() -> None:
    with pytest.raises(SheetError, match="J8"):
        overstress_map(T10, "J8", 1)


# ---- how likely a plug sits off ----------------------------------------------------------------


@pytest.mark.parametrize("kind", ["usb_c", "hdmi"])
def test_a_plug_in_a_shell_is_never_told_to_sit_off_its_place(kind: SocketKind) -> None:
    crooked = Intake(what_happened=("plug_went_in_crooked", "battery_in_during_change", "spark_seen"))
    for board in (P1, T10):
        held = replace(board, sockets=(replace(board.sockets[0], kind=kind),))
        opinion = form_opinion(replace(sheet_of(held, intake=crooked), socket=held.sockets[0].ref))
        assert not any(one.kind == "plug_off_by" for one in opinion.stories)
        assert not any("plug_off_by" in (one.second or "") for one in opinion.stories)


def odds_of_a_slip(board: BoardVersion, kind: SocketKind) -> float:
    """The odds of any slip before anything is read, with the socket held this way."""
    held = replace(board, sockets=(replace(board.sockets[0], kind=kind),))
    crooked = Intake(what_happened=("plug_went_in_crooked", "battery_in_during_change"))
    opinion = form_opinion(replace(sheet_of(held, intake=crooked), socket=held.sockets[0].ref))
    return sum(one.odds for one in opinion.stories if one.kind == "plug_off_by")


def test_an_open_header_lets_a_plug_sit_off_more_than_a_moulded_socket() -> None:
    for board in (T10, V2):
        header, zif, moulded = (odds_of_a_slip(board, kind) for kind in ("open_header", "zif", "mezzanine"))
        assert header > 1.5 * zif > 1.5 * moulded
