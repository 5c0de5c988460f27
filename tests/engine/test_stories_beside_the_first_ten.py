"""Stories of a hand, of water and of one's own mistakes: each typed as the trade knows it, on one socket.

Readings are the Quillon T10's table of healthy boards with a few contacts changed by hand to what a
technician would read in each case (common practice, no source); nothing here comes from an opinion.
"""

import csv
from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from server.engine.door import form_opinion
from shared_models.job import Intake, Observation, WhatHappened
from shared_models.opinion import Opinion
from shared_models.reading import AtContact, Meter, OfJob, Reading
from shared_models.sheet import BenchSheet

DEMO = Path(__file__).parents[2] / "demo"
TABLE_TEXT = (DEMO / "shop" / "boards" / "t10_j7.csv").read_text()
TABLE = {row["contact"]: row for row in csv.DictReader(TABLE_TEXT.splitlines())}
READ_MS = 1_742_000_000_000  # after the rails of the base sheet were proved
METER = Meter(id="bench", name="bench", test_current_ma=1.0, test_current_sd_pct=2.0, open_circuit_mv=2000)


@pytest.fixture(scope="module")
def base() -> BenchSheet:
    """A sheet of the T10 with its nine healthy boards."""
    return msgspec.json.decode((DEMO / "sheets" / "t10_new_socket_stripes.json").read_bytes(), type=BenchSheet)


def opinion_on(
    base: BenchSheet,
    changed: dict[str, str],
    said: tuple[WhatHappened, ...] = (),
    seen: tuple[Observation, ...] = (),
    twice: tuple[str, ...] = (),
) -> Opinion:
    """The opinion on a board that reads as healthy boards do but for what is `changed`."""
    readings = []
    for place, (contact, row) in enumerate(TABLE.items()):
        typed = changed.get(contact, row["ref_mean"])
        noted: Any = "steady" if contact in changed else "climbs" if row["role"] in ("rail", "backlight") else None
        for touch in range(2 if contact in twice else 1):
            readings.append(
                Reading(
                    id=f"r-{contact}-{touch}",
                    of=OfJob(job_id="j"),
                    socket="J7",
                    kind="drop",
                    touch=AtContact(contact=contact),
                    as_typed=typed,
                    display_unit="mV",
                    steadiness=noted,
                    meter_id="bench",
                    air_c=23.0,
                    taken_at_ms=READ_MS + 1000 * place + touch,
                )
            )
    return form_opinion(
        replace(
            base,
            readings=tuple(readings),
            meters=(*base.meters, METER),
            meter_id="bench",
            intake=Intake(what_happened=said),
            observations=seen,
        )
    )


def looked(seen: Any, *contacts: str, part: str | None = None) -> Observation:
    """Something seen on the board's socket or at a part."""
    return Observation(id=f"o-{seen}", of=OfJob(job_id="j"), seen=seen, contacts=contacts, part=part, seen_at_ms=1)


def leading(opinion: Opinion) -> tuple[str, str]:
    """Kind and subject of the story that leads."""
    return opinion.stories[0].kind, opinion.stories[0].subject


def test_a_run_hurt_from_one_end_is_a_plug_that_went_in_tilted(base: BenchSheet) -> None:
    changed = {"34": "40", "33": "160", "32": "3", "30": "4", "28": "90", "29": "210", "27": "300"}
    opinion = opinion_on(base, changed, ("battery_in_during_change", "plug_went_in_crooked", "spark_seen"))
    assert leading(opinion) == ("plug_tilted", "27-34")
    assert {"28", "29", "30", "32", "33", "34"} <= set(opinion.stories[0].explains)


def test_one_contact_beside_led_plus_hurt_with_an_arc_mark_on_both_is_a_tool_across_them(base: BenchSheet) -> None:
    opinion = opinion_on(
        base, {"28": "12"}, ("battery_in_during_change", "spark_seen"), (looked("burnt", "28", "30"),), twice=("28",)
    )
    assert leading(opinion) == ("tool_slip", "30-28")
    assert not any(story.second and "tool_slip" in story.second for story in opinion.stories[:1]), "one mark, one story"


def test_neighbours_of_different_chips_leaky_and_unequal_are_a_wet_corner(base: BenchSheet) -> None:
    opinion = opinion_on(base, {"11": "290", "12": "380", "14": "430", "15": "300", "16": "900"}, ("liquid",))
    assert leading(opinion) == ("wet", "11-16")
    by_number = {one.contact: one.verdict for one in opinion.contacts}
    assert by_number["16"] == "low", "what shows OL when healthy is the first to show water"


def test_an_open_line_with_an_empty_pad_seen_is_a_part_knocked_off(base: BenchSheet) -> None:
    opinion = opinion_on(base, {"24": "OL"}, ("pried_with_metal",), (looked("missing", "24"),), twice=("24",))
    assert leading(opinion)[0] == "part_knocked_off"
    without = opinion_on(base, {"24": "OL"}, ("pried_with_metal",), twice=("24",))
    assert without.stories[0].odds < opinion.stories[0].odds


def test_a_bent_contact_seen_moves_the_odds_to_the_contact(base: BenchSheet) -> None:
    blind = opinion_on(base, {"9": "OL"}, twice=("9",))
    seen = opinion_on(base, {"9": "OL"}, seen=(looked("bent", "9"),), twice=("9",))

    def torn(opinion: Opinion) -> float:
        return sum(story.odds for story in opinion.stories if story.kind == "contact_torn" and story.subject == "9")

    assert torn(seen) > torn(blind)
    assert leading(seen) == ("contact_torn", "9")


def test_leads_the_other_way_round_are_told_and_no_contact_is_judged(base: BenchSheet) -> None:
    swapped = {}
    for contact, row in TABLE.items():
        if row["role"] == "ground" or row["ref_mean"] == "OL":
            continue
        swapped[contact] = {"backlight": "OL", "sink": "OL", "rail": "900", "pair": "640"}.get(row["role"], "720")
    opinion = opinion_on(base, swapped)
    assert leading(opinion)[0] == "leads_swapped"
    assert opinion.stop is not None
    assert opinion.stop.code == "redo_reading"
    called = [one.contact for one in opinion.contacts if one.verdict in ("short", "low", "high", "open")]
    assert called == []


def test_a_bridge_across_the_rows_is_proved_contact_to_contact(base: BenchSheet) -> None:
    opinion = opinion_on(base, {"11": "316", "12": "316"}, ("soldered_at_socket",), twice=("11", "12"))
    assert ("bridge", "11-12") in [(story.kind, story.subject) for story in opinion.stories[:3]]


def test_a_cable_the_wrong_way_round_is_told_of_a_zif_only(base: BenchSheet) -> None:
    assert "cable_flipped" not in [story.kind for story in opinion_on(base, {}).stories]
    socket = replace(base.board.sockets[0], kind="zif")
    zif = replace(base, board=replace(base.board, sockets=(socket,)))
    assert "cable_flipped" in [story.kind for story in opinion_on(zif, {}).stories]


def test_a_torch_that_shows_the_picture_speaks_for_the_light(base: BenchSheet) -> None:
    lit = opinion_on(base, {"30": "535", "32": "534"}, seen=(looked("torch_shows_picture"),))
    dark = opinion_on(base, {"30": "535", "32": "534"})

    def light(opinion: Opinion) -> float:
        return sum(story.odds for story in opinion.stories if story.subject == "F3")

    assert light(lit) > light(dark) > 0.5


def test_a_session_far_from_what_was_told_is_said(base: BenchSheet) -> None:
    warm = {
        contact: str(round(float(row["ref_mean"]) - 75))
        for contact, row in TABLE.items()
        if row["ref_mean"] not in ("OL", "0", "1")
    }
    opinion = opinion_on(base, warm)
    assert "session_differs" in [reason.code for reason in opinion.session.reasons]
    assert [one.contact for one in opinion.contacts if one.verdict in ("short", "low", "high", "open")] == []


def test_a_drop_below_zero_stops_the_readings_until_the_rails_are_proved_again(base: BenchSheet) -> None:
    opinion = opinion_on(base, {"20": "-35"})
    told = [reminder for reminder in opinion.reminders if reminder.code == "still_powered"]
    assert [reminder.blocks for reminder in told] == [True]
    assert "20" in told[0].sentence
    assert "still_powered" not in [reminder.code for reminder in opinion_on(base, {}).reminders]
