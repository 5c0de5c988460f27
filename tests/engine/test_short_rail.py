"""A shorted rail: nothing above the lowest rail that may be joined, ohms first, and points that make no sense named."""

from typing import Any

import msgspec
import pytest

from demo.shop.boards.marlbeck_s4 import S4
from demo.shop.boards.quillon_t10 import T10
from server.engine.errors import SheetError
from server.engine.sheet_grid import Grid, factor, potentials
from server.engine.shorts import short_rail, short_rail_json
from shared_models.board import BoardDrawing, BoardPad, BoardVersion, Contact, Row, SeriesPart, Socket
from shared_models.power import RailPoint
from shared_models.reading import AtRail, AtTestPoint, BetweenContacts, OfJob, Reading, Touch
from shared_models.shorts import RailBeside, ShortRail, ShortRailQuestion


def ohms(at: int, touch: Touch, as_typed: str) -> Reading:
    return Reading(
        id=f"r{at}", of=OfJob(job_id="j"), socket="J3", kind="ohms", touch=touch, as_typed=as_typed,
        display_unit="ohm", meter_id="m", lead_on_ground=None, taken_at_ms=at,
    )


def point(at: int, squares: float | None, mv: float, **more: Any) -> RailPoint:
    return RailPoint(**{
        "id": f"p{at}", "job_id": "j", "rail": "3V3", "place": f"C{at}", "mv": mv, "along_squares": squares,
        "injected_mv": 300, "injected_ma": 1000, "taken_at_ms": at, **more,
    })


def ask(points: tuple[RailPoint, ...] | list[RailPoint] = (), **more: Any) -> ShortRail:
    told = {"board": S4, "rail": "3V3", "data_matters": "no", **more}
    return short_rail(ShortRailQuestion(points=tuple(points), **told))


APART = (
    ohms(1, AtTestPoint(name="3V3 to VCORE"), "OL"),
    ohms(2, AtTestPoint(name="VMEM to 3V3"), "4.7k"),
    ohms(3, AtTestPoint(name="3V3 to 1V8"), "OL"),
)


def beside(answer: ShortRail, net: str) -> RailBeside:
    return next(one for one in answer.beside if one.net == net)


def codes(answer: ShortRail) -> list[str]:
    return [one.code for one in answer.refusals]


# ---- ohms first ------------------------------------------------------------------------------------


def test_until_every_core_rail_is_measured_nothing_is_injected() -> None:
    answer = ask()
    assert [one.net for one in answer.beside if one.must] == ["VCORE", "VMEM"]
    assert not answer.may_inject
    assert answer.waits_for == ("Ohms from 3V3 to VCORE, VMEM come before any injection.",)
    half = ask(readings=APART[:1])
    assert half.waits_for == ("Ohms from 3V3 to VMEM come before any injection.",)
    assert ask(readings=APART).may_inject


def test_the_ceiling_is_the_lowest_rail_that_is_not_proved_apart() -> None:
    assert (ask().supply.ceiling_mv, ask().supply.ceiling_rail) == (1000, "VCORE")
    assert (ask(readings=APART[:1]).supply.ceiling_mv, ask(readings=APART[:1]).supply.ceiling_rail) == (1200, "VMEM")
    assert (ask(readings=APART[:2]).supply.ceiling_mv, ask(readings=APART[:2]).supply.ceiling_rail) == (1800, "1V8")
    whole = ask(readings=APART)
    assert (whole.supply.ceiling_mv, whole.supply.ceiling_rail) == (3300, "3V3")
    assert (whole.supply.start_mv, whole.supply.start_ma) == (500, 1000)
    assert (ask().supply.start_mv, ask().supply.start_ma) == (300, 1000)


def test_a_joint_is_told_from_two_rails_that_only_meet_at_ground() -> None:
    grounds = (ohms(10, AtRail(net="3V3"), "0.4"), ohms(11, AtRail(net="VCORE"), "2.2"))
    for between, state in (("2.6", "apart"), ("0.3", "joined"), ("250", "apart")):
        answer = ask(readings=(*grounds, ohms(12, AtTestPoint(name="3V3 to VCORE"), between)))
        assert beside(answer, "VCORE").state == state, between
    alone = ask(readings=(ohms(12, AtTestPoint(name="3V3 to VCORE"), "2.6"),))
    assert beside(alone, "VCORE").state == "joined" and "would tell" in beside(alone, "VCORE").sentence
    low = (ohms(10, AtRail(net="3V3"), "0.1"), ohms(11, AtRail(net="VCORE"), "0.2"))
    unclear = ask(readings=(*low, ohms(12, AtTestPoint(name="3V3 to VCORE"), "0.3")))
    assert beside(unclear, "VCORE").state == "joined" and "cannot tell" in beside(unclear, "VCORE").sentence


def test_a_joined_core_rail_keeps_the_ceiling_though_it_was_measured() -> None:
    answer = ask(readings=(*APART, ohms(20, AtTestPoint(name="3V3 to VCORE"), "0.2")))
    assert beside(answer, "VCORE").state == "joined"
    assert (answer.supply.ceiling_mv, answer.supply.start_mv) == (1000, 300)
    assert "VCORE may be joined to 3V3 and takes no more" in answer.supply.sentences[1]


def test_ohms_taken_back_corrected_or_at_the_plug_do_not_count() -> None:
    assert not ask(readings=APART, removed_ids=("r1",)).may_inject
    over = msgspec.structs.replace(ohms(9, AtTestPoint(name="3V3 to VCORE"), "0.2"), supersedes="r1")
    assert beside(ask(readings=(*APART, over)), "VCORE").state == "joined"
    plug = msgspec.structs.replace(APART[0], subject="module_plug")
    assert beside(ask(readings=(plug,)), "VCORE").state == "not_measured"
    reach = ohms(1, AtTestPoint(name="3V3 to VCORE"), "out of reach")
    assert beside(ask(readings=(reach,)), "VCORE").state == "not_measured"


def test_contact_to_contact_ohms_count_too() -> None:
    one, other = (
        next(contact.number for contact in S4.sockets[0].contacts if contact.net == net) for net in ("3V3", "VMEM")
    )
    answer = ask(readings=(ohms(1, BetweenContacts(contact_a=other, contact_b=one), "OL"),))
    assert beside(answer, "VMEM").state == "apart"


def test_where_no_core_is_named_one_is_asked_for_all_the_same() -> None:
    answer = short_rail(ShortRailQuestion(board=T10, rail="3V3D", data_matters="no"))
    assert (answer.beside[0].net, answer.beside[0].must, answer.beside[0].assumed) == ("core", True, True)
    assert (answer.supply.ceiling_mv, answer.may_inject) == (700, False)
    assert "processor's core, at its coil" in answer.beside[0].sentence


def test_a_part_in_line_joins_two_rails_whatever_was_measured() -> None:
    lines = (
        Contact(number="1", net="5V", role="rail_5v", working_mv=5000, path=(
            SeriesPart(part="FB1", ohm=0.1, far_net="1V8A"),
        )),
        Contact(number="2", net="1V8A", role="io_rail", working_mv=1800),
    )
    board = BoardVersion(id="b", device="d", board="b", sockets=(Socket(
        ref="J1", kind="zif", pitch_mm=0.5, rows=(Row(name="r", contacts=("1", "2")),), contacts=lines,
    ),))
    told = short_rail(ShortRailQuestion(board=board, rail="5V", data_matters="no"))
    assert beside(told, "1V8A").state == "through_part" and "FB1" in beside(told, "1V8A").sentence


def test_data_that_matter_are_asked_about_twice() -> None:
    for matters in ("yes", "not_asked"):
        once = ask(readings=APART, data_matters=matters)
        assert not once.may_inject and "ask again" in once.waits_for[0]
        assert ask(readings=APART, data_matters=matters, asked_twice=True).may_inject


def test_volts_above_the_ceiling_are_refused_in_words() -> None:
    answer = ask(readings=APART[1:], set_mv=1200)
    assert (answer.may_inject, codes(answer)) == (False, ["above_ceiling"])
    assert answer.refusals[0].sentence.startswith("1.2 V is above the ceiling of 1 V: VCORE may be joined to 3V3")
    assert codes(ask(readings=APART, set_mv=3300)) == []
    taken = ask([point(1, 0, 40, injected_mv=1500)])
    assert codes(taken) == ["taken_above_ceiling"] and "C1 (40 mV)" in taken.refusals[0].sentence
    assert taken.refusals[0].point_ids == ("p1",)


def test_a_rail_the_board_has_not_is_refused_by_name() -> None:
    with pytest.raises(SheetError) as refused:
        ask(rail="9V9")
    assert (refused.value.problem.given, refused.value.problem.example) == ("9V9", "1V8")


def test_cautions_name_what_burns_and_end_with_local_codes() -> None:
    answer = ask()
    whole = " ".join(answer.cautions)
    for word in ("burn", "flame", "dry before power", "Frost is water", "Glasses", "output capacitor"):
        assert word in whole, word
    assert answer.cautions[-1] == "Local codes and licensed practice come first."
    assert "Heat first" in answer.heat[0]


# ---- millivolts ----------------------------------------------------------------------------------------

FALLS = [point(at, 10.0 * at, 50.0 - 5 * min(at, 6)) for at in range(11)]


def changed(at: int, **fields: Any) -> list[RailPoint]:
    return [msgspec.structs.replace(one, **fields) if one.id == f"p{at}" else one for one in FALLS]


@pytest.mark.parametrize(("points", "code", "names"), [
    (changed(8, mv=-4.0), "negative", "C8 (-4 mV)"),
    (changed(8, mv=700.0), "above_injected", "C8 (700 mV)"),
    ([point(at, 10.0 * at, 20.0) for at in range(5)], "all_equal", "C0 (20 mV), C1 (20 mV)"),
    (changed(8, is_end=True), "beyond_end", "C9 (20 mV), C10 (20 mV)"),
    ([point(at, 10.0 * at, 20.0 + 4 * at) for at in range(5)], "rises", "C0 (20 mV), C4 (36 mV)"),
    ([point(0, 0, 20), point(1, 10, 30)], "rises", "C0 (20 mV), C1 (30 mV)"),
    ([point(at, 10.0 * at, 50.0 - 5 * min(at, 6) - 2 * max(0, at - 6)) for at in range(11)],
     "return_carries_current", "C7 (18 mV), C8 (16 mV), C9 (14 mV), C10 (12 mV)"),
    ([point(at, 10.0 * at, 50.0 - 4 * at, is_end=at == 10) for at in range(11)],
     "falls_to_the_end", "C9 (14 mV), C10 (10 mV)"),
])
def test_millivolts_without_sense_are_refused_by_the_points_they_stand_at(
    points: list[RailPoint], code: str, names: str
) -> None:
    answer = ask(points, readings=APART)
    assert codes(answer) == [code]
    assert answer.refusals[0].sentence.startswith(names)
    assert set(answer.refusals[0].point_ids) <= {one.id for one in points}
    assert answer.line is None
    assert answer.may_inject  # all else is still answered


def test_one_wrong_point_is_set_aside_by_name_and_two_are_refused() -> None:
    fit = ask(changed(8, mv=44.0)).line
    assert fit is not None
    assert [one.place for one in fit.points if one.set_aside] == ["C8"]
    assert fit.at_squares == pytest.approx(60, abs=0.1)
    both = [msgspec.structs.replace(one, mv=44.0) if one.id in ("p8", "p2") else one for one in FALLS]
    assert codes(ask(both)) == ["more_than_one_wrong"]


def test_the_place_comes_with_its_interval_and_the_next_place_narrows_it() -> None:
    few = [FALLS[at] for at in (0, 3, 8, 10)]
    answer = ask(few)
    assert answer.line is not None and answer.next_place is not None
    assert answer.line.low_squares < 60 < (answer.line.high_squares or 1e9)
    next_place = answer.next_place
    assert next_place.now is not None and next_place.then is not None and next_place.then < next_place.now
    assert next_place.along_squares is not None
    at = next_place.along_squares
    more = ask([*few, point(20, at, round(50 - 0.5 * min(at, 60), 1))]).line
    assert more is not None and more.high_squares is not None
    assert more.high_squares - more.low_squares < (answer.line.high_squares or 1e9) - answer.line.low_squares


def test_the_first_places_are_the_injection_the_end_the_middle() -> None:
    told = [ask(points).next_place for points in ([], FALLS[:1], [FALLS[0], FALLS[10]])]
    assert [one.along_squares if one else None for one in told] == [0.0, None, 50.0]
    fourth = ask([FALLS[0], FALLS[5], FALLS[10]]).next_place
    assert fourth is not None and "One more place" in fourth.sentence


def test_while_it_still_falls_at_the_last_point_it_says_to_go_farther() -> None:
    answer = ask(FALLS[:5])
    assert answer.line is not None and answer.line.high_squares is None
    assert "Measure beyond it" in answer.line.sentence
    assert answer.next_place is not None and (answer.next_place.along_squares or 0) > 40


def test_points_of_another_current_return_or_rail_are_set_aside_by_name() -> None:
    newest = [msgspec.structs.replace(one, taken_at_ms=100 + one.taken_at_ms) for one in FALLS]
    other = [
        point(30, 5, 400, injected_ma=2000), point(31, 5, 31, return_at="screw hole"), point(32, 5, 33, rail="1V8"),
    ]
    answer = ask([*newest, *other])
    assert answer.line is not None and len(answer.line.points) == len(FALLS)
    assert [one.point_id for one in answer.set_aside] == ["p30", "p31"]


def test_a_corrected_point_and_one_taken_back_are_gone() -> None:
    wrong = point(40, 80, 900)
    right = point(41, 80, 20, supersedes="p40")
    assert codes(ask([*FALLS, wrong, right])) == []
    assert codes(ask([*FALLS, wrong], removed_ids=("p40",))) == []
    assert codes(ask([*FALLS, wrong])) == ["above_injected"]


def test_squares_that_no_foil_fits_are_doubted_in_words() -> None:
    answer = ask([msgspec.structs.replace(one, along_squares=(one.along_squares or 0) / 100) for one in FALLS])
    assert answer.line is not None and "is no copper foil" in answer.line.sentence


# ---- a plane -----------------------------------------------------------------------------------------------

PADS = tuple(
    BoardPad(part=f"C{10 * row + column}", pin="1", net="3V3", x_mm=12.0 * column, y_mm=9.0 * row, side="top")
    for row in range(5) for column in range(6)
)
BOARD = msgspec.structs.replace(S4, drawing=BoardDrawing(pads=PADS))


def over(at: int, part: str, mv: float, **more: Any) -> RailPoint:
    pad = next(one for one in PADS if one.part == part)
    return point(at, None, mv, x_mm=pad.x_mm, y_mm=pad.y_mm, place=part, injected_ma=3000, **more)


def fallen(short: str) -> dict[str, float]:
    """What pads stand at on a finer sheet than the engine's own, the injection at C0."""
    grid = Grid(-3.0, -2.0, 1.5, 28, 45, False)
    pads = {one.part: grid.node_at(one.x_mm, one.y_mm) for one in PADS}
    below = potentials(factor(grid, pads["C0"]), pads[short])
    return {part: round(40 - 1.5 * below[node], 2) for part, node in pads.items()}


@pytest.mark.parametrize("short", ["C23", "C41", "C5"])
def test_on_a_plane_following_the_next_pad_names_the_shorted_one(short: str) -> None:
    stands = fallen(short)
    points = [over(0, "C0", 45.0, is_injection=True)]
    answer = ask(points, board=BOARD)
    for at in range(1, 9):
        if answer.next_place is None:
            break
        points.append(over(at, answer.next_place.part, stands[answer.next_place.part]))
        answer = ask(points, board=BOARD)
    assert answer.plane is not None
    assert short in [one.part for one in answer.plane.spots[:2]]
    pad = next(one for one in PADS if one.part == short)
    assert abs(answer.plane.x_mm - pad.x_mm) < 8 and abs(answer.plane.y_mm - pad.y_mm) < 8
    assert codes(answer) == []


def test_a_place_beyond_the_pads_and_one_above_the_injection_are_refused_by_name() -> None:
    start = [over(0, "C0", 45.0, is_injection=True), over(1, "C5", 38.0)]
    out = msgspec.structs.replace(over(2, "C45", 30.0), x_mm=300.0)
    assert [(one.code, one.point_ids) for one in ask([*start, out], board=BOARD).refusals] == [
        ("outside_the_copper", ("p2",)),
    ]
    assert codes(ask([*start, over(3, "C45", 49.0)], board=BOARD)) == ["rises"]


def test_typed_places_without_a_drawing_give_a_neighbourhood() -> None:
    stands = fallen("C23")
    parts = ("C5", "C40", "C45", "C12", "C33", "C24")
    points = [over(0, "C0", 45.0, is_injection=True)]
    points += [over(at, part, stands[part]) for at, part in enumerate(parts, 1)]
    answer = ask(points)
    assert answer.plane is not None and answer.plane.spots[0].part == ""
    assert answer.next_place is None or 0 <= (answer.next_place.x_mm or 0) <= 60  # never beyond what was measured
    assert abs(answer.plane.x_mm - 36) < 12 and abs(answer.plane.y_mm - 18) < 12


def test_with_few_places_and_no_drawing_the_next_lies_between_them() -> None:
    corners = {(0.0, 0.0): 52.0, (50.0, 2.0): 47.1, (0.0, 30.0): 47.6, (48.0, 30.0): 46.2}
    points = [
        point(at, None, mv, x_mm=x, y_mm=y, injected_ma=3000, is_injection=at == 0)
        for at, ((x, y), mv) in enumerate(corners.items())
    ]
    told = ask(points).next_place
    assert told is not None and told.x_mm is not None and told.y_mm is not None
    assert 0 <= told.x_mm <= 50 and 0 <= told.y_mm <= 30


def test_the_door_takes_and_gives_json_and_the_order_of_records_does_not_matter() -> None:
    question = ShortRailQuestion(board=S4, rail="3V3", points=tuple(FALLS), readings=APART)
    turned = msgspec.structs.replace(question, points=tuple(reversed(FALLS)), readings=tuple(reversed(APART)))
    answer = short_rail_json(msgspec.json.encode(question))
    assert answer == short_rail_json(msgspec.json.encode(turned))
    assert msgspec.json.decode(answer, type=ShortRail) == short_rail(question)
