"""Two lines proved joined share one number: no leak is sized from it, and it is said what the bridge alone explains."""

import pytest

from server.engine.door import form_opinion
from shared_models.board import BoardVersion
from shared_models.opinion import ContactOpinion, Reason
from shared_models.reading import BetweenContacts
from tests.support.benches import at_place, board_of, line, nine_boards, sheet_of, touched

LINES = tuple(str(n) for n in range(2, 8))
MEANS = {"1": 0.5, **dict.fromkeys(LINES, 340.0)}
APART = board_of([line("1", "ground"), *(line(n, "lane") for n in LINES)])
SIZES = ("left_ohm", "ohm", "leak_ohm")


def told(
    reads_mv: float, between: str | None, *, board: BoardVersion = APART, ends: tuple[str, str] = ("3", "4")
) -> ContactOpinion:
    """Contact 3's opinion; it and the other end read `reads_mv` twice, and `between` ohms from one to the other."""
    drops: dict[str, str | float] = {n: round(mv) for n, mv in MEANS.items()} | dict.fromkeys(ends, reads_mv)
    again = touched({end: reads_mv for end in ends if end != "1"}, prefix="again", start_ms=1_745_000_900_000)
    apart = BetweenContacts(contact_a=ends[0], contact_b=ends[1])
    ohms = [] if between is None else [at_place(apart, between, id="between", kind="ohms", unit="ohm")]
    opinion = form_opinion(sheet_of(board, (*touched(drops), *again, *ohms), known=nine_boards(MEANS)))
    return next(one for one in opinion.contacts if one.contact == "3")


def sizes(opinion: ContactOpinion) -> list[str]:
    return [number.name for reason in opinion.reasons for number in reason.numbers if number.name in SIZES]


def joined(opinion: ContactOpinion) -> list[Reason]:
    return [reason for reason in opinion.reasons if reason.code == "joined_lines"]


def test_a_proved_bridge_explains_a_number_a_little_low_and_no_leak_is_sized() -> None:
    before, after = told(317, None), told(317, "0.3 ohm")
    assert sizes(before) and not joined(before)
    assert (before.verdict, after.verdict) == ("low", "low")
    assert sizes(after) == []
    (reason,) = joined(after)
    assert reason.contacts == ("3", "4")
    assert "joined with 4 (0.3 ohm from contact to contact)" in reason.sentence
    assert reason.sentence.endswith("the bridge alone explains it.")
    # two alike junctions in parallel: n Vt ln 2 and half of the bulk lower, here some 24 mV of 340
    numbers = {number.name: number.value for number in reason.numbers}
    assert numbers["joined_mv"] == pytest.approx(340 - 24, abs=3)


def test_a_number_far_below_two_joined_lines_is_said_to_have_another_cause_and_no_size() -> None:
    after = told(150, "0.3 ohm")
    assert sizes(after) == []
    assert joined(after)[0].sentence.endswith("known once they are apart.")


def test_lines_measured_apart_keep_their_leaks_size() -> None:
    assert sizes(told(317, "4.7 kohm")) and not joined(told(317, "4.7 kohm"))


@pytest.mark.parametrize("between", ["0.8 ohm", "2.0 ohm"])
def test_a_bridge_to_ground_is_the_number_itself(between: str) -> None:
    held = told(3, between, ends=("3", "1"))
    assert sizes(held) and not joined(held)


def test_contacts_of_one_net_are_joined_by_design() -> None:
    one_net = board_of([line("1", "ground"), *(line(n, "lane", net="N" if n in "34" else f"L{n}") for n in LINES)])
    assert not joined(told(317, "0.3 ohm", board=one_net))
