"""The picture before the work: both sides kept apart, state by state, and nothing said that cannot happen."""

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from demo.shop.boards.brennock_l14 import L14
from demo.shop.boards.quillon_t10 import T10
from demo.shop.boards.skarrow_v2 import V2
from demo.shop.boards.tolvane_p1 import P1
from server.engine.bench_doors import overstress_json, overstress_picture
from server.engine.errors import SheetError
from server.engine.overstress_picture import clamp_ma
from shared_models.board import BoardVersion, Contact, ContactCorrection, Net, Row, SeriesPart, Socket
from shared_models.overstress import Meeting, OverstressMap, OverstressQuestion, PlugState


def picture(board: BoardVersion, socket: str) -> OverstressMap:
    return overstress_picture(OverstressQuestion(board=board, socket=socket))


def meetings(told: OverstressMap, way: str, state: PlugState) -> dict[tuple[str, str], Meeting]:
    case = next(case for case in told.cases if (case.way, case.state) == (way, state))
    return {(meeting.meets, meeting.contact): meeting for meeting in case.meetings}


T10_MAP = picture(T10, "J7")


def test_one_place_off_lit_the_touch_line_meets_the_led_rail_through_what_the_panel_joins() -> None:
    hit = meetings(T10_MAP, "off_by:-1", "lit")["board", "28"]
    assert (hit.volts_mv, hit.limit_mv, hit.from_contact, hit.joined_by) == (28_000, 2_100, "30", ("30", "32"))
    assert (hit.through, hit.through_ohm, hit.into, hit.at_risk) == (("R214",), 33, "U1", True)
    assert hit.times_limit == pytest.approx(13.33)
    assert hit.energy_mj == pytest.approx(1.84)
    assert hit.source_ma == 120
    assert hit.source_ohm == 0.2  # F3, before LED+
    assert hit.clamp_ma == pytest.approx((28_000 - 1_800 - 600) / 33.2, abs=0.01)
    assert hit.lasting_ma == 120  # what the boost gives once C88 is empty
    assert "1.8 mJ at once, then up to 120 mA" in hit.sentence
    assert ("board", "29") not in {key for key, one in meetings(T10_MAP, "off_by:-1", "lit").items() if one.over_limit}


def test_the_led_rail_stands_where_the_state_puts_it() -> None:
    volts = {
        state.id: meetings(T10_MAP, "off_by:-1", state.id)["board", "28"].volts_mv for state in T10_MAP.states
    }
    assert volts == {
        "battery_off": 24_000,  # what ten LEDs leave
        "battery_in_off": 3_900,  # the main rail less the boost's diode
        "asleep": 3_900,
        "lit": 28_000,
        "just_unplugged": 35_000,  # a quarter above, where nobody wrote the driver's limit down
    }


def test_a_written_overvoltage_limit_is_taken() -> None:
    nets = tuple(replace(net, overvoltage_mv=31_000) if net.name == "LED_A" else net for net in T10.nets)
    told = picture(replace(T10, nets=nets), "J7")
    assert meetings(told, "off_by:-1", "just_unplugged")["board", "28"].volts_mv == 31_000


def test_what_the_module_meets_is_kept_apart() -> None:
    lit = meetings(T10_MAP, "off_by:-1", "lit")
    assert lit["module", "34"].from_contact == "32"
    assert lit["module", "34"].into is None and lit["module", "34"].clamp_ma is None
    assert lit["board", "4"].shorted_to_ground and not lit["board", "4"].over_limit


def test_the_three_worst_are_three_lines_and_the_data_come_first() -> None:
    assert len(T10_MAP.worst) == 3
    assert "holds or guards the data" in T10_MAP.worst[0].sentence
    assert len({worst.sentence.split(": ", 1)[1].split(" meets")[0] for worst in T10_MAP.worst}) == 3


def test_a_usb_c_plug_cannot_sit_off_and_the_picture_says_so() -> None:
    told = picture(P1, "J1")
    assert {way.kind for way in told.ways} == {"tool_along", "tool_across"}
    assert "cannot sit off" in told.notes[0]
    assert meetings(told, "tool_along", "lit") != {}


def test_only_a_flat_cable_can_be_flipped() -> None:
    assert "flipped" not in {way.id for way in T10_MAP.ways}
    flipped = next(way for way in picture(V2, "J2").ways if way.id == "flipped")
    assert {(one.plug, one.socket) for one in flipped.stands} == {(str(n), str(23 - n)) for n in range(1, 23)}


def test_a_tool_joins_neighbours_along_and_across() -> None:
    across = meetings(T10_MAP, "tool_across", "lit")
    assert across["board", "29"].from_contact == "30"
    along = meetings(T10_MAP, "tool_along", "lit")
    assert along["board", "28"].from_contact == "30" and along["board", "34"].from_contact == "32"
    assert "3" not in {one.contact for one in along.values() if one.volts_mv >= 28_000}


def test_under_a_tool_the_module_meets_what_the_board_meets_while_it_is_in() -> None:
    along = meetings(T10_MAP, "tool_along", "lit")
    assert along["module", "28"].volts_mv == along["board", "28"].volts_mv == 28_000
    assert along["module", "28"].clamp_ma is None  # nobody wrote down what lies in the module
    unplugged = meetings(T10_MAP, "tool_along", "just_unplugged")
    assert {meets for meets, _ in unplugged} == {"board"}


def test_a_turned_plug_puts_its_ends_on_the_row_across_and_its_middle_in_place() -> None:
    way = next(way for way in T10_MAP.ways if way.id == "turned:clockwise")
    on = {one.plug: one.socket for one in way.stands}
    assert (on["2"], on["8"], on["15"], on["16"]) == ("1", "7", "15", "16")
    assert (on["33"], on["27"]) == ("34", "28")
    assert "1" not in on and "34" not in on  # they hang free
    other = next(way for way in T10_MAP.ways if way.id == "turned:anticlockwise")
    assert {one.plug: one.socket for one in other.stands}["1"] == "2"
    lit = meetings(T10_MAP, "turned:clockwise", "lit")
    assert lit["board", "30"].shorted_to_ground or lit["board", "32"].shorted_to_ground  # 31 is a ground
    assert any("assumptions" in note for note in T10_MAP.notes)


def test_a_cable_askew_in_a_single_row_joins_neighbours_at_the_end_that_is_not_home() -> None:
    told = picture(V2, "J2")
    home_low = meetings(told, "skewed:first", "lit")
    assert home_low["board", "20"].from_contact == "19"
    assert home_low["module", "20"].volts_mv == 5000
    assert not any(int(number) < 12 for _, number in home_low)
    assert {way.kind for way in T10_MAP.ways}.isdisjoint({"skewed"})


def test_one_row_first_is_told_where_it_brings_a_feed_and_no_ground() -> None:
    rows = (Row(name="row A", contacts=("1", "2")), Row(name="row B", contacts=("3", "4")))
    contacts = (FEED, LINE, GROUND, replace(LINE, number="4", name="RST", net="RST"))
    socket = Socket(ref="J1", kind="mezzanine", pitch_mm=0.5, rows=rows, contacts=contacts)
    told = picture(BoardVersion(id="b", device="d", board="b", sockets=(socket,)), "J1")
    assert [way.words for way in told.ways if way.id.startswith("rocked")] == ["tilted, row A first"]
    assert meetings(told, "rocked:0", "lit")["board", "2"].volts_mv == 5000


def test_a_stiff_source_keeps_the_bound_and_a_weak_one_ends_it() -> None:
    behind = replace(LINE, path=(SeriesPart(part="R1", ohm=100),))
    stiff = meetings(picture(_little(FEED, behind, GROUND), "J1"), "tool_along", "lit")["board", "2"]
    assert stiff.lasting_ma == stiff.clamp_ma == pytest.approx((5000 - 1800 - 600) / 100)
    nets = (Net(name="FEED", source_ma=5),)
    weak = meetings(picture(_little(FEED, behind, GROUND, nets=nets), "J1"), "tool_along", "lit")["board", "2"]
    assert (weak.clamp_ma, weak.lasting_ma) == (stiff.clamp_ma, 5)
    fused = replace(FEED, path=(SeriesPart(part="F1", ohm=30, is_fuse=True),))
    softer = meetings(picture(_little(fused, behind, GROUND), "J1"), "tool_along", "lit")["board", "2"]
    assert softer.clamp_ma == pytest.approx((5000 - 1800 - 600) / 130)


def test_a_pulse_through_a_capacitor_is_not_the_worst_of_it() -> None:
    worst = picture(P1, "J1").worst
    assert "only a pulse" not in worst[0].sentence


def _little(*contacts: Contact, kind: str = "open_header", nets: tuple[Net, ...] = ()) -> BoardVersion:
    rows = (Row(name="row", contacts=tuple(contact.number for contact in contacts)),)
    socket = Socket(ref="J1", kind=kind, pitch_mm=0.5, rows=rows, contacts=contacts)  # type: ignore[arg-type]
    return BoardVersion(id="b", device="d", board="b", sockets=(socket,), nets=nets)


FEED = Contact(number="1", name="FEED", net="FEED", role="panel_supply", working_mv=5000, limit_mv=6000)
LINE = Contact(number="2", name="EN", net="EN", role="control", working_mv=1800, limit_mv=2100)
GROUND = Contact(number="3", name="GND", net="GND", role="ground")


def test_a_tilted_plug_whose_supply_lands_before_a_ground_lifts_its_lines() -> None:
    told = picture(_little(FEED, LINE, replace(LINE, number="4", name="RST", net="RST"), GROUND), "J1")
    assert meetings(told, "tilted:first", "lit")["board", "2"].volts_mv == 5000
    assert meetings(told, "tilted:first", "asleep") == {}
    grounded = picture(_little(GROUND, FEED, LINE), "J1")
    assert meetings(grounded, "tilted:first", "lit") == {}


def test_no_working_voltage_is_said_and_not_guessed() -> None:
    told = picture(_little(replace(FEED, working_mv=None), LINE, GROUND), "J1")
    assert all(case.meetings == () for case in told.cases)
    assert told.worst == ()
    assert "No rail of this socket has a working voltage" in told.notes[0]


def test_a_coupling_capacitor_lets_only_a_pulse_through() -> None:
    behind = replace(LINE, path=(SeriesPart(part="C5", blocks_dc=True),))
    hit = meetings(picture(_little(FEED, behind, GROUND), "J1"), "tool_along", "lit")["board", "2"]
    assert hit.clamp_ma is None and "only a pulse" in hit.sentence


def test_a_correction_counts() -> None:
    correction = ContactCorrection(
        id="c", board_version_id=T10.id, socket="J7", contact="28", limit_mv=30_000, made_at_ms=1
    )
    told = overstress_picture(OverstressQuestion(board=T10, socket="J7", corrections=(correction,)))
    assert not meetings(told, "off_by:-1", "lit")["board", "28"].over_limit


@pytest.mark.parametrize(("board", "socket"), [(T10, "J7"), (V2, "J2"), (L14, "J501"), (P1, "J1")])
def test_every_way_and_state_has_its_case_and_volts_come_from_somewhere(board: BoardVersion, socket: str) -> None:
    told = picture(board, socket)
    assert [(case.way, case.state) for case in told.cases] == [
        (way.id, state.id) for state in told.states for way in told.ways
    ]
    numbers = {contact.number for one in board.sockets for contact in one.contacts}
    for case in told.cases:
        ranks = [meeting.over_limit for meeting in case.meetings]
        assert ranks == sorted(ranks, reverse=True)
        for meeting in case.meetings:
            assert {meeting.contact, meeting.from_contact} <= numbers
            assert meeting.shorted_to_ground or meeting.volts_mv > 0
            assert meeting.over_limit == (
                not meeting.shorted_to_ground and meeting.limit_mv is not None and meeting.volts_mv > meeting.limit_mv
            )


@settings(max_examples=30)
@given(st.permutations(range(34)))
def test_the_order_of_the_contacts_list_changes_no_meeting(order: list[int]) -> None:
    socket = T10.sockets[0]
    shuffled = replace(socket, contacts=tuple(socket.contacts[place] for place in order))
    assert picture(replace(T10, sockets=(shuffled,)), "J7") == T10_MAP


@given(st.floats(0, 60_000), st.floats(0, 5_000), st.floats(0.1, 1e5))
def test_more_ohms_never_let_more_into_a_clamp(volts: float, supply: float, ohm: float) -> None:
    assert clamp_ma(volts, supply, 2 * ohm) <= clamp_ma(volts, supply, ohm)
    assert clamp_ma(supply, supply, ohm) == 0


def test_an_unknown_socket_is_refused_by_name() -> None:
    with pytest.raises(SheetError) as refused:
        picture(T10, "J99")
    assert (refused.value.problem.code, refused.value.problem.example) == ("no_such_socket", "J7")


def test_the_door_takes_and_gives_json() -> None:
    sent = msgspec.json.encode(OverstressQuestion(board=T10, socket="J7"))
    assert msgspec.json.decode(overstress_json(sent), type=OverstressMap) == T10_MAP
