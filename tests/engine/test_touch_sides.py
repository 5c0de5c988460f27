"""A touch on the other side of the board costs turning it over, and stays as cheap as it was where nobody knows."""

import pytest
from msgspec.structs import replace

from server.boards.door import OpenBoard
from server.engine.accept import Facts
from server.engine.accepted_board import accept_board
from server.engine.constants.touches import TOUCHES, TURN_OVER_S
from server.engine.door import form_opinion
from server.engine.touch_sides import sides_of, turned, turning_s, where_now
from shared_models.board import BoardDrawing, BoardVersion
from shared_models.opinion import NextTouch, Opinion
from shared_models.reading import AcrossPart, AtContact, AtPartEnd, AtRail, AtTestPoint, Reading, Touch
from shared_models.sheet import BenchSheet
from tests.support.benches import at_place, sheet_of, touched
from tests.support.invented_board import PARTS, kicad

BOARD = OpenBoard.of(kicad(parts=tuple(
    # the ferrite of the screen's supply lies on the other side, and the light's test point does already
    part._replace(bottom=True) if part.ref == "FB1" else part for part in PARTS)).encode()).traced("J1").board


READ = touched({"1": "0", "2": "030", "3": "030", "4": "0", "7": "0"})


def sheet(board: BoardVersion = BOARD, *readings: Reading) -> BenchSheet:
    return sheet_of(board, readings)


SIDES = sides_of(accept_board(sheet()))
NOBODY = Facts([], [], {}, [])


@pytest.mark.parametrize(("touch", "more"), [
    (AtContact(contact="3"), 0.0), (AcrossPart(part="FB1"), TURN_OVER_S), (AtPartEnd(part="R2", end="far"), 0.0),
    (AtTestPoint(name="TP1"), TURN_OVER_S), (AtRail(net="LED_FEED"), TURN_OVER_S),  # a test point is taken before a pad
    (AtRail(net="LCD_VCC"), 0.0), (AtRail(net="no such"), 0.0), (AcrossPart(part="F9"), 0.0),
])
def test_what_lies_on_the_other_side_than_the_socket_costs_turning_over(touch: Touch, more: float) -> None:
    shown = NextTouch(touch=touch, kind="ohms", title="", gain_bits=0.1, seconds=8, risk=0.0)
    assert turned(SIDES, where_now(SIDES, NOBODY), shown).seconds == 8 + more


def test_the_modules_plug_is_on_no_side_of_the_board() -> None:
    shown = NextTouch(touch=AtRail(net="LED_FEED"), kind="ohms", title="", gain_bits=0.1, seconds=26, risk=0.0,
                      subject="module_plug")
    assert turned(SIDES, where_now(SIDES, NOBODY), shown) == shown


def test_from_below_it_is_the_socket_that_costs_turning_over() -> None:
    assert turning_s(("bottom",), SIDES.socket) == TURN_OVER_S and turning_s(SIDES.socket, SIDES.socket) == 0
    assert turning_s((), ("top",)) == turning_s(("bottom",), ()) == turning_s(("bottom",), ("both",)) == 0


def test_what_lies_under_its_part_is_no_place_to_touch() -> None:
    assert BOARD.drawing is not None
    hidden = tuple(replace(pad, reach="under_part") if pad.part == "FB1" else pad for pad in BOARD.drawing.pads)
    found = sides_of(accept_board(sheet(replace(BOARD, drawing=BoardDrawing(pads=hidden)))))
    assert "FB1" not in found.of_part and found.of_part["R2"] == ("top",)


def unread(opinion: Opinion) -> NextTouch:
    return next(one for one in opinion.next if one.reasons[0].code == "unread")


def test_an_opinion_prices_its_touches_from_the_side_the_probe_is_on() -> None:
    below = at_place(AtTestPoint(name="TP1"), "0.4", id="tp", kind="ohms", unit="ohm")
    for board, more in ((BOARD, TURN_OVER_S), (replace(BOARD, drawing=None), 0.0)):
        before, after = (form_opinion(sheet(board, *READ, *further)) for further in ((), (below,)))
        # the rail is measured at its test point, which lies below
        (rail,) = [one for one in before.next if one.touch == AtRail(net="LED_FEED")]
        assert rail.seconds == TOUCHES["rail_ohms"].seconds + more
        # back from there, more contacts are read in one go: turning over is paid once
        assert unread(after).seconds >= unread(before).seconds + more
        assert (len(unread(after).run) > len(unread(before).run)) is (more > 0)
