"""Each thing seen raises the story it speaks for, against the same sheet without it, and lowers what it speaks against.

Which way each points is common practice, no source; nothing here comes from an opinion.
"""

from typing import Any, NamedTuple, get_args, get_type_hints

import pytest
from msgspec.structs import replace

from demo.shop import other_jobs, t10_jobs
from server.engine.accept import Notes, accept_readings
from server.engine.inference import Judged, judge
from server.engine.looked import SEEN_WITH
from server.engine.prepared import prepare
from shared_models.decision_tables import STOP_LINES
from shared_models.job import Observation
from shared_models.reading import AtContact, OfJob
from shared_models.sheet import BenchSheet

T10_HEALTHY = other_jobs.all_sheets()["t10_low_current_meter_all_healthy"]
L14 = other_jobs.all_sheets()["l14_no_references_no_light"]
STRIPES = t10_jobs.all_sheets()["t10_new_socket_stripes"]


def reading(sheet: BenchSheet, contact: str, as_typed: str) -> BenchSheet:
    """The sheet with one contact read otherwise, steadily."""
    rows = tuple(
        replace(row, as_typed=as_typed, steadiness="steady")
        if isinstance(row.touch, AtContact) and row.touch.contact == contact and row.place == "spring"
        else row
        for row in sheet.readings
    )
    return replace(sheet, readings=rows, observations=())


def judged(sheet: BenchSheet) -> Judged:
    prepared = prepare(sheet)
    return judge(sheet, prepared, accept_readings(sheet, prepared.board, Notes([], [])))


def odds(sheet: BenchSheet, kind: str, subject: str | None) -> float:
    """The probability that such a story is true, alone or beside another; not only of those that are shown."""
    found = judged(sheet)
    stories = found.prepared.stories
    told = [one.kind == kind and (subject is None or subject in (one.subject, one.part)) for one in stories]
    total = sum(weight for weight, there in zip(found.post, told, strict=False) if there)
    pairs = zip(found.post[len(stories) :], found.pairs, strict=True)
    return total + sum(weight for weight, (a, b) in pairs if told[a] or told[b])


class Case(NamedTuple):
    """What is seen, and how, on which sheet; the story it moves, and whether up."""

    seen: str
    fields: dict[str, Any]
    sheet: BenchSheet
    kind: str
    subject: str | None
    up: bool = True


OPEN_24 = reading(T10_HEALTHY, "24", "OL")
OPEN_20 = reading(T10_HEALTHY, "20", "OL")
LOW_28 = reading(T10_HEALTHY, "28", "60")
LOW_23 = reading(T10_HEALTHY, "23", "240")
RAIL_LOW = reading(reading(T10_HEALTHY, "4", "3"), "6", "3")
LED_HIGH = reading(reading(T10_HEALTHY, "30", "482"), "32", "482")
PWM_LOW = reading(L14, "6", "38")
FEED_HIGH = reading(reading(reading(L14, "1", "495"), "2", "494"), "3", "495")

CASES = [
    Case("bent", {"contacts": ("24",)}, OPEN_24, "contact_torn", "24"),
    Case("bent", {"contacts": ("33",)}, LOW_23, "plug_tilted", None),
    Case("bent", {}, OPEN_24, "contact_torn", "24"),
    Case("bent", {"subject": "module_plug", "contacts": ("24",)}, T10_HEALTHY, "elsewhere", None),
    Case("lifted", {"contacts": ("24",)}, OPEN_24, "contact_torn", "24"),
    Case("missing", {"contacts": ("24",)}, OPEN_24, "part_knocked_off", "24"),
    Case("missing", {"part": "R210"}, OPEN_20, "part_knocked_off", "20"),
    Case("missing", {"part": "R210"}, OPEN_20, "series_open", "R210"),
    Case("bridged", {"contacts": ("9", "11")}, STRIPES, "bridge", "9-11"),
    Case("bridged", {}, STRIPES, "bridge", "9-11"),
    Case("wet", {"contacts": ("23",)}, LOW_23, "wet", None),
    Case("wet", {"contacts": ("23",)}, LOW_23, "leak", "23"),
    Case("wet", {}, LOW_23, "leak", "23"),
    Case("wet", {"subject": "module_plug"}, T10_HEALTHY, "elsewhere", None),
    Case("clean", {}, LOW_23, "leak", "23", up=False),
    Case("clean", {"contacts": ("23",)}, LOW_23, "leak", "23", up=False),
    Case("clean", {"contacts": ("23",)}, LOW_23, "wet", None, up=False),
    Case("burnt", {"contacts": ("28",)}, LOW_28, "plug_off_by", "-1"),
    Case("burnt", {"contacts": ("28", "30")}, LOW_28, "tool_slip", "30-28"),
    Case("burnt", {}, LOW_28, "tool_slip", "30-28"),
    Case("burnt", {"subject": "module_plug", "contacts": ("30",)}, LOW_28, "plug_off_by", "-1"),
    Case("changes_when_pressed", {"contacts": ("24",)}, OPEN_24, "cracked_joint", "U1"),
    Case("changes_when_pressed", {"part": "U1"}, OPEN_24, "cracked_joint", "U1"),
    Case("hot", {"part": "U1"}, LOW_28, "chip_damaged", "U1"),
    Case("hot", {"part": "U17"}, RAIL_LOW, "rail_short", "3V3D"),
    Case("hot", {"contacts": ("4",)}, RAIL_LOW, "rail_short", "3V3D"),
    Case("hot", {"part": "C88"}, reading(reading(T10_HEALTHY, "30", "2"), "32", "2"), "rail_short", "LED_A"),
    Case("hot", {"part": "D522"}, PWM_LOW, "shunt_short", "D522"),
    Case("torch_shows_picture", {}, LED_HIGH, "series_open", "F3"),
    Case("torch_shows_nothing", {}, LED_HIGH, "series_open", "F3", up=False),
    Case("draw_at_limit", {"draw_ma": 500, "limit_ma": 500}, RAIL_LOW, "rail_short", "3V3D"),
    Case("draw_at_limit", {}, LOW_28, "nothing_wrong", None, up=False),
    Case("draw_none", {"draw_ma": 0}, FEED_HIGH, "series_open", "F7"),
    Case("draw_none", {}, RAIL_LOW, "rail_short", "3V3D", up=False),
    Case("draw_low_steady", {"draw_ma": 20}, LOW_28, "chip_damaged", "U1"),
    Case("draw_low_steady", {}, OPEN_24, "cracked_joint", "U1"),
    Case("draw_as_healthy", {}, T10_HEALTHY, "nothing_wrong", None),
    Case("draw_as_healthy", {}, RAIL_LOW, "rail_short", "3V3D", up=False),
    Case("draw_as_healthy", {}, LOW_28, "chip_damaged", "U1", up=False),
    Case("reads_below_zero", {"contacts": ("4",)}, T10_HEALTHY, "still_powered", None),
]


def looked(case: Case) -> BenchSheet:
    """The sheet with the thing seen before the readings were taken."""
    seen: Any = case.seen
    fact = Observation(id="o", of=OfJob(job_id="j"), seen=seen, seen_at_ms=1, **case.fields)
    return replace(case.sheet, observations=(fact,))


def named(case: Case) -> str:
    where = "+".join(str(one) for one in case.fields.values()) or "anywhere"
    return f"{case.seen} {where} -> {case.kind} {case.subject or ''}{'' if case.up else ' down'}"


@pytest.mark.parametrize("case", CASES, ids=named)
def test_it_moves_the_story_it_speaks_of(case: Case) -> None:
    without, beside = (
        odds(replace(case.sheet, observations=()), case.kind, case.subject),
        odds(looked(case), case.kind, case.subject),
    )
    assert without > 0, "the story must be told on this socket"
    assert beside > without if case.up else beside < without, (without, beside)


MOVES_NO_ODDS = {row.seen for row in STOP_LINES if row.seen is not None} | {"draw_in_steps"}
"""What says when to stop, and a supply that starts and falls back: for the lists, not for the stories."""


def test_what_is_for_the_lists_moves_no_odds() -> None:
    for seen in sorted(MOVES_NO_ODDS):
        beside = looked(Case(seen, {}, OPEN_24, "contact_torn", "24"))  # type: ignore[arg-type]
        assert odds(beside, "contact_torn", "24") == odds(OPEN_24, "contact_torn", "24"), seen


def test_everything_that_can_be_seen_has_a_case_and_every_story_it_is_said_to_raise_as_well() -> None:
    known = set(get_args(get_type_hints(Observation)["seen"])) - MOVES_NO_ODDS
    assert {case.seen for case in CASES} == known
    for seen, kinds in SEEN_WITH.items():
        tried = {case.kind for case in CASES if case.seen == seen and case.up}
        assert tried <= {*kinds, "elsewhere"}, seen
        assert tried & set(kinds), seen


@pytest.mark.parametrize("seen", ["bent", "wet", "missing", "hot", "burnt"])
def test_a_thing_seen_at_a_place_that_has_nothing_to_do_with_it_does_not_raise_the_story(seen: Any) -> None:
    elsewhere = Case(seen, {"contacts": ("3",)}, OPEN_24, "contact_torn", "24")
    assert odds(looked(elsewhere), "contact_torn", "24") <= odds(OPEN_24, "contact_torn", "24") * (1 + 1e-9)


def test_cleaning_says_nothing_before_the_contact_was_read_again() -> None:
    case = Case("clean", {"contacts": ("23",)}, LOW_23, "leak", "23")
    late = replace(looked(case).observations[0], seen_at_ms=LOW_23.asked_at_ms + 1)
    assert odds(replace(LOW_23, observations=(late,)), "leak", "23") == odds(LOW_23, "leak", "23")


def test_what_was_taken_back_moves_nothing() -> None:
    case = Case("missing", {"contacts": ("24",)}, OPEN_24, "part_knocked_off", "24")
    taken_back = replace(looked(case), removed_ids=("o",))
    assert odds(taken_back, "part_knocked_off", "24") == odds(OPEN_24, "part_knocked_off", "24")
