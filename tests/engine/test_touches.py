"""What to touch next: worth its time, safe in its order, never again what was done, and with an end.

Demanded of every kept sheet and of a hundred untidy ones, and of small jobs made for one promise each.
"""

from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from demo.shop.bench import Bench
from demo.shop.boards import T10
from demo.shop.references import T10_GOOD, climbing
from demo.shop.table import OL, T10_J7
from server.engine.constants.answers import PLUG_RAIL_LOW_OHM
from server.engine.constants.next_touch import NEXT_TOUCHES, RUN_LENGTH, STOP_GAIN_BITS
from server.engine.constants.touches import TOUCHES
from server.engine.door import form_opinion
from server.engine.quantities import read_text
from shared_models.job import Intake
from shared_models.opinion import NextTouch, Opinion
from shared_models.reading import AcrossPart, AtContact, AtPartEnd, BetweenContacts, Ohms, Reading
from shared_models.sheet import BenchSheet
from shared_models.tables import ROLE_BY_ID
from tests.support.benches import BENCH_METER
from tests.support.sheets import random_sheet

SHEETS = Path(__file__).parents[2] / "demo" / "sheets"
KEPT = {
    path.stem: msgspec.json.decode(path.read_bytes(), type=BenchSheet)
    for path in sorted(SHEETS.glob("*.json"))
    if path.stem != "expected"
}
GENERATED = {f"random {seed}": random_sheet(seed) for seed in range(100)}
CLIMBS = climbing(T10.sockets[0])


@pytest.fixture(scope="module")
def judged() -> list[tuple[str, BenchSheet, Opinion]]:
    """Every sheet with its opinion."""
    return [(name, sheet, form_opinion(sheet)) for name, sheet in {**KEPT, **GENERATED}.items()]


def bench() -> Bench:
    """A T10 on the bench."""
    return Bench("next", T10, T10_GOOD, BENCH_METER, start_ms=1_745_000_000_000, by="Ines")


def t10(drops: dict[str, str], *more: Reading, **fields: Any) -> Opinion:
    """An opinion on a T10 read so far, with further answers."""
    own = bench()
    return form_opinion(replace(own.sheet(readings=own.pen.sweep(drops, CLIMBS) + more), **fields))


HEALTHY = T10_J7.typed("job1") | {
    "20": "474",
    "22": "474",
    "24": "456",
    "28": "486",
    "30": "488",
    "32": "488",
    "8": "320",
}


# ---- every sheet -------------------------------------------------------------------------


def test_three_touches_at_most_each_with_a_reason_its_time_and_its_risk(judged: list) -> None:
    for name, _, opinion in judged:
        assert len(opinion.next) <= NEXT_TOUCHES, name
        assert opinion.next or opinion.stop, name
        titles = [one.title for one in opinion.next]
        assert len(titles) == len(set(titles)), (name, titles)
        for one in opinion.next:
            assert one.reasons and all(reason.sentence for reason in one.reasons), (name, one.title)
            assert 0 < one.seconds <= max(row.seconds for row in TOUCHES.values()) + 60, (name, one.title)
            assert 0 <= one.risk <= 3 * max(row.risk for row in TOUCHES.values()), (name, one.title)
            assert one.gain_bits >= 0, (name, one.title)


def test_lifting_a_part_is_never_proposed(judged: list) -> None:
    allowed = {"read", "retouch", "other_polarity", "reseat", "known_good_module", "clean_and_read", "second_current"}
    for name, _, opinion in judged:
        for one in opinion.next:
            assert one.action in allowed, (name, one)
            words = " ".join([one.title, *(reason.sentence for reason in one.reasons)]).lower()
            assert not any(word in words for word in ("lift", "desolder", "remove")), (name, words)


def rail_at_the_plug(sheet: BenchSheet) -> list[float]:
    """Ohms measured at the module's plug."""
    values = [
        read_text(one.as_typed, one.display_unit, one.kind)
        for one in sheet.readings
        if one.subject == "module_plug" and one.kind == "ohms" and not isinstance(one.touch, BetweenContacts)
    ]
    return [value.ohm for value in values if isinstance(value, Ohms)]


def test_a_module_goes_in_only_after_its_rail_was_measured_and_is_not_low(judged: list) -> None:
    for name, sheet, opinion in judged:
        ohms = rail_at_the_plug(sheet)
        roles = [one.role for socket in sheet.board.sockets for one in socket.contacts if socket.ref == sheet.socket]
        if not any(ROLE_BY_ID[role].is_rail for role in roles):
            continue  # no rail at this plug that anybody could measure
        for one in opinion.next:
            if one.action in ("reseat", "known_good_module"):
                assert ohms, (name, one.title)
                assert min(ohms) >= PLUG_RAIL_LOW_OHM, (name, ohms)


def test_a_run_is_short_unread_and_lies_along_one_row(judged: list) -> None:
    for name, sheet, opinion in judged:
        socket = next(one for one in sheet.board.sockets if one.ref == sheet.socket)
        rows = [row.contacts for row in socket.rows]
        read = {one.contact for one in opinion.contacts if one.touches}
        for one in opinion.next:
            if not one.run or one.reasons[0].code in ("anchor", "retouch", "touch_again"):
                continue
            if one.action != "read":
                continue
            assert len(one.run) <= RUN_LENGTH, (name, one.run)
            assert not set(one.run) & read, (name, one.run)
            row = next(row for row in rows if one.run[0] in row)
            assert all(row.index(b) == row.index(a) + 1 for a, b in pairwise(one.run)), (name, one.run)


def test_where_nothing_is_said_to_stop_the_first_touch_is_worth_its_time(judged: list) -> None:
    for name, _, opinion in judged:
        if opinion.stop is not None:
            continue
        first = opinion.next[0]
        owed = first.action == "retouch" or first.reasons[0].code == "anchor"
        assert owed or first.gain_bits >= STOP_GAIN_BITS, (name, first)


def test_nobody_is_told_to_stop_while_a_contact_still_owes_a_second_touch(judged: list) -> None:
    for name, _, opinion in judged:
        if opinion.stop is not None and opinion.stop.code != "all_must_be_read":
            assert not any(one.touch_again for one in opinion.contacts), name


def place_of(one: NextTouch) -> tuple[str, ...]:
    """Where a touch at a part or between contacts is made; empty for the others."""
    if isinstance(one.touch, AcrossPart):
        return ("across", one.touch.part)
    if isinstance(one.touch, AtPartEnd):
        return ("end", one.touch.part, one.touch.end)
    if isinstance(one.touch, BetweenContacts):
        return ("between", *sorted((one.touch.contact_a, one.touch.contact_b)))
    return ()


def test_what_was_measured_is_not_proposed_again() -> None:
    for name, sheet in KEPT.items():
        if "turned" in name:
            continue  # there the numbers of what was measured are the technician's own
        done = [
            place_of(NextTouch(touch=one.touch, kind=one.kind, title="", gain_bits=0, seconds=1, risk=0))
            for one in sheet.readings
            if one.subject == "board_socket"
        ]
        for one in form_opinion(sheet).next:
            assert place_of(one) == () or place_of(one) not in done, (name, one.title)


# ---- the module ---------------------------------------------------------------------------


def test_on_a_healthy_board_the_modules_rail_comes_before_its_seat() -> None:
    opinion = t10(HEALTHY, intake=Intake(symptoms=("no_picture",)))
    assert opinion.next[0].subject == "module_plug"
    assert opinion.next[0].kind == "ohms"
    assert not any(one.action in ("reseat", "known_good_module") for one in opinion.next)


@pytest.mark.parametrize(("ohms", "may_go_in"), [("240", True), ("2.1", False)])
def test_then_it_goes_in_again_only_if_its_rail_is_not_low(ohms: str, may_go_in: bool) -> None:
    plug = bench().pen.rail_ohms("3V3D", ohms, subject="module_plug")
    opinion = t10(HEALTHY, replace(plug, id="plug"), intake=Intake(symptoms=("no_picture",)))
    proposed = [one.action for one in opinion.next if one.action in ("reseat", "known_good_module")]
    assert bool(proposed) is may_go_in
    warned = [one for one in opinion.reminders if one.code == "module_not_again"]
    assert bool(warned) is not may_go_in
    if not may_go_in:
        assert "2.1 ohm" in warned[0].sentence
        assert warned[0].blocks


# ---- when to stop ----------------------------------------------------------------------------


def test_the_rule_to_stop_is_a_number_of_bits() -> None:
    assert STOP_GAIN_BITS == 0.02


def test_a_proved_bridge_needs_nothing_but_the_second_touches_it_owes() -> None:
    own = bench()
    drops = T10_J7.typed("job2")
    readings = own.pen.sweep(drops, CLIMBS) + own.pen.sweep({"9": "321", "11": "321"}, {})
    proof = own.pen.between(9, 11, "0.3")
    before = form_opinion(own.sheet(readings=readings, intake=Intake(what_happened=("soldered_at_socket",))))
    after = form_opinion(own.sheet(readings=(*readings, proof), intake=Intake(what_happened=("soldered_at_socket",))))
    assert before.stop is None
    assert before.next[0].touch == BetweenContacts(contact_a="9", contact_b="11")
    assert after.stories[0].kind == "bridge"
    assert after.stories[0].odds > 0.99
    first_gain = after.next[0].gain_bits if after.next else 0.0
    assert after.stop is not None or first_gain < before.next[0].gain_bits


def test_on_a_half_read_healthy_board_nobody_is_told_that_it_is_enough() -> None:
    half = {number: HEALTHY[number] for number in list(HEALTHY)[:14]}
    opinion = t10(half)
    unread = {one.contact for one in opinion.contacts if one.verdict == "unread"}
    assert len(unread) == 20
    proposed = {contact for one in opinion.next for contact in one.run}
    assert proposed & unread or (opinion.stop is not None and opinion.stop.code == "all_must_be_read")


def test_what_would_hardly_change_what_to_do_first_is_listed_and_the_work_may_stop() -> None:
    """One line left on a healthy board tells some bits and changes the decision once in a hundred: it may stop."""
    plug = bench().pen.rail_ohms("3V3D", "2.1", subject="module_plug")
    left = {number: typed for number, typed in HEALTHY.items() if number != "28"}
    opinion = t10(left, replace(plug, id="plug"))
    assert [one.title for one in opinion.next] == ["28 T_INT"]
    assert opinion.next[0].gain_bits >= STOP_GAIN_BITS
    assert opinion.stop is not None
    assert opinion.stop.code == "all_must_be_read"
    assert "1 contact is left" in opinion.stop.sentence


def test_a_proved_bridge_may_stop_while_contacts_are_unread_that_change_nothing() -> None:
    own = bench()
    joined = {"9": "321", "11": "321"}
    drops = {n: typed for n, typed in T10_J7.typed("job2").items() if n not in ("22", "24", "26", "28", "30")} | joined
    readings = own.pen.sweep(drops, CLIMBS) + own.pen.sweep(joined, {})
    sheet = own.sheet(
        readings=(*readings, own.pen.between(9, 11, "0.3")), intake=Intake(what_happened=("soldered_at_socket",))
    )
    opinion = form_opinion(sheet)
    unread = {one.contact for one in opinion.contacts if one.verdict == "unread"}
    listed = [one for one in opinion.next if set(one.run) & unread]
    assert [one.gain_bits >= STOP_GAIN_BITS for one in listed] == [True]
    assert opinion.stop is not None
    assert opinion.stop.code == "not_worth_its_time"


def test_when_all_was_read_and_measured_there_is_nothing_left_and_it_is_said() -> None:
    plug = bench().pen.rail_ohms("3V3D", "2.1", subject="module_plug")
    opinion = t10(HEALTHY, replace(plug, id="plug"))
    assert opinion.next == ()
    assert opinion.stop is not None
    assert opinion.stop.code == "nothing_left"
    assert opinion.stop.sentence


# ---- in which order ---------------------------------------------------------------------------


def test_out_of_band_on_one_touch_is_touched_again_within_the_next_three() -> None:
    opinion = t10(HEALTHY | {"23": "180"})
    assert any(
        one.action == "retouch" and isinstance(one.touch, AtContact) and "23" in (one.touch.contact, *one.run)
        for one in opinion.next
    ), [one.title for one in opinion.next]


def test_a_spring_on_ol_is_followed_to_its_tail() -> None:
    opinion = t10(HEALTHY | {"23": OL})
    first = opinion.next[0]
    assert (first.place, first.touch) == ("tail", AtContact(contact="23"))


def test_a_tail_nobody_can_reach_is_not_proposed() -> None:
    socket = T10.sockets[0]
    hidden = replace(socket, contacts=tuple(replace(one, tail_reachable=one.number != "23") for one in socket.contacts))
    own = bench()
    sheet = own.sheet(readings=own.pen.sweep(HEALTHY | {"23": OL}, CLIMBS))
    opinion = form_opinion(replace(sheet, board=replace(T10, sockets=(hidden,))))
    assert not any(one.place == "tail" for one in opinion.next)


def test_where_data_matter_risk_costs_more_time() -> None:
    drops = HEALTHY | {"28": "61"}
    careful, careless = (t10(drops, intake=Intake(data_matters=matters)) for matters in ("yes", "no"))
    assert sum(one.risk for one in careful.next) <= sum(one.risk for one in careless.next)
    assert "no_power_data" in [one.code for one in careful.reminders]
    assert "no_power_data" not in [one.code for one in careless.reminders]
