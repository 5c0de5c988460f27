"""What a reading at another place says: each raises what it speaks for and leaves alone what it does not reach.

Which way each points is common practice, no source; the ohms and volts are typed as a bench would show them.
"""

from collections.abc import Mapping
from typing import Any

import pytest
from msgspec.structs import replace

from demo.shop.boards import S4, T10
from demo.shop.other_jobs import all_sheets
from demo.shop.references import T10_GOOD
from demo.shop.table import OL, T10_J7
from server.engine.accepted_board import accept_board
from server.engine.door import form_opinion
from server.engine.rail_places import healthy_rail_low
from shared_models.board import BoardVersion, Net, Pull
from shared_models.opinion import Opinion
from shared_models.reading import (
    AtContact,
    AtPartEnd,
    AtRail,
    AtTestPoint,
    BetweenContacts,
    DisplayUnit,
    OfReferenceBoard,
    Reading,
)
from shared_models.sheet import BenchSheet
from tests.engine.test_things_seen_move_the_odds import odds
from tests.engine.test_touches import HEALTHY, bench
from tests.support.benches import at_place, board_of, line, nine_boards, sheet_of, touched

S4_CORE = all_sheets()["s4_core_honestly_low"]
LANES: tuple[str, ...] = ("3", "4", "5", "6", "7")
MEANS: dict[str, float] = {"1": 0.5, "2": 395.0, **dict.fromkeys(LANES, 338.0), "8": 470.0}
SMALL = board_of(
    [
        line("1", "ground"), line("2", "panel_supply", net="3V3"), *(line(n, "lane", leads_to="U1") for n in LANES),
        line("8", "control", leads_to="U2"),
    ]
)  # fmt: skip


def small(read: Mapping[str, str | float], *more: Reading, board: BoardVersion = SMALL) -> BenchSheet:
    return sheet_of(board, (*touched(read), *more), known=nine_boards(MEANS))


def s4(*more: Reading, healthy: bool = True) -> BenchSheet:
    known = S4_CORE.known_good_readings
    if not healthy:
        known = tuple(one for one in known if not isinstance(one.touch, AtRail))
    return replace(S4_CORE, readings=(*S4_CORE.readings, *more), known_good_readings=known)


def rail(net: str, typed: str, **fields: Any) -> Reading:
    base = at_place(AtRail(net=net), typed, id=f"ohms-{net}", kind="ohms", unit="ohm", **fields)
    return replace(base, socket=S4_CORE.socket, of=S4_CORE.readings[0].of, meter_id=S4_CORE.readings[0].meter_id)


# ---- ohms of a rail -------------------------------------------------------------------------------


def test_a_core_rail_is_short_only_beside_healthy_boards_of_more_ohms() -> None:
    before = odds(s4(), "rail_short", "VCORE")
    assert odds(s4(rail("VCORE", "0.6")), "rail_short", "VCORE") > 10 * before
    assert odds(s4(rail("VCORE", "3.0")), "rail_short", "VCORE") < before


def test_without_a_healthy_board_a_core_rail_of_few_ohms_may_be_honest() -> None:
    alone = odds(s4(healthy=False), "rail_short", "VCORE")
    assert odds(s4(rail("VCORE", "0.6"), healthy=False), "rail_short", "VCORE") == pytest.approx(alone)


def test_what_nulled_leads_leave_is_no_short() -> None:
    # healthy boards read 2.8 to 3.3; three deviations of a fifth and a tenth of an ohm end at 1.2
    before = odds(s4(), "rail_short", "VCORE")
    assert odds(s4(rail("VCORE", "1.6")), "rail_short", "VCORE") < before


def test_ohms_at_a_healthy_board_set_aside_do_not_count() -> None:
    aside = replace(
        s4(rail("VCORE", "0.6")),
        reference_boards=tuple(replace(one, set_aside_why="sick") for one in S4_CORE.reference_boards),
    )
    assert odds(aside, "rail_short", "VCORE") < odds(s4(rail("VCORE", "0.6")), "rail_short", "VCORE") / 5


# ---- contact to contact ---------------------------------------------------------------------------


def test_contact_to_contact_proves_a_bridge() -> None:
    read = {"1": "0", "2": "395", "3": "312", "4": "312", "5": "338", "6": "338", "7": "338", "8": "470"}
    joined = at_place(BetweenContacts(contact_a="4", contact_b="3"), "0.4", id="b", kind="ohms", unit="ohm")
    apart = replace(joined, as_typed="OL")
    before = odds(small(read), "bridge", "3-4")
    assert odds(small(read, joined), "bridge", "3-4") > 0.99
    after = odds(small(read, apart), "bridge", "3-4")
    assert after / (1 - after) < 0.05 * before / (1 - before)  # a probe may have missed one of the two


def test_a_shorted_rail_beside_a_ground_is_no_proof_of_a_bridge_between_them() -> None:
    read = {"1": "0", "2": "1", "3": "338", "4": "338", "5": "338", "6": "338", "7": "338", "8": "470"}
    low = at_place(BetweenContacts(contact_a="1", contact_b="2"), "0.6", id="b", kind="ohms", unit="ohm")
    before, after = odds(small(read), "rail_short", "3V3"), odds(small(read, low), "rail_short", "3V3")
    # both explain what was read; a touch that both answer alike must leave them so
    bridge_before, bridge_after = odds(small(read), "bridge", "1-2"), odds(small(read, low), "bridge", "1-2")
    assert before > 0.3
    assert bridge_before > 0.3
    assert after / bridge_after == pytest.approx(before / bridge_before, rel=0.25)


@pytest.mark.parametrize(("read_mv", "typed"), [("4", "4"), ("12", "12"), ("12", "OL")])
def test_a_short_of_more_ohms_than_a_bridge_is_not_taken_for_one_nor_doubted(read_mv: str, typed: str) -> None:
    read = {"1": "0", "2": read_mv, "3": "338", "4": "338", "5": "338", "6": "338", "7": "338", "8": "470"}
    more = at_place(BetweenContacts(contact_a="1", contact_b="2"), typed, id="b", kind="ohms", unit="ohm")
    before, after = small(read), small(read, more)
    assert odds(after, "bridge", "1-2") <= 0.1 * odds(before, "bridge", "1-2")
    # what else may hold the rail down was weighed with its own reading, and is left as it stood
    stood = odds(before, "rail_short", "3V3") / odds(before, "plug_tilted", "1-2")
    assert odds(after, "rail_short", "3V3") / odds(after, "plug_tilted", "1-2") == pytest.approx(stood, rel=0.05)


# ---- behind the spring ----------------------------------------------------------------------------

OPEN_4 = {**{n: str(round(at)) for n, at in MEANS.items()}, "4": OL}


def behind(place: str, typed: str) -> Reading:
    return at_place(AtContact(contact="4"), typed, id=place, place=place, taken_at_ms=1_746_000_000_000)


def test_a_pad_that_went_with_its_contact_is_found_behind_it() -> None:
    tail, pad = behind("tail", OL), behind("pad", "338")
    dead = odds(small(OPEN_4, tail), "contact_torn", "4")
    assert dead < odds(small(OPEN_4), "contact_torn", "4")
    assert odds(small(OPEN_4, tail, pad), "contact_torn", "4") > 0.8


def test_the_near_end_of_the_first_part_is_the_contacts_own_line() -> None:
    torn = T10_J7.typed("job1") | {"20": OL, "28": "486", "30": "488", "32": "488", "24": "456"}
    own = bench()
    readings = (*own.pen.sweep(torn, {}), *own.pen.sweep({"20": OL}, {}))
    near = own.pen.reading(AtPartEnd(part="R210", end="near"), "474", "drop", "mV", place="part_near")
    before = odds(own.sheet(readings=readings), "contact_torn", "20")
    assert odds(own.sheet(readings=(*readings, near)), "contact_torn", "20") > before + 0.2


# ---- ohms where a healthy contact shows OL ----------------------------------------------------------

STRAPPED = board_of(
    [*SMALL.sockets[0].contacts, line("9", "strap", path=(Pull(ohm=10_000, to_net="GND"),)), line("10", "unconnected")]
)
ALL_WELL: dict[str, str | float] = {**{n: str(round(at)) for n, at in MEANS.items()}, "9": OL, "10": OL}


def ohms(contact: str, typed: str, unit: DisplayUnit = "kohm") -> Reading:
    return at_place(AtContact(contact=contact), typed, id=f"ohms-{contact}", kind="ohms", unit=unit)


def test_a_strap_is_judged_in_ohms() -> None:
    before = odds(small(ALL_WELL, board=STRAPPED), "leak", "9")
    assert odds(small(ALL_WELL, ohms("9", "10.1"), board=STRAPPED), "leak", "9") < before
    assert odds(small(ALL_WELL, ohms("9", "1.2"), board=STRAPPED), "leak", "9") > 5 * before


def test_a_contact_of_nothing_that_measures_kilohms_is_wet() -> None:
    before = odds(small(ALL_WELL, board=STRAPPED), "leak", "10") + odds(small(ALL_WELL, board=STRAPPED), "wet", None)
    leaky = small(ALL_WELL, ohms("10", "4.7"), board=STRAPPED)
    assert odds(leaky, "leak", "10") + odds(leaky, "wet", None) > 5 * before


# ---- volts on a powered board -----------------------------------------------------------------------

T10_LED = next(net for net in T10.nets if net.rail_kind == "backlight")


def lit(volts: str, *, powered: bool = True) -> BenchSheet:
    own = bench()
    conditions = ("battery_connected",) if powered else ()
    reading = own.pen.reading(
        AtTestPoint(name=T10_LED.proof_at or ""), volts, "volts", "V", place="test_point", conditions=conditions
    )
    return own.sheet(readings=(*own.pen.sweep(HEALTHY, {}), reading))


def test_a_rail_that_is_not_made_speaks_for_its_open_feed() -> None:
    assert odds(lit("0.1"), "series_open", "F3") > 2 * odds(lit("28.0"), "series_open", "F3")


def test_led_plus_at_its_input_speaks_for_its_driver_and_over_its_limit_for_the_module() -> None:
    assert odds(lit("7.4"), "chip_damaged", "U31") > 2 * odds(lit("28.0"), "chip_damaged", "U31")
    assert odds(lit("33.0"), "elsewhere", None) > odds(lit("28.0"), "elsewhere", None)


def test_volts_on_a_powered_board_are_no_voltage_left_behind() -> None:
    assert odds(lit("28.0"), "still_powered", None) < 0.05
    assert odds(lit("28.0", powered=False), "still_powered", None) > 0.2


# ---- nothing is weighed in silence ------------------------------------------------------------------


def named(opinion: Opinion, record: str) -> list[str]:
    return [one.code for one in opinion.set_aside if one.record_id == record]


def test_a_draw_typed_as_a_number_is_kept_and_said_to_move_no_odds() -> None:
    draw = at_place(AtRail(net="supply"), "340", id="draw", kind="draw", unit="mA")
    assert named(form_opinion(small(ALL_WELL, draw, board=STRAPPED)), "draw") == ["not_weighed"]


def test_the_healthy_boards_of_these_tests_measured_their_rails() -> None:
    ohms_of = [one for one in S4_CORE.known_good_readings if isinstance(one.touch, AtRail)]
    assert len(ohms_of) == 10
    assert all(isinstance(one.of, OfReferenceBoard) for one in ohms_of)
    assert {net.name for net in S4.nets if isinstance(net, Net)} >= {"VCORE", "VMEM"}
    assert T10_GOOD.readings


# ---- the other lead -----------------------------------------------------------------------------------

BLACK: dict[str, float] = dict.fromkeys(LANES, 620.0)
"""What healthy lanes read with black on ground: 450 to 800, common practice, no source."""


def both_leads(black: dict[str, str]) -> BenchSheet:
    """Everything read as healthy with red on ground; some contacts with black on ground too."""
    known = nine_boards(MEANS)
    upper = nine_boards(BLACK, lead_on_ground="black")["known_good_readings"]
    known["known_good_readings"] += tuple(replace(one, id=f"black-{one.id}") for one in upper)
    red = touched({n: str(round(at)) for n, at in MEANS.items()})
    other = touched(black, prefix="black", lead_on_ground="black", start_ms=1_745_100_000_000)
    return sheet_of(SMALL, (*red, *other), known=known)


def hurt_above(typed: str) -> Opinion:
    """Contact 5 read thrice with black on ground, everything else as healthy."""
    sheet = both_leads({**{n: "620" for n in LANES if n != "5"}, "5": typed})
    again = touched(
        [("5", typed), ("5", typed)], prefix="again", lead_on_ground="black", start_ms=1_745_200_000_000
    )
    return form_opinion(replace(sheet, readings=(*sheet.readings, *again)))


# of OL the engine stays less sure: one healthy contact in a hundred may show it against its kind
@pytest.mark.parametrize(("typed", "at_most", "word"), [("OL", 0.7, "clamp to the rail"), ("430", 0.5, "a leak")])
def test_a_line_hurt_on_its_way_to_the_rail_shows_with_black_on_ground_alone(
    typed: str, at_most: float, word: str
) -> None:
    opinion = hurt_above(typed)
    five = next(one for one in opinion.contacts if one.contact == "5")
    assert five.odds.expected < at_most
    told = next(one for one in five.reasons if one.code == "other_lead")
    assert word in told.sentence
    assert [one.contact for one in opinion.contacts if one.odds.expected < 0.7] == ["5"]


def test_a_leak_to_the_rail_is_called_low() -> None:
    five = next(one for one in hurt_above("430").contacts if one.contact == "5")
    assert five.verdict == "low"


def test_healthy_numbers_with_either_lead_blame_nobody() -> None:
    opinion = form_opinion(both_leads({str(n): "620" for n in LANES}))
    assert all(one.odds.expected > 0.9 for one in opinion.contacts)
    assert not any(reason.code == "other_lead" for one in opinion.contacts for reason in one.reasons)


# ---- what was found is said -----------------------------------------------------------------------------


def story_says(opinion: Opinion, kind: str) -> list[str]:
    return [reason.sentence for one in opinion.stories if one.kind == kind for reason in one.reasons]


def test_a_story_names_what_was_found_for_it() -> None:
    read = {"1": "0", "2": "395", "3": "312", "4": "312", "5": "338", "6": "338", "7": "338", "8": "470"}
    joined = at_place(BetweenContacts(contact_a="4", contact_b="3"), "0.4", id="b", kind="ohms", unit="ohm")
    assert "3-4: 0.4 ohm, joined." in story_says(form_opinion(small(read, joined)), "bridge")
    tail = form_opinion(small(OPEN_4, behind("tail", "338")))
    assert any("the spring, not the line behind it" in one for one in story_says(tail, "contact_torn"))


def test_a_core_rail_low_without_a_healthy_board_is_said_to_be_perhaps_honest() -> None:
    opinion = form_opinion(s4(rail("VCORE", "0.6"), healthy=False))
    told = next(one for one in opinion.set_aside if one.record_id == "ohms-VCORE")
    assert "may be honest" in told.sentence


def test_two_rails_that_are_joined_are_reminded_of() -> None:
    joined = replace(rail("VCORE", "0.6"), id="joined", touch=AtTestPoint(name="3V3 to VCORE"))
    told = [one.sentence for one in form_opinion(s4(joined)).reminders if one.code == "rails_joined"]
    assert told == ["3V3 to VCORE: 0.6 ohm. The two are joined: never feed either above what the lowest of them takes."]


def test_nor_is_one_of_forty_ohm_called_low_at_all() -> None:
    said = {one.record_id: one.sentence for one in form_opinion(s4(rail("VCORE", "40"), healthy=False)).set_aside}
    assert "ohms-VCORE" not in said


def test_beside_healthy_rails_of_few_tenths_what_the_leads_leave_decides_nothing() -> None:
    """0.3 ohm on healthy boards: three deviations of a fifth of it and of a tenth of an ohm reach below nothing."""
    board = accept_board(S4_CORE)
    assert healthy_rail_low(board, "VCORE", 0.1, {"VCORE": [0.3, 0.3, 0.3]}) is False
    assert healthy_rail_low(board, "VCORE", 0.5, {"VCORE": [2.8, 3.0, 3.3]}) is True
