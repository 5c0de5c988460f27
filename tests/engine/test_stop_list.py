"""When to stop: every line of the trade's list, and which of them the record shows."""

from typing import Any

import pytest
from msgspec.structs import replace

from server.engine import decide, door
from server.engine.inference import Judged
from server.engine.stop_list import stop_list
from shared_models.chances import Options, StopLine
from shared_models.decision_tables import STOP_LINES
from shared_models.job import Intake, Observation
from shared_models.opinion import NextTouch, Opinion, Stop
from shared_models.reading import AtContact
from shared_models.sheet import BenchSheet
from tests.support.what_next import kept, noted, opinion_on

SLIPPED = "t10_slipped_in_crooked_then_all_answers"
BRIDGED = "t10_new_socket_stripes_then_all_answers"


def line(opinion: Opinion, name: str) -> StopLine:
    return next(one for one in opinion.stop_list if one.id == name)


def with_seen(*observations: Observation) -> Opinion:
    return opinion_on(BRIDGED, observations=observations)


def test_the_whole_list_is_there_and_what_no_record_can_show_must_be_looked_for() -> None:
    opinion = opinion_on(BRIDGED)
    assert [one.id for one in opinion.stop_list] == [row.id for row in STOP_LINES]
    for name in ("charred", "corroded_under_chip", "third_failed_lift", "cell_swollen"):
        assert line(opinion, name).state == "look", name
        assert line(opinion, name).sentence


def test_what_was_noted_on_the_list_holds() -> None:
    assert line(with_seen(noted("charred")), "charred").state == "holds"
    assert line(with_seen(noted("cell_swollen")), "cell_swollen").state == "holds"
    assert line(with_seen(noted("corroded_under_chip")), "corroded_under_chip").state == "holds"


def test_the_third_failed_lift_and_not_the_second() -> None:
    two = with_seen(*(noted("lift_failed", n) for n in range(2)))
    assert line(two, "third_failed_lift").state == "look"
    assert "2 noted" in line(two, "third_failed_lift").sentence
    three = with_seen(*(noted("lift_failed", n) for n in range(3)))
    assert line(three, "third_failed_lift").state == "holds"


def test_burnt_contacts_ask_to_look_at_the_board_there() -> None:
    told = line(opinion_on(SLIPPED), "charred")
    assert told.state == "look" and "28" in told.contacts


def test_wet_at_a_chip_that_guards_the_data_is_that_line() -> None:
    assert line(with_seen(noted("wet", part="U1")), "corroded_under_chip").state == "holds"
    assert line(with_seen(noted("wet", part="U31")), "corroded_under_chip").state == "look"


def test_where_no_line_leads_to_the_data_none_is_said_to_be_whole() -> None:
    board = kept(BRIDGED).board
    plain = tuple(replace(part, holds_data=False, guards_data=False) for part in board.parts)
    assert line(opinion_on(BRIDGED), "short_in_data_chip").state == "does_not_hold"
    assert line(opinion_on(BRIDGED, board=replace(board, parts=plain)), "short_in_data_chip").state == "look"


def test_bench_minutes_stand_against_what_was_agreed() -> None:
    worked = opinion_on(SLIPPED).options
    assert worked is not None and 2 < worked.worked_min < 20
    over = line(opinion_on(SLIPPED, limit_work_min=worked.worked_min - 1), "minutes_above_limit")
    under = line(opinion_on(SLIPPED, limit_work_min=worked.worked_min + 1), "minutes_above_limit")
    assert (over.state, under.state) == ("holds", "does_not_hold")
    assert line(opinion_on(SLIPPED), "minutes_above_limit").state == "look"


def test_a_night_between_two_records_is_no_bench_time() -> None:
    sheet = kept(BRIDGED)
    later = tuple(
        replace(one, taken_at_ms=one.taken_at_ms + 12 * 3_600_000) if number >= 10 else one
        for number, one in enumerate(sheet.readings)
    )
    before, after = opinion_on(BRIDGED).options, opinion_on(BRIDGED, readings=later).options
    assert before is not None and after is not None
    assert after.worked_min <= before.worked_min


def test_data_that_matter_with_only_heat_or_power_left_is_a_reason_to_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is left on 28 is the chip itself; once no touch is worth its time, what helps is iron or supply."""
    name = "data_and_only_heat_or_power"
    assert line(opinion_on(SLIPPED), name).state == "does_not_hold"
    done = Stop(code="not_worth_its_time", sentence="")
    monkeypatch.setattr(door, "next_touches", lambda *_, **__: ((), done))
    assert line(opinion_on(SLIPPED), name).state == "holds"
    none_matter = line(opinion_on(SLIPPED, intake=Intake(data_matters="no")), name)
    assert none_matter.state == "does_not_hold" and "do not matter" in none_matter.sentence
    # a whisker can be cleaned away without heat
    assert line(opinion_on(BRIDGED), name).state == "does_not_hold"


@pytest.mark.parametrize(("action", "state"), [("heat", "holds"), ("draw", "holds"), ("retouch", "does_not_hold")])
def test_a_next_touch_that_heats_or_powers_is_nothing_gentle(
    monkeypatch: pytest.MonkeyPatch, action: Any, state: str
) -> None:
    coming = NextTouch(
        touch=AtContact(contact="28"), kind="drop", title="28", gain_bits=0.1, seconds=9, risk=0, action=action
    )
    monkeypatch.setattr(door, "next_touches", lambda *_, **__: ((coming,), None))
    assert line(opinion_on(SLIPPED), "data_and_only_heat_or_power").state == state


@pytest.mark.parametrize(("ways", "lows", "state"), [
    (False, True, "holds"), (False, False, "look"), (True, False, "holds"),
])
def test_what_is_left_heats_where_a_low_line_is_not_explained_or_what_helps_cannot_be_undone(
    monkeypatch: pytest.MonkeyPatch, *, ways: bool, lows: bool, state: str
) -> None:
    told: list[StopLine] = []

    def asked(
        sheet: BenchSheet, judged: Judged, options: Options, coming: tuple[NextTouch, ...], done: Stop | None, **_: bool
    ) -> tuple[StopLine, ...]:
        done = Stop(code="not_worth_its_time", sentence="")
        told.extend(stop_list(sheet, judged, options if ways else replace(options, ways=()), (), done, lows=lows))
        return ()

    monkeypatch.setattr(decide, "stop_list", asked)
    opinion_on(SLIPPED)
    assert next(one for one in told if one.id == "data_and_only_heat_or_power").state == state


def test_a_sheet_that_must_be_read_again_is_no_reason_to_stop() -> None:
    assert line(opinion_on("t10_leads_swapped"), "data_and_only_heat_or_power").state == "does_not_hold"
