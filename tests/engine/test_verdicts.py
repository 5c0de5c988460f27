"""One contact's verdict: a touch can fail, OL is often healthy, a rail is one net, and the numbers are shown."""

from collections.abc import Mapping
from itertools import permutations

import pytest
from msgspec.structs import replace

from server.engine.constants.sessions import SOLVED_IN_OHMS
from server.engine.door import form_opinion
from shared_models.board import ChipPin, Contact, SeriesPart
from shared_models.opinion import ContactOpinion, Opinion
from shared_models.reading import Reading, Steadiness
from shared_models.sheet import BenchSheet
from tests.support.benches import board_of, line, nine_boards, sheet_of, touched, with_readings

CALLED = ("short", "low", "high", "open")
BEHIND_33 = (SeriesPart(part="R1", ohm=33), ChipPin(part="U1", pin="T"))
CONTACTS: list[Contact] = [
    line("1", "ground"),
    line("2", "lane", leads_to="U1", pair_with="3"),
    line("3", "lane", leads_to="U1", pair_with="2"),
    line("4", "lane", leads_to="U1", pair_with="5"),
    line("5", "lane", leads_to="U1", pair_with="4"),
    line("6", "ground"),
    line("7", "control", leads_to="U1", path=BEHIND_33),
    line("8", "lane_coupled", path=(SeriesPart(part="C8", blocks_dc=True), ChipPin(part="U1", pin="L"))),
    line("9", "unconnected"),
    line("10", "panel_supply", net="3V3"),
    line("11", "panel_supply", net="3V3"),
    line("12", "panel_supply", net="3V3"),
    line("13", "strap"),
]
MEANS = {
    "1": 0.5,
    "2": 338.0,
    "3": 338.0,
    "4": 338.0,
    "5": 338.0,
    "6": 0.5,
    "7": 503.0,
    "10": 394.0,
    "11": 394.0,
    "12": 394.0,
}
HEALTHY: dict[str, str | float] = {
    **{n: round(mean) for n, mean in MEANS.items()}, "8": "OL", "9": "OL", "13": "OL",
}  # fmt: skip
CLIMBS = {"10", "11", "12"}
LOW_SIX = ("2", "3", "4", "5", "6", "7")


def sheet(drops: Mapping[str, str | float]) -> BenchSheet:
    """The socket of this file with nine healthy boards; rails climb unless a test says otherwise."""
    readings = [
        replace(one, steadiness="climbs") if name in CLIMBS and one.as_typed != "OL" else one
        for name, one in zip(drops, touched(drops), strict=True)
    ]
    return sheet_of(board_of(CONTACTS), readings, known=nine_boards(MEANS))


def again(contact: str, typed: str | float, prefix: str = "again", steadiness: Steadiness | None = None) -> Reading:
    """A later touch of one contact."""
    one = touched({contact: typed}, prefix=prefix, start_ms=1_745_001_000_000)[0]
    return replace(one, steadiness=steadiness)


def of(opinion: Opinion, contact: str) -> ContactOpinion:
    return next(one for one in opinion.contacts if one.contact == contact)


def called(opinion: Opinion) -> list[str]:
    return [one.contact for one in opinion.contacts if one.verdict in CALLED]


def codes(one: ContactOpinion) -> list[str]:
    return [reason.code for reason in one.reasons]


def test_a_healthy_board_gets_no_call_and_what_cannot_be_seen_is_said() -> None:
    opinion = form_opinion(sheet(HEALTHY))
    assert called(opinion) == []
    verdicts = {one.contact: one.verdict for one in opinion.contacts}
    assert {verdicts[n] for n in MEANS} == {"expected"}
    assert {verdicts[n] for n in ("8", "9", "13")} == {"unseen"}
    assert not any(one.touch_again for one in opinion.contacts)


def test_ol_behind_a_capacitor_is_unseen_and_names_the_capacitor() -> None:
    for extra in ((), (again("8", "OL"), again("8", "OL", "third"))):
        one = of(form_opinion(with_readings(sheet(HEALTHY), *extra)), "8")
        assert one.verdict == "unseen"
        reason = next(reason for reason in one.reasons if reason.code == "unseen")
        assert reason.parts == ("C8",)
        assert "C8 blocks the meter" in reason.sentence
        assert "chip side of C8" in reason.sentence


def test_a_strap_that_shows_ol_asks_for_ohms() -> None:
    one = of(form_opinion(sheet(HEALTHY)), "13")
    assert "measure ohms" in one.reasons[0].sentence


# ---- one touch, two touches ------------------------------------------------


def test_one_ol_never_makes_open_and_two_do() -> None:
    once = form_opinion(sheet({**HEALTHY, "4": "OL"}))
    assert of(once, "4").verdict == "unread"
    assert of(once, "4").touch_again
    assert called(once) == []
    assert "touch it again" in of(once, "4").reasons[0].sentence
    twice = form_opinion(with_readings(sheet({**HEALTHY, "4": "OL"}), again("4", "OL")))
    assert of(twice, "4").verdict == "open"
    assert not of(twice, "4").touch_again
    assert of(twice, "4").touches == 2
    assert called(twice) == ["4"]


def test_a_low_number_asks_for_one_more_touch_and_a_second_alike_settles_it() -> None:
    once = of(form_opinion(sheet({**HEALTHY, "4": 180})), "4")
    assert (once.verdict, once.touch_again) == ("low", True)
    twice = of(form_opinion(with_readings(sheet({**HEALTHY, "4": 180}), again("4", 182))), "4")
    assert (twice.verdict, twice.touch_again, twice.touches) == ("low", False, 2)
    assert twice.odds.low > once.odds.low
    assert twice.drop_mv == pytest.approx(181)


def test_a_touch_that_contradicts_the_first_makes_unsteady_and_says_both_numbers() -> None:
    opinion = form_opinion(with_readings(sheet({**HEALTHY, "4": 180}), again("4", 338)))
    one = of(opinion, "4")
    assert (one.verdict, one.touch_again) == ("unsteady", True)
    assert called(opinion) == []
    sentence = next(reason.sentence for reason in one.reasons if reason.code == "touches_disagree")
    assert "180 mV" in sentence
    assert "338 mV" in sentence


def test_a_third_touch_breaks_the_tie() -> None:
    base = with_readings(sheet({**HEALTHY, "4": "OL"}), again("4", 338))
    assert of(form_opinion(base), "4").verdict == "unsteady"
    assert of(form_opinion(with_readings(base, again("4", 337, "third"))), "4").verdict == "expected"
    assert of(form_opinion(with_readings(base, again("4", "OL", "third"))), "4").verdict == "open"


@pytest.mark.parametrize("steadiness", ["jumps", "falls"])
def test_what_jumps_or_falls_is_unsteady_whatever_its_number(steadiness: Steadiness) -> None:
    drops = {name: typed for name, typed in HEALTHY.items() if name != "4"}
    opinion = form_opinion(with_readings(sheet(drops), again("4", 338, steadiness=steadiness)))
    assert of(opinion, "4").verdict == "unsteady"


def test_the_order_in_which_touches_were_listed_changes_no_verdict() -> None:
    base = sheet({**HEALTHY, "4": 180})
    extra = (again("4", 182, "a"), again("7", "OL", "b"), again("7", "OL", "c"))
    said = {
        tuple(one.verdict for one in form_opinion(with_readings(base, *order)).contacts)
        for order in permutations(extra)
    }
    assert len(said) == 1


# ---- rails -----------------------------------------------------------------


def test_a_rail_shorted_is_one_state_on_all_its_contacts() -> None:
    opinion = form_opinion(sheet({**HEALTHY, "10": 2, "11": 3, "12": 2}))
    assert called(opinion) == ["10", "11", "12"]
    assert {of(opinion, n).verdict for n in ("10", "11", "12")} == {"short"}
    assert opinion.stories[0].kind == "rail_short"
    assert opinion.stories[0].subject == "3V3"
    assert opinion.stories[0].explains == ("10", "11", "12")


def test_one_contact_of_a_rail_tells_of_the_others_that_were_not_read() -> None:
    drops = {name: typed for name, typed in HEALTHY.items() if name not in ("11", "12")}
    opinion = form_opinion(with_readings(sheet({**drops, "10": 2}), again("10", 2)))
    assert of(opinion, "11").verdict == "unread"
    assert of(opinion, "11").odds.short > 0.8
    assert of(opinion, "11").odds.short == pytest.approx(of(opinion, "12").odds.short, abs=0.02)


def test_one_torn_contact_of_a_rail_is_not_the_whole_rail() -> None:
    opinion = form_opinion(with_readings(sheet({**HEALTHY, "11": "OL"}), again("11", "OL")))
    assert of(opinion, "11").verdict == "open"
    assert [of(opinion, n).verdict for n in ("10", "12")] == ["expected", "expected"]
    assert opinion.stories[0].kind == "contact_torn"
    assert opinion.stories[0].subject == "11"
    assert not any(story.kind == "series_open" and story.odds > 0.05 for story in opinion.stories)


def test_a_whole_rail_on_ol_is_the_feed_and_not_three_torn_contacts() -> None:
    opinion = form_opinion(sheet({**HEALTHY, "10": "OL", "11": "OL", "12": "OL"}))
    assert {of(opinion, n).verdict for n in ("10", "11", "12")} == {"open"}
    assert opinion.stories[0].kind == "series_open"
    assert "contact_torn" not in [story.kind for story in opinion.stories if story.odds > 0.2]


def test_a_rail_that_lost_its_climb_is_called_high_though_it_is_little_off() -> None:
    drops = {name: typed for name, typed in HEALTHY.items() if name not in CLIMBS}
    steady = [again(n, 414, f"s{n}", "steady") for n in sorted(CLIMBS)]
    climbing = [again(n, 414, f"c{n}", "climbs") for n in sorted(CLIMBS)]
    lost = form_opinion(with_readings(sheet(drops), *steady))
    kept = form_opinion(with_readings(sheet(drops), *climbing))
    assert {of(lost, n).verdict for n in CLIMBS} == {"high"}
    assert "no_climb" in codes(of(lost, "10"))
    assert called(kept) == []


# ---- the numbers a verdict rests on ----------------------------------------


def test_a_low_number_is_told_in_ohms_less_the_part_in_series() -> None:
    one = of(form_opinion(with_readings(sheet({**HEALTHY, "7": 61}), again("7", 61))), "7")
    assert one.verdict in ("low", "short")
    reason = next(reason for reason in one.reasons if reason.code == "leak_at_places")
    numbers = {number.name: number.value for number in reason.numbers}
    assert numbers["ohm"] == pytest.approx(61, abs=2)
    # 61 ohm and a junction that takes nothing at 61 mV: 61 at the socket, or 61 - 33 behind R1
    assert numbers["left_ohm"] == pytest.approx(61, abs=2)
    assert "27 ± 5 ohm behind R1" in reason.sentence
    assert "does not say which" in reason.sentence


def test_a_short_behind_a_part_in_series_is_told_apart_from_one_at_the_socket() -> None:
    behind = of(form_opinion(with_readings(sheet({**HEALTHY, "7": 36}), again("7", 36))), "7")
    reason = next(one for one in behind.reasons if one.code == "short_behind")
    assert "not the socket" in reason.sentence
    front = of(form_opinion(with_readings(sheet({**HEALTHY, "7": 3}), again("7", 3))), "7")
    assert "short_in_front" in [one.code for one in front.reasons]


def test_beyond_the_worst_few_numbers_are_told_in_ohms_without_the_circuit() -> None:
    lows = {contact: 200 + 10 * k for k, contact in enumerate(LOW_SIX)}
    told = [one for one in form_opinion(sheet({**HEALTHY, **lows})).contacts if one.contact in LOW_SIX]
    codes = [{reason.code for reason in one.reasons} for one in told if one.verdict == "low"]
    assert sum("leak_at_places" in one for one in codes) == SOLVED_IN_OHMS
    assert all(one & {"leak_at_places", "as_ohms", "ohms_left"} for one in codes)


def test_a_leak_is_told_as_the_resistance_that_would_read_it() -> None:
    one = of(form_opinion(with_readings(sheet({**HEALTHY, "4": 250}), again("4", 250))), "4")
    numbers = {number.name: number.value for reason in one.reasons for number in reason.numbers}
    # 338 mV alone, 250 with the leak: of 1 mA the junction keeps exp(-83.3 / 31.9), the leak takes the rest
    assert numbers["left_ohm"] == pytest.approx(270, abs=12)


def test_every_verdict_out_of_band_shows_its_numbers() -> None:
    opinion = form_opinion(sheet({**HEALTHY, "4": 180, "10": 2, "11": 3, "12": 2, "7": 700}))
    for one in opinion.contacts:
        if one.verdict in CALLED:
            assert one.reasons
            assert one.off_by_mv is not None
            assert one.off_by_sd is not None
            assert any(reason.numbers for reason in one.reasons)
            assert one.reading_ids


def test_could_not_reach_is_not_a_reading() -> None:
    drops = {name: typed for name, typed in HEALTHY.items() if name != "4"}
    opinion = form_opinion(with_readings(sheet(drops), again("4", "out of reach")))
    assert of(opinion, "4").verdict == "unread"
    assert of(opinion, "4").touches == 0
    assert codes(of(opinion, "4")) == ["out_of_reach"]


def test_a_neighbours_number_on_one_touch_is_not_believed_at_once() -> None:
    # 7 read as a lane reads: more likely the probe sat on 6's other side than a leak of just that size
    once = of(form_opinion(sheet({**HEALTHY, "7": 338})), "7")
    assert once.touch_again


def test_a_touch_that_slipped_shows_what_the_neighbour_shows_today_and_not_on_other_boards() -> None:
    # healthy boards read the rail beside lane 3 from 381 to 407 mV; 3 reads 394: the rail's number, or a high line
    board = board_of(
        [line("1", "ground"), *(line(n, "lane", leads_to="U1") for n in "23"), line("4", "panel_supply", net="3V3"),
         *(line(n, "lane", leads_to="U1") for n in "567"), line("8", "ground")]
    )  # fmt: skip
    known = nine_boards({**dict.fromkeys("23567", 338.0), "4": 394.0}, spread_mv=8.0)

    def high(rail_mv: float) -> float:
        read = touched({**dict.fromkeys("2567", 338.0), "3": 394.0, "4": rail_mv})
        return of(form_opinion(sheet_of(board, read, known=known)), "3").odds.high

    assert high(394.0) < 0.5 * high(383.0)
    assert high(394.0) < 0.5 * high(405.0)
