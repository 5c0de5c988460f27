"""Which touches wait for which: power and what comes off the board come last, and never at a hot place."""

import math
from typing import Any

import pytest
from msgspec.structs import replace

from server.engine.constants.touches import TOUCHES
from server.engine.door import form_opinion
from shared_models.board import Net, Part, ShuntPart
from shared_models.job import Intake, Observation
from shared_models.opinion import NextTouch, Opinion
from shared_models.reading import AtContact, AtRail, AtTestPoint, BetweenContacts, Reading
from shared_models.sheet import BenchSheet
from tests.engine.test_touches import CLIMBS, GENERATED, HEALTHY, KEPT, bench
from tests.support.benches import JOB, at_place, board_of, line, nine_boards, sheet_of, touched

POWERED = ("torch", "draw", "heat", "millivolts")


SOME = {name: sheet for place, (name, sheet) in enumerate(GENERATED.items()) if place % 4 == 0}


def powered(one: NextTouch) -> bool:
    return one.action in POWERED or (one.kind == "volts" and one.title.endswith(", powered"))


@pytest.fixture(scope="module")
def judged() -> list[tuple[str, BenchSheet, Opinion]]:
    return [(name, sheet, form_opinion(sheet)) for name, sheet in {**KEPT, **SOME}.items()]


# ---- on every sheet ---------------------------------------------------------------------------------


def test_nothing_is_powered_while_a_line_reads_low_and_nobody_knows_why(judged: list) -> None:
    for name, _, opinion in judged:
        if any(one.code in ("no_power", "no_power_data") for one in opinion.reminders):
            assert not any(powered(one) and one.action not in ("heat", "millivolts") for one in opinion.next), name


def test_volts_are_never_proposed_at_a_contact_of_the_socket(judged: list) -> None:
    for name, _, opinion in judged:
        for one in opinion.next:
            if one.kind == "volts" and one.subject == "board_socket" and one.action == "read":
                assert not isinstance(one.touch, AtContact), (name, one.title)


def test_power_waits_until_nothing_gentler_is_worth_its_time(judged: list) -> None:
    for name, _, opinion in judged:
        asked = [powered(one) for one in opinion.next]
        if any(asked):
            worth = [one for one in opinion.next if not powered(one) and one.action != "lift_and_read"]
            assert not any(one.run and one.action == "read" and one.gain_bits >= 0.02 for one in worth), name


# ---- a shorted rail -----------------------------------------------------------------------------------

RAILS = (
    Net(name="GND", rail_kind="ground"), Net(name="3V3", rail_kind="panel", working_mv=3300),
    Net(name="VCORE", rail_kind="core", working_mv=1000), Net(name="VMEM", rail_kind="memory", working_mv=1100),
)  # fmt: skip
MEANS = {"1": 0.5, "2": 395.0, "3": 395.0, **{str(n): 338.0 for n in range(4, 9)}, "9": 470.0}
BOARD = board_of(
    [
        line("1", "ground"),
        *(line(n, "panel_supply", net="3V3", path=(ShuntPart(part=f"C{n}"),)) for n in ("2", "3")),
        *(line(n, "lane", leads_to="U1") for n in range(4, 9)), line("9", "control", leads_to="U2"),
    ],
    nets=RAILS,
)  # fmt: skip
SHORT: dict[str, str | float] = {**{n: round(at) for n, at in MEANS.items()}, "2": 1, "3": 1}


def at(touch: Any, typed: str, name: str) -> Reading:
    return at_place(touch, typed, id=name, kind="ohms", unit="ohm")


def hunted(*more: Reading, **fields: Any) -> list[NextTouch]:
    read = (*touched(SHORT), *touched({"2": 1, "3": 1}, prefix="again"), *more)
    sheet = sheet_of(BOARD, read, known=nine_boards(MEANS))
    return list(form_opinion(replace(sheet, **fields)).next)


LOW = at(AtRail(net="3V3"), "0.4", "low")
TO_CORE = at(AtTestPoint(name="3V3 to VCORE"), "OL", "core")
TO_MEMORY = at(AtTestPoint(name="3V3 to VMEM"), "OL", "memory")


def test_a_rail_is_measured_in_ohms_before_anything_is_injected() -> None:
    told = hunted()
    assert any(one.touch == AtRail(net="3V3") and one.kind == "ohms" for one in told), [one.title for one in told]
    assert not any(one.action in ("heat", "millivolts") for one in told)


def test_then_against_every_core_rail() -> None:
    told = hunted(LOW)
    assert {one.touch for one in told} >= {AtTestPoint(name="3V3 to VCORE"), AtTestPoint(name="3V3 to VMEM")}
    assert not any(one.action in ("heat", "millivolts") for one in told)
    one_left = hunted(LOW, TO_CORE)
    assert AtTestPoint(name="3V3 to VMEM") in [one.touch for one in one_left]
    assert not any(one.action in ("heat", "millivolts") for one in one_left)


def test_a_record_without_a_core_rail_still_has_a_processor_to_be_measured_against() -> None:
    bare = replace(BOARD, nets=RAILS[:2])
    told = hunted(LOW, board=bare)
    assert AtTestPoint(name="3V3 to core") in [one.touch for one in told], [one.title for one in told]
    assert not any(one.action in ("heat", "millivolts") for one in told)
    apart = hunted(LOW, at(AtTestPoint(name="3V3 to core"), "OL", "core"), board=bare)
    assert any(one.action == "heat" for one in apart), [one.title for one in apart]


def test_then_heat_before_millivolts_and_from_a_small_start() -> None:
    told = [one for one in hunted(LOW, TO_CORE, TO_MEMORY) if one.action in ("heat", "millivolts")]
    assert [one.action for one in told] == ["heat", "millivolts"]
    assert "From 0.3 V up" in told[0].reasons[0].sentence
    assert told[0].gain_bits == pytest.approx(0.7 * math.log2(2), abs=0.05)  # two capacitors are named on the rail


def test_a_joined_core_rail_is_the_ceiling() -> None:
    told = hunted(LOW, replace(TO_CORE, as_typed="0.6"), TO_MEMORY)
    heat = next(one for one in told if one.action == "heat")
    assert "3V3 to VCORE" in heat.reasons[0].sentence
    assert "no more than the lowest" in heat.reasons[0].sentence


@pytest.mark.parametrize(("typed", "joined"), [("0.6", True), ("5", True), ("OL", False)])
def test_it_is_the_ceiling_too_where_the_socket_has_a_contact_of_it(typed: str, joined: bool) -> None:
    """Then the touch that is proposed goes from a contact of the one rail to a contact of the other."""
    board = replace(BOARD, sockets=tuple(
        replace(one, contacts=tuple(
            replace(contact, role="core_rail", net="VCORE") if contact.number == "9" else contact
            for contact in one.contacts
        )) for one in BOARD.sockets
    ))  # fmt: skip
    to_core = BetweenContacts(contact_a="2", contact_b="9")
    assert to_core in [one.touch for one in hunted(LOW, TO_MEMORY, board=board)]
    read = (*touched(SHORT), *touched({"2": 1, "3": 1}, prefix="again"), LOW, TO_MEMORY, at(to_core, typed, "core"))
    opinion = form_opinion(sheet_of(board, read, known=nine_boards(MEANS)))
    told = opinion.next
    reminded = [one.sentence for one in opinion.reminders if one.code == "rails_joined"]
    assert any("3V3 to VCORE" in one and "never feed either" in one for one in reminded) is joined
    for one in told:
        if one.action in ("heat", "millivolts"):
            assert ("It is joined (3V3 to VCORE): no more than the lowest" in one.reasons[0].sentence) is joined
    assert any(one.action == "heat" for one in told)


def test_a_part_seen_hot_is_not_looked_for_again() -> None:
    hot = Observation(id="hot", of=JOB, seen="hot", part="C2", seen_at_ms=1)
    assert "heat" not in [one.action for one in hunted(LOW, TO_CORE, TO_MEMORY, observations=(hot,))]


# ---- what comes off the board ---------------------------------------------------------------------------

CLAMPED = board_of(
    [
        line("1", "ground"), line("2", "panel_supply", net="3V3"),
        *(line(n, "lane", leads_to="U1", path=(ShuntPart(part=f"D{n}"),)) for n in range(4, 9)),
        line("9", "control", leads_to="U2"),
    ],
    parts=(Part(ref="D5", kind="esd_array"), Part(ref="U1", kind="chip")),
)  # fmt: skip
MEANS_CLAMPED = {n: at for n, at in MEANS.items() if n != "3"}


def with_a_short(*more: Reading, board: Any = CLAMPED, **fields: Any) -> Opinion:
    read = {**{n: str(round(value)) for n, value in MEANS_CLAMPED.items()}, "5": "2"}
    again = touched({"5": "2"}, prefix="again", start_ms=1_745_100_000_000)
    sheet = sheet_of(board, (*touched(read), *again, *more), known=nine_boards(MEANS_CLAMPED))
    return form_opinion(replace(sheet, **fields))


def test_lifting_a_part_comes_only_when_nothing_else_is_worth_its_time() -> None:
    opinion, more, lifted = with_a_short(), [], []
    for step in range(30):
        lifted = [one for one in opinion.next if one.action == "lift_and_read"]
        if lifted or opinion.stop is not None:
            break
        more += answered(opinion.next[0], step)
        opinion = with_a_short(*more)
    assert lifted, [one.title for one in opinion.next]
    assert lifted[0].title == "D5 off the board, then 5 again"
    assert more  # gentler touches came first
    assert opinion.next[-1].action == "lift_and_read"


@pytest.mark.parametrize("matters", ["yes", "no"])
def test_and_then_it_stands_behind_what_still_tells_something(matters: Any) -> None:
    """A part to ground is blamed and nothing gentle would change that by itself; what confirms it stands first."""
    # where nobody needs the data, even of a part that holds them
    holds = replace(CLAMPED, parts=(Part(ref="D5", kind="storage", holds_data=True),))
    asked = {"board": CLAMPED if matters == "yes" else holds, "intake": Intake(data_matters=matters)}
    opinion, more = with_a_short(**asked), []
    for step in range(30):
        if any(one.action == "lift_and_read" for one in opinion.next):
            break
        more += answered(opinion.next[0], step)
        opinion = with_a_short(*more, **asked)
    assert [one.action for one in opinion.next].index("lift_and_read") == len(opinion.next) - 1
    assert all(one.gain_bits >= 0.02 for one in opinion.next)
    assert len(opinion.next) > 1, [one.title for one in opinion.next]


def answered(one: NextTouch, step: int) -> list[Reading]:
    """What a bench with D5 shorted and nothing else wrong says to a touch."""
    typed, kind, unit = "338", one.kind, "mV"
    if isinstance(one.touch, BetweenContacts):
        typed, unit = "OL", "ohm"
    elif isinstance(one.touch, AtContact) and one.touch.contact == "5":
        typed = "2"
    elif isinstance(one.touch, AtRail):
        typed, unit = "410", "ohm"
    elif isinstance(one.touch, AtTestPoint):
        typed, unit = ("470", "mV") if one.kind == "drop" else ("0", "mV")
    reading = at_place(one.touch, typed, id=f"answer-{step}", kind=kind, unit=unit,
                       taken_at_ms=1_745_200_000_000 + step, lead_on_ground=one.lead_on_ground,
                       place=one.place, subject=one.subject)
    return [reading]


def test_a_part_that_holds_the_data_does_not_come_off_while_they_matter() -> None:
    holds = replace(CLAMPED, parts=(Part(ref="D5", kind="storage", holds_data=True),))
    for matters in ("yes", "not_asked"):
        opinion = with_a_short(board=holds, intake=Intake(data_matters=matters))
        assert not any(one.action == "lift_and_read" for one in opinion.next)


# ---- a healthy board under power --------------------------------------------------------------------------


def test_on_a_healthy_board_power_comes_after_the_plug_and_at_no_contact() -> None:
    own = bench()
    opinion = form_opinion(own.sheet(readings=own.pen.sweep(HEALTHY, CLIMBS)))
    assert opinion.next[0].subject == "module_plug"
    assert not any(powered(one) for one in opinion.next)


def test_the_tables_rows_are_what_the_touches_say(judged: list) -> None:
    rows = {(row.seconds, round(row.risk, 6)) for row in TOUCHES.values()}
    for name, _, opinion in judged:
        for one in opinion.next:
            if not one.run:
                assert (one.seconds, one.risk) in rows, (name, one.title)
