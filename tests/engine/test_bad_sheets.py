"""Bad input at the engine's door: a clear error, a question, or a stated set-aside; never a crash, nothing lost.

A record that is not used is named with the reason. What is no sheet: `test_no_sheets_at_all`.
"""

import json
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from server.engine.door import form_opinion, opinion_json
from shared_models.board import ContactCorrection
from shared_models.opinion import Opinion
from shared_models.reading import AtContact, AtPartEnd, BetweenContacts, OfReferenceBoard
from shared_models.sheet import BenchSheet
from tests.support.bad_sheets import good
from tests.support.benches import JOB, at_place, touched


def typed(contact: str, text: str, **fields: Any) -> BenchSheet:
    """The good sheet with one contact typed differently."""
    readings = tuple(
        replace(one, as_typed=text, **fields) if one.touch == AtContact(contact=contact) else one
        for one in good().readings
    )
    return replace(good(), readings=readings)


def adding(*readings: Any) -> BenchSheet:
    return replace(good(), readings=(*good().readings, *readings))


def aside(opinion: Opinion) -> dict[str, str]:
    """Record id -> why it was not used."""
    return {one.record_id: one.code for one in opinion.set_aside}


def asked(opinion: Opinion) -> list[str]:
    return [one.code for one in opinion.questions]


def verdict(opinion: Opinion, contact: str) -> str:
    return next(one.verdict for one in opinion.contacts if one.contact == contact)


def test_the_sheet_these_tests_start_from_is_without_fault() -> None:
    opinion = form_opinion(good())
    assert opinion.questions == ()
    assert opinion.set_aside == ()
    assert {one.verdict for one in opinion.contacts} == {"expected"}


# ---- a reading that cannot be used --------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("abc", "not_a_reading"),
        ("4.7.2", "not_a_reading"),
        ("452 parsec", "not_a_reading"),
        ("452 ohm", "unit_does_not_fit"),
        ("0.338", "fits_two_units"),
        ("-200", "negative_drop"),
        ("9999", "absurd"),
        ("99999999999999999999", "absurd"),
        ("", "not_a_reading"),
    ],
)
def test_a_text_that_says_no_value_is_asked_about_and_not_used(text: str, code: str) -> None:
    opinion = form_opinion(typed("4", text))
    question = next(one for one in opinion.questions if one.code == code)
    assert question.contact == "4"
    assert question.reading_id == "r-4"
    assert question.sentence
    assert aside(opinion) == {"r-4": code}
    assert verdict(opinion, "4") == "unread"
    assert {verdict(opinion, n) for n in ("2", "3", "5", "6", "7", "8")} == {"expected"}


def test_a_value_that_fits_two_units_is_asked_with_both() -> None:
    question = form_opinion(typed("4", "0.338")).questions[0]
    assert question.could_be == ("0.338 V", "0.338 mV")


def test_a_contact_the_socket_does_not_have_is_set_aside_with_what_it_has() -> None:
    opinion = form_opinion(adding(touched({"99": 338}, prefix="x")[0]))
    assert aside(opinion) == {"x-1": "unknown_contact"}
    assert "has no contact 99 (it has 1 to 8)" in opinion.set_aside[0].sentence
    between = at_place(BetweenContacts(contact_a="2", contact_b="77"), "0.3", id="b", kind="ohms", unit="ohm")
    assert aside(form_opinion(adding(between))) == {"b": "unknown_contact"}


def test_a_reading_of_another_socket_another_stage_or_another_owner_is_set_aside() -> None:
    one = touched({"4": 12}, prefix="x")[0]
    for changed, code in (
        (replace(one, socket="J9"), "other_socket"),
        (replace(one, stage="after_repair"), "other_stage"),
        (replace(one, of=OfReferenceBoard(reference_board_id="good-1")), "not_of_this_job"),
    ):
        opinion = form_opinion(adding(changed))
        assert aside(opinion) == {"x-1": code}
        assert verdict(opinion, "4") == "expected"


def test_a_jobs_reading_among_the_known_good_is_not_known_good() -> None:
    stray = touched({"4": 12}, prefix="x", of=JOB)[0]
    sheet = replace(good(), known_good_readings=(*good().known_good_readings, stray))
    assert aside(form_opinion(sheet)) == {"x-1": "not_known_good"}


def test_after_the_repair_only_later_readings_are_judged() -> None:
    later = tuple(replace(one, id=f"l-{one.id}", stage="after_repair") for one in touched({"4": 120}))
    opinion = form_opinion(replace(adding(*later), stage="after_repair"))
    assert verdict(opinion, "4") == "low"
    assert verdict(opinion, "5") == "unread"
    assert set(aside(opinion).values()) == {"other_stage"}


# ---- replaced, doubled, taken back ------------------------------------------------------------


def test_the_newest_of_a_chain_of_corrections_counts_and_the_others_are_named() -> None:
    chain = [
        replace(touched({"4": at}, prefix=f"c{n}")[0], supersedes=before)
        for n, (at, before) in enumerate(((120, "r-4"), (121, "c0-1"), (338, "c1-1")))
    ]
    for order in (chain, chain[::-1]):
        opinion = form_opinion(adding(*order))
        assert verdict(opinion, "4") == "expected"
        assert aside(opinion) == {"r-4": "replaced", "c0-1": "replaced", "c1-1": "replaced"}


def test_corrections_in_a_circle_leave_nothing_to_judge_and_say_so() -> None:
    a, b = (touched({"4": 120}, prefix=name)[0] for name in "ab")
    opinion = form_opinion(adding(replace(a, supersedes="b-1"), replace(b, supersedes="a-1")))
    assert {"a-1", "b-1"} <= set(aside(opinion))
    assert verdict(opinion, "4") == "expected"  # the first reading still stands


def test_a_correction_of_itself_or_of_nothing_is_a_reading_like_any_other() -> None:
    for name in ("x-1", "nobody"):
        opinion = form_opinion(adding(replace(touched({"4": 338}, prefix="x")[0], supersedes=name)))
        assert aside(opinion) == {}
        assert next(one.touches for one in opinion.contacts if one.contact == "4") == 2


def test_one_id_with_two_contents_is_used_once_and_said() -> None:
    other = replace(touched({"4": 120})[0], id="r-4", taken_at_ms=good().asked_at_ms)
    opinion = form_opinion(adding(other))
    assert aside(opinion) == {"r-4": "doubled_id"}
    assert verdict(opinion, "4") == "expected"


def test_the_same_record_twice_counts_once_and_is_nothing_to_speak_of() -> None:
    opinion = form_opinion(adding(*good().readings))
    assert opinion.set_aside == ()
    assert {one.touches for one in opinion.contacts} == {1}


def test_what_was_taken_back_is_not_used_and_frees_what_it_replaced() -> None:
    sheet = adding(replace(touched({"4": 120}, prefix="x")[0], supersedes="r-4"))
    opinion = form_opinion(replace(sheet, removed_ids=("x-1", "never-was")))
    assert aside(opinion) == {"x-1": "taken_back"}
    assert verdict(opinion, "4") == "expected"
    gone = form_opinion(replace(good(), removed_ids=("r-4",)))
    assert verdict(gone, "4") == "unread"


# ---- what surrounds the readings ---------------------------------------------------------------


def test_a_meter_without_a_sheet_is_asked_about_once_and_its_readings_are_used() -> None:
    readings = tuple(replace(one, meter_id="borrowed") for one in good().readings)
    opinion = form_opinion(replace(good(), readings=readings))
    assert asked(opinion) == ["unknown_meter"]
    assert "borrowed" in opinion.questions[0].sentence
    assert {one.verdict for one in opinion.contacts} == {"expected"}


def test_air_no_bench_has_is_asked_about_and_not_used() -> None:
    opinion = form_opinion(replace(good(), air_c=80.0))
    assert asked(opinion) == ["absurd_air"]
    assert "80 °C" in opinion.questions[0].sentence
    assert {one.verdict for one in opinion.contacts} == {"expected"}


def test_air_no_thermometer_shows_is_refused_by_its_path() -> None:
    raw = msgspec.to_builtins(good())
    raw["air_c"] = 300
    with pytest.raises(msgspec.ValidationError, match=r"\$\.air_c"):
        opinion_json(json.dumps(raw).encode())


def test_references_that_disagree_are_set_aside_by_name_or_make_the_band_wide() -> None:
    sheet = good()
    odd = tuple(replace(one, as_typed="120") if one.id == "good-3-4" else one for one in sheet.known_good_readings)
    band = next(
        one.band for one in form_opinion(replace(sheet, known_good_readings=odd)).contacts if one.contact == "4"
    )
    assert band.set_aside_boards == ("good-3",)


def test_a_correction_for_a_contact_or_socket_that_is_not_there_changes_nothing() -> None:
    fixes = [
        ContactCorrection(
            id=f"f{n}", board_version_id=board, socket=socket, contact=contact, role="strap", made_at_ms=1
        )
        for n, (board, socket, contact) in enumerate(
            (("board", "J1", "99"), ("board", "J9", "4"), ("other", "J1", "4"))
        )
    ]
    assert form_opinion(replace(good(), corrections=tuple(fixes))).contacts == form_opinion(good()).contacts


def test_a_part_nobody_knows_is_no_reason_to_fail() -> None:
    stray = at_place(AtPartEnd(part="R999", end="far"), "28", id="p")
    assert form_opinion(adding(stray)).contacts
