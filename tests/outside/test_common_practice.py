"""What every bench takes for granted: common practice, no source.

These are rules of thumb of the trade, passed on by word and never published with a method; each test says
which. They do not prove that a rule is right, only that the engine does not contradict what practice knows.

    near zero where a few hundred millivolts are expected is a short
    OL where healthy boards read a drop is open, once it has been touched twice
    a few per cent high is normal, with the same meter on another board
    an LED rail near 50 V when lit is 15 to 20 times what a 3 V line takes
    the power button held ten seconds after the battery is off helps, and proves nothing
    the same short seen at every contact of a rail is one short
"""

from typing import Any

import pytest

from server.engine.door import form_opinion, overstress_map
from server.engine.reminders import gate_waits_for
from shared_models.job import MakeSafeProof
from shared_models.opinion import ContactOpinion, Opinion
from tests.support.benches import board_of, line, nine_boards, sheet_of, touched, with_readings

LANES = ("2", "3", "4", "5", "6", "7")
MEANS = {"1": 0.5, **dict.fromkeys(LANES, 412.0), "8": 470.0, "9": 395.0, "10": 395.0}
BOARD = board_of(
    [
        line("1", "ground"),
        *(line(n, "lane", leads_to="U1") for n in LANES),
        line("8", "control", leads_to="U1"),
        line("9", "panel_supply", net="3V3"),
        line("10", "panel_supply", net="3V3"),
    ]
)


def of(opinion: Opinion, contact: str) -> ContactOpinion:
    return next(one for one in opinion.contacts if one.contact == contact)


def read(changed: dict[str, str | float], *, twice: bool = True, references: bool = True) -> Opinion:
    """Every contact healthy but those changed, each of which is touched twice."""
    drops: dict[str, str | float] = {n: round(at) for n, at in MEANS.items()}
    sheet = sheet_of(BOARD, touched(drops | changed), known=nine_boards(MEANS) if references else {})
    again = touched(changed, prefix="again", start_ms=1_745_001_000_000) if twice else ()
    return form_opinion(with_readings(sheet, *again))


@pytest.mark.parametrize("drop_mv", [0, 1, 3, 6])
@pytest.mark.parametrize("references", [True, False], ids=["healthy boards read", "none read"])
def test_near_zero_where_hundreds_are_expected_is_a_short(drop_mv: int, references: bool) -> None:
    opinion = read({"4": drop_mv}, references=references)
    assert of(opinion, "4").verdict == "short"
    assert of(opinion, "4").odds.short > 0.9
    assert [one.contact for one in opinion.contacts if one.verdict != "expected"] == ["4"]


@pytest.mark.parametrize("references", [True, False], ids=["healthy boards read", "none read"])
def test_ol_where_healthy_boards_read_a_drop_is_open_once_confirmed(references: bool) -> None:
    assert of(read({"4": "OL"}, references=references), "4").verdict == "open"
    # what a contact's role alone says of OL is less than what nine healthy boards say
    assert of(read({"4": "OL"}, references=references), "4").odds.open > (0.9 if references else 0.6)
    once = of(read({"4": "OL"}, twice=False, references=references), "4")
    assert once.verdict != "open"
    assert once.touch_again


@pytest.mark.parametrize("per_cent", [1, 2, 3])
def test_a_few_per_cent_high_is_normal_with_the_same_meter(per_cent: int) -> None:
    drops: dict[str, str | float] = {n: round(at * (1 + per_cent / 100)) for n, at in MEANS.items()}
    opinion = form_opinion(sheet_of(BOARD, touched(drops), known=nine_boards(MEANS, spread_mv=5.0)))
    assert {one.verdict for one in opinion.contacts} == {"expected"}


def test_one_contact_a_few_per_cent_high_among_its_like_is_no_fault_either() -> None:
    assert of(read({"4": 422}, twice=False), "4").verdict == "expected"


def test_one_short_seen_at_every_contact_of_a_rail_is_one_short() -> None:
    opinion = read({"9": 2, "10": 2})
    assert (opinion.stories[0].kind, opinion.stories[0].subject) == ("rail_short", "3V3")
    assert opinion.stories[0].odds > 0.8


# ---- an LED rail when lit, beside a 3 V line -------------------------------------------------


@pytest.mark.parametrize("led_mv", [48_000, 50_000, 54_000])
def test_a_lit_led_rail_is_fifteen_to_twenty_times_what_a_3_v_line_takes(led_mv: float) -> None:
    contacts = [
        line("1", "control", name="EN", working_mv=3000, limit_mv=3000),
        line("2", "led_plus", net="LED", working_mv=led_mv, limit_mv=60_000, sourced_by="board"),
        line("3", "led_plus", net="LED", working_mv=led_mv, limit_mv=60_000, sourced_by="board"),
    ]
    # one place towards low numbers: plug 3 on socket 2 and plug 2 on socket 1, joined inside the module
    hit = next(one for one in overstress_map(board_of(contacts), "J1", -1) if one.meets == "board")
    assert hit.contact == "1"
    assert hit.limit_mv == 3000
    assert 15 <= hit.volts_mv / hit.limit_mv <= 20
    assert hit.over_limit_mv == led_mv - 3000


# ---- a habit, not proof -------------------------------------------------------------------------


def proof(step: str, at_ms: int, **fields: Any) -> MakeSafeProof:
    return MakeSafeProof(id=f"{step}-{at_ms}", job_id="job", step=step, proved_at_ms=at_ms, **fields)


BY_HAND = [proof("cables_out", 1, done=True), proof("battery_off", 2, done=True), proof("strap_on", 3, done=True)]
BUTTON = proof("button_held", 4, done=True)


def test_the_button_held_ten_seconds_is_a_habit_and_opens_nothing() -> None:
    roles = ("ground", "main_rail", "led_plus")
    without, with_button = gate_waits_for(roles, BY_HAND), gate_waits_for(roles, [*BY_HAND, BUTTON])
    assert with_button == without == ("main_rail_proved", "led_capacitor_proved")


def test_nor_is_it_needed_once_the_meter_has_said_so() -> None:
    measured = [
        proof("main_rail_proved", 5, measured_mv=12.0, at_place="C1"),
        proof("led_capacitor_proved", 6, measured_mv=3.0, at_place="C2"),
    ]
    assert gate_waits_for(("main_rail", "led_plus"), [*BY_HAND, *measured]) == ()
    # and the meter's word counts against the button: 21.8 V after ten seconds is 21.8 V
    charged = [measured[0], proof("led_capacitor_proved", 7, measured_mv=21_800.0, at_place="C2")]
    assert gate_waits_for(("main_rail", "led_plus"), [*BY_HAND, BUTTON, *charged]) == ("led_capacitor_proved",)
