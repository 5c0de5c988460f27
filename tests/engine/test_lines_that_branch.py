"""Lines that branch are judged by their circuit: leaks for any reading, and what is left with a part in line open.

Each is held against the nodal solve of the same circuit, reading by reading; the nodal solve is held against the real
simulator elsewhere.
"""

from typing import Any

import pytest

from server.engine import branches, known_boards
from server.engine.accept import Notes, accept_readings
from server.engine.accepted_board import Board
from server.engine.circuit.anchored import anchored
from server.engine.circuit.behind import circuit_behind
from server.engine.circuit.clamp_fit import junction_of
from server.engine.circuit.parts import GROUND, Part, PartState, forced_current
from server.engine.circuit.readings import prepared as solvable
from server.engine.circuit.readings import read
from server.engine.constants.circuit import LINE_MV
from server.engine.constants.sessions import BULK_OHM
from server.engine.door import form_opinion
from server.engine.faulted import View, leak_ohm
from server.engine.inference import judge
from server.engine.prepared import prepare
from shared_models.board import ChipPin, Clamp, Contact, Pull, SeriesPart, ShuntPart
from shared_models.board import Part as BoardPart
from shared_models.reading import LeadOnGround
from tests.support.benches import board_of, line, nine_boards, sheet_of, touched

PARTS = (
    BoardPart(ref="D7", kind="esd_array"), BoardPart(ref="R5", kind="resistor"), BoardPart(ref="U1", kind="chip"),
)  # fmt: skip
R5, U1 = SeriesPart(part="R5", ohm=33), ChipPin(part="U1", pin="7")
PATHS = {
    "protected": (ShuntPart(part="D7"), R5, U1),
    "pulled up": (R5, Pull(ohm=2200, to_net="1V8"), U1),
    "clamped to a rail": (Clamp(to_net="1V8"), R5, U1),
}
READS = {"red": 470.0, "black": 760.0}


def seen_as(name: str, lead: LeadOnGround) -> tuple[View, Contact, float, float]:
    """The line's view, the contact, and the ideality and air its circuit was drawn with."""
    one = line(2, "bus", leads_to="U1", path=PATHS[name])
    board = board_of([line(1, "ground"), one, line(3, "io_rail", net="1V8")], parts=PARTS)
    means = {"2": READS[lead]}
    known = nine_boards(means, 3.0, lead_on_ground=lead)
    sheet = sheet_of(board, touched({"2": READS[lead]}, lead_on_ground=lead), known=known)
    ready = prepare(sheet)
    judged = judge(sheet, ready, accept_readings(sheet, ready.board, Notes([], [])))
    path = judged.bands[1, lead].path
    assert path is not None
    return judged.views[1, lead], one, path.ideality, judged.at.air_c


@pytest.mark.parametrize("lead", ["red", "black"])
@pytest.mark.parametrize("name", PATHS)
def test_the_leak_of_any_reading_is_the_circuits(name: str, lead: LeadOnGround) -> None:
    view, one, ideality, air_c = seen_as(name, lead)
    assert view.shares, "the circuit was not asked"
    circuit = circuit_behind(one, board_of([one], parts=PARTS), junction_of((LINE_MV, ideality, BULK_OHM)))
    assert circuit is not None
    meter = forced_current(view.current_ma, view.limit_mv)
    leaky = circuit._replace(parts=(*circuit.parts, Part("dirt", "capacitor", "contact", GROUND)))
    ready = anchored(solvable(leaky, air_c), meter, lead, view.loc)
    assert ready is not None
    for ohm in (50.0, 300.0, 1000.0, 3000.0, 10_000.0):
        shown = read(ready, meter, lead, (PartState("dirt", "value", ohm),), short_way=False).drop_mv
        assert shown is not None
        assert leak_ohm(shown, view) == pytest.approx(ohm, rel=0.04), (name, lead, ohm)


def test_with_its_part_in_line_open_a_protected_line_reads_a_little_higher() -> None:
    """The protection part alone takes the whole current: n Vt ln 2 higher, were the two alike."""
    view, *_ = seen_as("protected", "red")
    assert view.cut_mv is not None
    assert 15 < view.cut_mv < 60
    assert seen_as("pulled up", "red")[0].cut_mv is None, "nothing leads off before it: OL, as any other"


def open_odds(name: str, typed: float | str) -> float:
    """The odds that R5 is open once contact 2 was touched twice and read that."""
    lanes = tuple(str(n) for n in range(3, 9))
    one = line(2, "bus", leads_to="U1", path=PATHS[name])
    board = board_of([line(1, "ground"), one, *(line(n, "lane", leads_to="U1") for n in lanes)], parts=PARTS)
    means = {"1": 0.5, "2": 470.0, **dict.fromkeys(lanes, 338.0)}
    drops: dict[str, str | float] = {**{n: round(mv) for n, mv in means.items()}, "2": typed}
    again = touched([("2", typed)], prefix="again", start_ms=1_745_000_900_000)
    opinion = form_opinion(sheet_of(board, (*touched(drops), *again), known=nine_boards(means)))
    return sum(one.odds for one in opinion.stories if (one.kind, one.subject) == ("series_open", "R5"))


def test_that_reading_speaks_for_the_open_part_and_ol_no_longer_does() -> None:
    cut_mv = seen_as("protected", "red")[0].cut_mv
    assert cut_mv is not None
    higher = round(470 + cut_mv)
    assert open_odds("protected", higher) > 5 * open_odds("pulled up", higher)
    assert open_odds("protected", higher) > 5 * open_odds("protected", 470)
    assert open_odds("pulled up", "OL") > 5 * open_odds("protected", "OL")


TWO_PULLED_UP = board_of(
    [
        line(1, "ground"), line(2, "bus", leads_to="U1", path=PATHS["pulled up"]),
        line(3, "bus", leads_to="U1", path=PATHS["pulled up"]), line(4, "bus", leads_to="U1", path=PATHS["protected"]),
        line(5, "io_rail", net="1V8"),
    ],
    parts=PARTS,
)  # fmt: skip
HEALTHY = nine_boards({"2": 452.0, "3": 471.0, "4": 460.0}, 3.0)


def solved_for(monkeypatch: pytest.MonkeyPatch, *drops: str) -> tuple[list[str], dict[tuple[int, str], View]]:
    """The contacts whose circuit was solved once these were read, on a board not seen before; and the views."""
    solved: list[str] = []
    solve = branches._solved

    def counted(board: Board, one: Contact, *told: Any) -> branches.Branching | None:
        solved.append(one.number)
        return solve(board, one, *told)

    monkeypatch.setattr(branches, "_solved", counted)
    monkeypatch.setattr(known_boards, "_MEMO", [])
    sheet = sheet_of(TWO_PULLED_UP, touched(dict.fromkeys(drops, 460.0)), known=HEALTHY)
    ready = prepare(sheet)
    judged = judge(sheet, ready, accept_readings(sheet, ready.board, Notes([], [])))
    return solved, judged.views


def test_a_circuit_is_solved_when_a_line_of_its_shape_was_read(monkeypatch: pytest.MonkeyPatch) -> None:
    assert solved_for(monkeypatch)[0] == []
    assert solved_for(monkeypatch, "4")[0] == ["4"]
    assert sorted(solved_for(monkeypatch, "2", "3", "4")[0]) == ["2", "4"], "two of one shape are asked once"


def test_which_of_two_alike_lines_was_read_first_changes_no_view(monkeypatch: pytest.MonkeyPatch) -> None:
    alone, both = solved_for(monkeypatch, "3")[1], solved_for(monkeypatch, "2", "3")[1]
    assert alone[2, "red"].shares, "the circuit was not asked"
    assert alone[2, "red"].shares == both[2, "red"].shares == both[1, "red"].shares
