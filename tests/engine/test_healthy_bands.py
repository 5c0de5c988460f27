"""The healthy boards of a socket: every board a mark on the band's own scale, under either lead; none is dropped."""

import msgspec
import pytest
from msgspec.structs import replace

from server.engine.door import form_opinion
from server.engine.healthy_bands import healthy_bands, healthy_bands_json
from server.engine.meters import carry
from server.engine.roles import path_of
from shared_models.healthy_bands import HealthyBands
from shared_models.opinion import Band
from shared_models.reading import Meter, OfReferenceBoard
from shared_models.sheet import BenchSheet
from tests.support.benches import BENCH_METER, board_of, line, nine_boards, references, sheet_of, touched

SMALL = Meter(id="small", name="small meter", test_current_ma=0.3, test_current_sd_pct=2.0, open_circuit_mv=2000.0)
BOARD = board_of([line("1", "ground"), line("2", "lane"), line("3", "lane"), line("4", "lane_coupled")])


def at(bands: HealthyBands, contact: str) -> Band:
    return next(one.red for one in bands.contacts if one.contact == contact)


def with_small_board() -> BenchSheet:
    """Nine boards read with the bench meter, and one read with the small one."""
    nine = nine_boards({"2": 338, "3": 340}, spread_mv=2)
    of = OfReferenceBoard(reference_board_id="small-board")
    small = touched({"2": 306, "3": 308, "4": "OL"}, prefix="small", of=of, stage="on_healthy_board", meter_id="small")
    known = {
        "reference_boards": (*nine["reference_boards"], replace(nine["reference_boards"][0], id="small-board")),
        "known_good_readings": (*nine["known_good_readings"], *small),
    }
    return sheet_of(BOARD, known=known, meters=(BENCH_METER, SMALL), meter_id="bench")


def test_a_board_read_with_another_meter_stands_where_this_meter_would_show_it() -> None:
    marks = {mark.reference_board_id: mark for mark in at(healthy_bands(with_small_board()), "2").marks}
    assert len(marks) == 10
    small = marks["small-board"]
    path = path_of(BOARD.sockets[0].contacts[1])
    assert (small.read_mv, small.same_meter, small.counts) == (306.0, False, True)
    assert small.carried_mv == pytest.approx(carry(306, path, 0.3, 23.0, 1.0, 23.0), abs=0.01)
    assert small.carried_mv is not None and small.carried_mv > 330
    assert all(mark.same_meter and mark.carried_mv == mark.read_mv for mark in marks.values() if mark is not small)


def test_the_same_boards_on_the_other_meters_scale() -> None:
    sheet = replace(with_small_board(), meter_id="small")
    marks = {mark.reference_board_id: mark for mark in at(healthy_bands(sheet), "2").marks}
    assert marks["small-board"].carried_mv == marks["small-board"].read_mv == 306.0
    assert marks["good-1"].carried_mv is not None and marks["good-1"].read_mv is not None
    assert marks["good-1"].carried_mv < marks["good-1"].read_mv - 20


def test_the_band_is_the_one_an_opinion_without_readings_shows() -> None:
    sheet = with_small_board()
    opinion = {one.contact: one.band for one in form_opinion(sheet).contacts}
    for one in healthy_bands(sheet).contacts:
        assert replace(one.red, marks=(), set_aside_boards=()) == replace(opinion[one.contact], set_aside_boards=())


def test_a_board_set_aside_by_hand_keeps_its_mark_and_makes_no_band() -> None:
    sheet = with_small_board()
    before = at(healthy_bands(sheet), "2")
    boards = tuple(
        replace(one, set_aside_why="another maker") if one.id == "small-board" else one
        for one in sheet.reference_boards
    )
    after = at(healthy_bands(replace(sheet, reference_boards=boards)), "2")
    aside = next(mark for mark in after.marks if mark.reference_board_id == "small-board")
    assert (len(after.marks), aside.counts) == (10, False)
    assert aside.carried_mv == next(m.carried_mv for m in before.marks if m.reference_board_id == "small-board")
    assert (before.reference_boards, after.reference_boards) == (10, 9)


def test_the_odd_one_out_is_named_and_its_mark_does_not_count() -> None:
    known = references([{"2": mv} for mv in (338, 340, 337, 339, 341, 200)])
    band = at(healthy_bands(sheet_of(BOARD, known=known)), "2")
    assert band.set_aside_boards == ("good-6",)
    assert [mark.reference_board_id for mark in band.marks if not mark.counts] == ["good-6"]


def test_each_lead_has_its_own_marks() -> None:
    red, black = references([{"2": 338}] * 3), references([{"2": 612}] * 3, lead_on_ground="black")
    readings = tuple(replace(one, id=f"{one.id}-black") for one in black["known_good_readings"])
    known = {**red, "known_good_readings": (*red["known_good_readings"], *readings)}
    contact = healthy_bands(sheet_of(BOARD, known=known)).contacts[1]
    assert {mark.read_mv for mark in contact.red.marks} == {338.0}
    assert {mark.read_mv for mark in contact.black.marks} == {612.0}
    assert contact.black.rests_on == "reference_boards"
    assert contact.black.centre_mv == pytest.approx(612, abs=1)


def test_a_board_that_showed_over_has_a_mark_that_says_so() -> None:
    marks = at(healthy_bands(with_small_board()), "4").marks
    assert [(one.reference_board_id, one.reads_ol, one.carried_mv) for one in marks] == [("small-board", True, None)]


def test_json_in_and_out_are_the_same_answer_and_the_jobs_readings_are_not_looked_at() -> None:
    sheet = with_small_board()
    read = replace(sheet, readings=touched({"2": 100, "3": "OL"}))
    assert healthy_bands_json(msgspec.json.encode(read)) == msgspec.json.encode(healthy_bands(sheet))


# ---- meters that never go on a socket --------------------------------------


def test_readings_of_a_meter_above_4_volts_are_set_aside_with_the_reason() -> None:
    led = Meter(id="led", name="LED tester", test_current_ma=1.0, open_circuit_mv=9000.0)
    known = references([{"2": 338, "3": 340}] * 3)
    with_led = references([{"2": 900}], meter_id="led")
    readings = tuple(replace(one, id=f"{one.id}-led") for one in with_led["known_good_readings"])
    known = {**known, "known_good_readings": (*known["known_good_readings"], *readings)}
    job = (*touched({"2": 338}), *touched({"3": 700}, prefix="led", meter_id="led"))
    opinion = form_opinion(sheet_of(BOARD, job, known=known, meters=(BENCH_METER, led)))
    aside = [one for one in opinion.set_aside if one.code == "meter_above_4_volts"]
    assert {one.record_id for one in aside} == {"led-1", "good-1-1-led"}
    assert aside[0].sentence.startswith("Read with LED tester. It puts 9.0 V on its leads in diode mode; above 4 V it")
    assert {one.contact: one.verdict for one in opinion.contacts}["3"] == "unread"
    fits = replace(led, open_circuit_mv=4000.0)
    judged = form_opinion(sheet_of(BOARD, job, known=known, meters=(BENCH_METER, fits)))
    assert not [one for one in judged.set_aside if one.code == "meter_above_4_volts"]


def test_ohms_and_the_modules_own_plug_may_be_read_with_such_a_meter() -> None:
    led = Meter(id="led", name="LED tester", test_current_ma=1.0, open_circuit_mv=9000.0)
    plug = touched({"2": 338}, prefix="plug", meter_id="led", subject="module_plug")
    opinion = form_opinion(sheet_of(BOARD, plug, meters=(BENCH_METER, led)))
    assert "meter_above_4_volts" not in {one.code for one in opinion.set_aside}


# ---- a meter whose limit lies below what a healthy contact reads -----------


@pytest.mark.parametrize(("limit_mv", "first", "second"), [
    (1400.0, "unseen", "unseen"),  # the whole band lies above the limit
    (1500.0, "unread", "unseen"),  # the limit lies within the band: once more, then it cannot be seen
    (3000.0, "unread", "open"),  # this meter would show it
])
def test_over_at_a_hot_plug_line_by_its_role_alone_is_read_by_the_meters_limit(
    limit_mv: float, first: str, second: str
) -> None:
    board = board_of([line("1", "ground"), line("2", "hot_plug_detect"), line("3", "lane"), line("4", "lane")])
    meter = replace(BENCH_METER, open_circuit_mv=limit_mv)
    rest: list[tuple[str, str | float]] = [("1", "0"), ("3", 338), ("4", 339)]
    for touches, verdict in ((1, first), (2, second)):
        opinion = form_opinion(sheet_of(board, touched([*rest, *[("2", "OL")] * touches]), meters=(meter,)))
        assert {one.contact: one.verdict for one in opinion.contacts}["2"] == verdict
