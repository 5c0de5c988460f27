"""Titles and reasons say no more than the readings do."""

from typing import Any

import pytest
from msgspec.structs import replace

from server.engine.circuit.meaning import Doubts, what_it_means
from server.engine.circuit.parts import GROUND, Circuit, Junction, Part, forced_current
from server.engine.circuit.readings import prepared
from server.engine.door import form_opinion
from shared_models.opinion import Opinion, Reason
from shared_models.reading import Meter
from tests.engine.test_both_leads import two_touches
from tests.support.benches import BENCH_METER
from tests.support.what_next import opinion_on


def plug_touch_says(name: str) -> str:
    opinion = opinion_on(name)
    touches = [one for one in opinion.next if one.reasons and one.reasons[0].code == "plug_ohms"]
    assert touches, [one.title for one in opinion.next]
    return touches[0].reasons[0].sentence


def test_a_leak_is_not_called_one_to_ground_where_a_rail_would_read_the_same() -> None:
    leaks = [story.title for story in opinion_on("l14_no_references_no_light").stories if story.kind == "leak"]
    assert leaks and all(title.endswith(", to ground or a rail") for title in leaks), leaks


def test_a_boards_own_short_is_not_passed_over_where_the_plug_is_measured_next() -> None:
    assert "speak for a fault of the board" in plug_touch_says("p1_usb_c_vbus_short")
    assert "say nothing against it" in plug_touch_says("t10_everything_reads_high")


# ---- a current that nobody measured ------------------------------------------------------------------

UNTOLD = Meter(id="bench", name="bench")


def told(reads: str, meter: Meter = BENCH_METER, known_by: Meter | None = None) -> Opinion:
    """Ten lines behind 33 ohm, one of which reads so; the healthy boards read by the same meter, or by another."""
    sheet = replace(two_touches(reads, None), meters=(meter,))
    if known_by is not None:
        known = tuple(replace(one, meter_id=known_by.id) for one in sheet.known_good_readings)
        sheet = replace(sheet, known_good_readings=known, meters=(meter, known_by))
    return form_opinion(sheet)


def of_five(opinion: Opinion, *codes: str) -> Reason:
    reasons = next(one for one in opinion.contacts if one.contact == "5").reasons
    return next(one for one in reasons if one.code in codes)


def numbers(reason: Reason) -> dict[str, float]:
    return {one.name: one.value for one in reason.numbers}


def test_ohms_are_no_surer_than_the_current_they_come_from() -> None:
    """90 mV is 90 ohm at 1 mA, known to 2 % with a sheet; without one the current may be half or twice that."""
    sure = numbers(of_five(told("90"), "leak_at_places"))
    assert sure["left_high_ohm"] - sure["left_low_ohm"] < 15
    unsure = of_five(told("90", UNTOLD), "leak_at_places")
    assert "at most" in unsure.sentence
    assert numbers(unsure)["left_high_ohm"] > 180


def test_what_may_be_far_more_than_a_short_is_not_called_one() -> None:
    """45 mV behind 33 ohm: 12 are left at 1 mA, nothing or 57 at half or twice that current."""
    assert of_five(told("45"), "short_behind", "leak_at_places").code == "short_behind"
    assert of_five(told("45", UNTOLD), "short_behind", "leak_at_places").code == "leak_at_places"
    assert of_five(told("2", UNTOLD), "short_in_front", "leak_at_places").code == "short_in_front"


@pytest.mark.parametrize(("series_ohm", "short"), [(33.0, True), (680.0, False)])
def test_a_rest_of_ten_ohm_behind_a_large_part_is_not_called_a_short(series_ohm: float, short: bool) -> None:
    """5 % of 680 ohm are 34: the ten that are left may be seventy."""
    clamp = Junction(3e-5, 1.5, 6.0)
    line = Circuit("c", (
        Part("R1", "resistor", "c", "pin", series_ohm), Part("U1.lower", "diode", GROUND, "pin", None, clamp),
    ))  # fmt: skip
    place = what_it_means(prepared(line, 23), forced_current(1.0), "red", series_ohm + 10, Doubts()).places[1]
    assert place.ohm == pytest.approx(10, abs=0.1)
    assert place.short_like is short


def said(opinion: Opinion) -> dict[str, str]:
    return {one.code: one.sentence for one in opinion.session.reasons}


def test_a_session_says_that_its_current_was_taken_for_granted() -> None:
    assert "taken as 1.00 mA, it may be half or twice that" in said(told("486", UNTOLD))["current_not_told"]
    assert "current_not_told" not in said(told("486"))


def test_healthy_boards_at_a_known_current_tell_this_meters() -> None:
    """Then the fit knows it; ohms are less sure than with a sheet and surer than without any."""
    opinion = told("90", UNTOLD, replace(BENCH_METER, id="other"))
    assert "current_not_told" not in said(opinion)
    wide = numbers(of_five(opinion, "leak_at_places"))
    assert 15 < wide["left_high_ohm"] - wide["left_low_ohm"] < 120


def test_healthy_boards_at_an_unknown_current_are_said_to_be() -> None:
    opinion = told("486", BENCH_METER, replace(UNTOLD, id="other"))
    assert "9 healthy boards were read with a meter whose test current nobody has measured" in (
        said(opinion)["references_current_not_told"]
    )
    assert "references_current_not_told" not in said(told("486", BENCH_METER, replace(BENCH_METER, id="other")))


# ---- a number that is healthy, and another that is not ------------------------------------------------


def reasons_with_black(red: str, black: str, **fields: Any) -> dict[str, str]:
    opinion = form_opinion(replace(two_touches(red, black), **fields))
    return {one.code: one.sentence for one in next(one for one in opinion.contacts if one.contact == "5").reasons}


def test_a_healthy_number_is_not_turned_into_a_leak_because_the_other_lead_is_low() -> None:
    """485 is healthy; 45 mV with black on ground is a leak, and not one to ground: 45 ohm would show with red too."""
    both = reasons_with_black("485", "45")
    assert not {"leak_at_places", "short_in_front", "short_behind", "ohms_left", "as_ohms"} & set(both)
    assert "a leak to the rail, since one to ground would show with red on ground too" in both["other_lead"]


def test_where_both_leads_are_low_either_way_is_left_open() -> None:
    both = reasons_with_black("300", "300")
    assert "leak_at_places" in both
    assert "a leak, to the rail or to ground" in both["other_lead"]
