"""A bridge that holds a whole rail down, and second faults that come with a first.

That the lower of two joined junctions takes the current is physics (checked against the simulator in
`tests/outside/test_ngspice_first_form.py`); shares of what goes together are common practice, no source.
"""

import math

import pytest

from server.engine.door import form_opinion
from server.engine.prepared import prepare
from shared_models.board import BoardVersion
from tests.engine.test_other_places import small
from tests.engine.test_things_seen_move_the_odds import odds
from tests.support.benches import board_of, line, nine_boards, sheet_of, touched

LANES = ("3", "4", "5", "6")
RAIL = ("2", "7", "8")
MEANS = {"1": 0.5, **dict.fromkeys(RAIL, 430.0), **dict.fromkeys(LANES, 338.0), "9": 470.0}


def board() -> BoardVersion:
    rail = {n: line(n, "rail_5v", net="5V0", working_mv=5000, sourced_by="board") for n in RAIL}
    lines = {n: line(n, "lane", leads_to="U1") for n in LANES}
    ends = {"1": line("1", "ground"), "9": line("9", "control", leads_to="U2")}
    every = {**rail, **lines, **ends}
    return board_of([every[n] for n in sorted(every)])


def read(**other: str) -> dict[str, str | float]:
    """What is typed of each contact: the mean of healthy boards, but for `c2="334"` and the like."""
    healthy = {contact: f"{mv:.0f}" for contact, mv in MEANS.items()}
    return {**healthy, "1": "0", **{name.removeprefix("c"): typed for name, typed in other.items()}}


def test_a_line_bridged_to_a_rail_holds_the_rail_down_at_all_its_contacts() -> None:
    sheet = sheet_of(board(), touched(read(c2="334", c7="333", c8="334", c3="334")), known=nine_boards(MEANS))
    assert odds(sheet, "bridge", "2-3") > 0.5
    opinion = form_opinion(sheet)
    assert (opinion.stories[0].kind, opinion.stories[0].subject) == ("bridge", "2-3")
    assert {one.verdict for one in opinion.contacts if one.contact in RAIL} == {"low"}


def test_a_rail_as_low_as_no_line_beside_it_is_no_bridge() -> None:
    sheet = sheet_of(board(), touched(read(c2="250", c7="250", c8="251")), known=nine_boards(MEANS))
    assert odds(sheet, "bridge", "2-3") < 0.01


def test_a_line_that_reads_higher_is_held_down_by_the_rail() -> None:
    means = {**MEANS, "9": 520.0}
    sheet = sheet_of(board(), touched(read(c8="428", c9="428")), known=nine_boards(means))
    assert odds(sheet, "bridge", "8-9") > 0.3


def test_an_event_has_its_share_once_with_all_that_goes_with_it() -> None:
    sheet = small({})
    for one in (sheet, sheet_of(board(), known=nine_boards(MEANS))):
        prepared = prepare(one)
        log_alone, log_beside = prepared.companions
        together = {first for first, _ in log_beside}
        assert {prepared.stories[first].kind for first in together} >= {"plugged_live", "wet"}
        for first in range(len(prepared.stories)):
            with_it = [math.exp(beside) for (a, _), beside in log_beside.items() if a == first]
            assert math.exp(log_alone[first]) + math.fsum(with_it) == pytest.approx(1)


def test_a_fuse_goes_with_a_live_event_oftener_than_by_itself() -> None:
    sheet = sheet_of(board(), touched(read(c2="475", c7="475", c8="476", c3="60", c4="140")), known=nine_boards(MEANS))
    leading = form_opinion(sheet).stories[0]
    assert leading.kind == "plugged_live"
    assert leading.second == "series_open 5V0"
    assert leading.second_odds > 0.9
