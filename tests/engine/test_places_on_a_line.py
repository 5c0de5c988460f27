"""Where along a line the fault lies, from its number: the part in line takes its share before anything behind it.

The readings are the circuit solve's own, with the part that is said to be at fault; what is asked of the engine is
that the story at the right place gains. Common practice, no source: what is left behind a resistor is the chip's.
"""

import pytest

from server.engine.circuit.behind import circuit_behind
from server.engine.circuit.parts import PartState, forced_current
from server.engine.circuit.readings import prepared, read
from server.engine.door import form_opinion
from server.engine.drops import LEAK, LEAK_BEHIND, SHORT, SHORT_BEHIND
from server.engine.prepared import prepare
from server.engine.stories.places import BEHIND_KINDS, placed
from shared_models.board import Part, SeriesPart, ShuntPart
from tests.support.benches import board_of, line, nine_boards, sheet_of, touched

LANES = tuple(str(n) for n in range(3, 9))
R5 = SeriesPart(part="R5", ohm=33)
PARTS = (Part(ref="R5", kind="resistor"), Part(ref="D7", kind="esd_array"), Part(ref="U1", kind="chip"))
CONTROL = line(2, "control", leads_to="U1", path=(R5,))
BOARD = board_of(
    [line(1, "ground"), CONTROL, *(line(n, "lane", leads_to="U1") for n in LANES)], parts=PARTS,
)  # fmt: skip
MEANS = {"1": 0.5, "2": 503.0, **dict.fromkeys(LANES, 338.0)}


def reads(what: str, state: PartState) -> float:
    """What contact 2 reads with one part of its own circuit at fault."""
    circuit = circuit_behind(CONTROL, BOARD)
    assert circuit is not None
    assert any(part.name == what for part in circuit.parts), [part.name for part in circuit.parts]
    shown = read(prepared(circuit, 23.0), forced_current(1.0), "red", (state,)).drop_mv
    assert shown is not None
    return shown


def odds_of(drop_mv: float) -> dict[str, float]:
    """The odds of each kind of story once contact 2 was touched twice and read that."""
    drops: dict[str, str | float] = {**{n: round(mv) for n, mv in MEANS.items()}, "2": round(drop_mv)}
    again = touched([("2", round(drop_mv))], prefix="again", start_ms=1_745_000_900_000)
    opinion = form_opinion(sheet_of(BOARD, (*touched(drops), *again), known=nine_boards(MEANS)))
    told: dict[str, float] = {}
    for one in opinion.stories:
        told[one.kind] = told.get(one.kind, 0.0) + one.odds
    return told


def test_a_shorted_clamp_behind_the_resistor_is_the_chips_and_a_short_before_it_is_not() -> None:
    behind = odds_of(reads("U1.lower", PartState("U1.lower", "short")) + 3)
    before = odds_of(3.0)
    at_chip, at_socket = (
        told.get("chip_damaged", 1e-6) / told.get("shunt_short", 1e-6) for told in (behind, before)
    )
    assert at_chip > 5 * at_socket


def test_shorts_and_leaks_are_shared_out_between_the_two_places() -> None:
    prepared_board = prepare(sheet_of(BOARD))
    for story in prepared_board.stories:
        whole = {SHORT: 0.4, LEAK: 0.4}
        told = dict(placed(tuple(whole.items()), story, prepared_board.board, 1))
        assert sum(told.values()) == pytest.approx(0.8)
        assert told[SHORT] + told[SHORT_BEHIND] == pytest.approx(whole[SHORT])
        assert (told[LEAK_BEHIND] > told[LEAK]) is (story.kind in BEHIND_KINDS), story
        assert placed(tuple(whole.items()), story, prepared_board.board, 2) == tuple(whole.items()), "nothing in line"


@pytest.mark.parametrize("behind", [True, False])
def test_a_protection_part_is_where_the_path_says(behind: bool) -> None:
    d7 = ShuntPart(part="D7")
    contact = line(2, "control", leads_to="U1", path=(R5, d7) if behind else (d7, R5))
    board = board_of([line(1, "ground"), contact, line(3, "lane", leads_to="U1")], parts=PARTS)
    known = prepare(sheet_of(board))
    story = next(one for one in known.stories if one.kind == "shunt_short" and one.part == "D7")
    told = dict(placed(((SHORT, 1.0),), story, known.board, 1))
    assert (told[SHORT_BEHIND] > 0.9) is behind
