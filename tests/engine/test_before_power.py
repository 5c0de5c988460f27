"""Before power: the list reads the job, stops at what is missing and names it; the first draw is judged."""

from typing import Any

import pytest
from msgspec.structs import replace

from shared_models.chances import BeforePower, PowerLine
from shared_models.job import Intake, Photo
from shared_models.opinion import Opinion
from shared_models.power import PowerCheck
from shared_models.reading import OfJob
from shared_models.sheet import BenchSheet
from tests.support.what_next import LATER_MS, kept, noted, opinion_on, ticked

SLIPPED = "t10_slipped_in_crooked"
BRIDGED = "t10_new_socket_stripes_then_all_answers"
BY_HAND = (
    ticked("plug_seated"),
    ticked("limit_set", limit_ma=300.0, expected_ma=120.0, supply_mv=4000.0),
    ticked("leads_on_output_off"),
    ticked("ramp_from_zero"),
    ticked("stands_by", who="Ines"),
)
PHOTO = Photo(
    id="photo-1", of=OfJob(job_id="job"), sha256="0" * 64, mime="image/jpeg", size_bytes=1, width_px=1, height_px=1,
    taken_at_ms=LATER_MS,
)  # fmt: skip
SHORT_VBUS = "p1_usb_c_vbus_short"


def power(opinion: Opinion) -> BeforePower:
    assert opinion.before_power is not None
    return opinion.before_power


def line(opinion: Opinion, check: str) -> PowerLine:
    return next(one for one in power(opinion).lines if one.id == check)


def without(check: str) -> tuple[PowerCheck, ...]:
    return tuple(one for one in BY_HAND if one.check != check)


def test_with_every_line_shown_or_ticked_power_may_go_on() -> None:
    told = power(opinion_on(BRIDGED, power_checks=BY_HAND, photos=(PHOTO,)))
    assert told.may and told.stops_at == "" and not told.ask_twice
    assert "4.0 V at most, 300 mA limit" in told.sentence
    assert "Local codes and licensed practice come first" in told.sentence


@pytest.mark.parametrize("check", [one.check for one in BY_HAND])
def test_it_stops_at_what_is_missing_and_names_it(check: str) -> None:
    told = power(opinion_on(BRIDGED, power_checks=without(check), photos=(PHOTO,)))
    assert not told.may and told.stops_at == check
    title = next(one.title for one in told.lines if one.id == check)
    assert title.lower() in told.sentence
    assert "Local codes and licensed practice come first" in told.sentence


def test_a_tick_that_was_taken_back_is_missing_again() -> None:
    back = PowerCheck(id="back", job_id="job", check="plug_seated", done=False, checked_at_ms=LATER_MS + 9)
    assert power(opinion_on(BRIDGED, power_checks=(*BY_HAND, back), photos=(PHOTO,))).stops_at == "plug_seated"
    removed = opinion_on(BRIDGED, power_checks=BY_HAND, photos=(PHOTO,), removed_ids=("check-stands_by-0",))
    assert power(removed).stops_at == "stands_by"


def test_a_line_is_left_out_only_where_that_is_possible_and_with_a_reason() -> None:
    nothing = ticked("plug_seated", waived_because="nothing plugged in for this power-up")
    left_out = opinion_on(BRIDGED, power_checks=(*without("plug_seated"), nothing), photos=(PHOTO,))
    assert power(left_out).may and line(left_out, "plug_seated").state == "waived"
    alone = PowerCheck(
        id="alone", job_id="job", check="stands_by", waived_because="alone here", checked_at_ms=LATER_MS + 1
    )
    assert power(opinion_on(BRIDGED, power_checks=(*BY_HAND, alone), photos=(PHOTO,))).stops_at == "stands_by"


def test_the_socket_counts_as_looked_at_by_a_photo_or_by_what_was_noted() -> None:
    assert line(opinion_on(BRIDGED), "socket_looked_at").state == "missing"
    assert line(opinion_on(BRIDGED, photos=(PHOTO,)), "socket_looked_at").state == "shown"
    assert line(opinion_on(BRIDGED, observations=(noted("clean"),)), "socket_looked_at").state == "shown"
    at_supply = opinion_on(BRIDGED, observations=(noted("draw_none"),))
    assert line(at_supply, "socket_looked_at").state == "missing"


def test_rails_that_were_not_proved_are_missing() -> None:
    opinion = opinion_on(BRIDGED, make_safe=())
    assert line(opinion, "main_rail_proved").state == "missing"
    assert line(opinion, "led_capacitor_proved").state == "missing"
    assert "8 mV at C88" in line(opinion_on(BRIDGED), "led_capacitor_proved").sentence


@pytest.mark.parametrize(
    ("fields", "asks"),
    [
        ({}, "limit"),
        ({"limit_ma": 300.0, "supply_mv": 4000.0}, "healthy one draws"),
        ({"limit_ma": 300.0, "expected_ma": 120.0}, "voltage"),
        ({"limit_ma": 100.0, "expected_ma": 120.0, "supply_mv": 4000.0}, "again and again"),
    ],
)
def test_a_limit_needs_its_numbers_and_must_let_a_healthy_one_start(fields: dict[str, Any], asks: str) -> None:
    checks = (*without("limit_set"), ticked("limit_set", **fields))
    told = line(opinion_on(BRIDGED, power_checks=checks, photos=(PHOTO,)), "limit_set")
    assert told.state == "missing" and asks in told.sentence


def test_lows_that_a_settled_story_explains_are_shown_as_explained() -> None:
    assert line(opinion_on(BRIDGED), "lows_explained").state == "shown"


def test_a_low_line_on_one_touch_is_not_explained_and_named() -> None:
    opinion = opinion_on(SLIPPED)
    told = line(opinion, "lows_explained")
    assert told.state == "missing" and told.contacts == ("24", "28")
    assert "24 and 28" in told.sentence


def test_an_unread_socket_rules_no_low_line_out() -> None:
    assert "Nothing was read" in line(opinion_on(BRIDGED, readings=()), "lows_explained").sentence


def test_with_data_that_matter_and_an_unexplained_low_line_it_asks_twice() -> None:
    named = ticked("lows_explained", note="28: chip U1 itself, 28 ohm; left as it is")
    ready = (*BY_HAND, named)
    told = power(opinion_on(SLIPPED, power_checks=ready))
    assert told.ask_twice and told.stops_at == "sure_once"
    assert "can end what is left" in next(one.title for one in told.lines if one.id == "sure_once")
    once = power(opinion_on(SLIPPED, power_checks=(*ready, ticked("sure_once"))))
    assert once.stops_at == "sure_twice"
    twice = opinion_on(SLIPPED, power_checks=(*ready, ticked("sure_once"), ticked("sure_twice", 1)))
    assert power(twice).may
    assert not [one for one in twice.reminders if one.code.startswith("no_power")]
    no_data = power(opinion_on(SLIPPED, power_checks=ready, intake=Intake(data_matters="no")))
    assert no_data.may and not no_data.ask_twice


def _with_draw(seen: str, draw_ma: float | None = None, limit_ma: float | None = None) -> BenchSheet:
    return replace(kept(BRIDGED), power_checks=BY_HAND, observations=(noted(seen, draw_ma=draw_ma, limit_ma=limit_ma),))


@pytest.mark.parametrize(
    ("seen", "draw_ma", "code", "stop"),
    [
        ("draw_none", None, "none", False),
        ("draw_as_healthy", 0.4, "none", False),
        ("draw_at_limit", 300.0, "at_limit", True),
        ("draw_as_healthy", 299.0, "at_limit", True),
        ("draw_low_steady", 30.0, "stuck_low", False),
        ("draw_in_steps", 80.0, "in_steps", False),
        ("draw_as_healthy", 125.0, "as_expected", False),
        ("draw_as_healthy", 210.0, "above_expected", True),
        ("draw_as_healthy", 40.0, "below_expected", False),
    ],
)
def test_the_first_draw_is_judged_beside_what_was_expected(
    seen: str, draw_ma: float | None, code: str, stop: bool
) -> None:
    sheet = _with_draw(seen, draw_ma)
    draw = power(opinion_on(BRIDGED, power_checks=sheet.power_checks, observations=sheet.observations)).draw
    assert draw is not None
    assert (draw.code, draw.stop, draw.limit_ma, draw.expected_ma) == (code, stop, 300.0, 120.0)
    assert draw.sentence and (draw_ma is None or f"{draw_ma:.0f} mA" in draw.sentence)


def test_at_the_limit_it_says_off_and_no_feed_is_no_short() -> None:
    limit = power(opinion_on(BRIDGED, observations=_with_draw("draw_at_limit").observations)).draw
    none = power(opinion_on(BRIDGED, observations=_with_draw("draw_none").observations)).draw
    assert limit is not None and limit.sentence.startswith("Off at once. A short")
    assert none is not None and "No feed" in none.sentence
    assert power(opinion_on(BRIDGED)).draw is None


def test_after_a_power_up_the_list_begins_anew() -> None:
    """A draw at the limit says "off": nothing on the screen may say beside it that everything stands."""
    later = noted("draw_at_limit", 5, draw_ma=300.0)
    told = power(opinion_on(BRIDGED, power_checks=BY_HAND, photos=(PHOTO,), observations=(later,)))
    assert not told.may and told.stops_at == "plug_seated"
    assert told.sentence.startswith("It was powered once: the list begins anew. No power yet")
    assert told.draw is not None and told.draw.limit_ma == 300.0
    anew = tuple(replace(one, id=f"{one.id}-anew", checked_at_ms=LATER_MS + 9) for one in BY_HAND)
    assert power(opinion_on(BRIDGED, power_checks=(*BY_HAND, *anew), photos=(PHOTO,), observations=(later,))).may
