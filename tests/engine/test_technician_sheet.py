"""The technician's sheet: every reading, verdict, decision, proof and consent of the job, and no pass code."""

import msgspec
from msgspec.structs import replace

from server.engine.door import form_opinion
from server.engine.pass_codes import WITHHELD
from server.engine.proof import repair_proof
from server.engine.technician_sheet import technician_sheet
from shared_models.closing import SaidBefore, WasWrong
from shared_models.custody import Consent
from shared_models.job import Job, MakeSafeProof
from shared_models.power import PowerCheck, RailPoint
from shared_models.technician_sheet import SheetPart, TechnicianSheet
from tests.support.papers import MADE_AT_MS, demo_sheet, question_of, whole_visit


def part_of(sheet: TechnicianSheet, part_id: str) -> SheetPart:
    return next(one for one in sheet.parts if one.id == part_id)


def rows_of(sheet: TechnicianSheet, part_id: str) -> tuple[tuple[str, ...], ...]:
    table = part_of(sheet, part_id).table
    assert table is not None
    assert all(len(row) == len(table.columns) for row in table.rows)
    return table.rows


def test_every_reading_stands_there_with_its_unit_and_whether_it_stands() -> None:
    question = whole_visit()
    assert question.sheet is not None
    first = question.sheet.readings[0]
    corrected = replace(first, id="corrected", as_typed="0.455", display_unit="V", supersedes=first.id)
    sheet = replace(question.sheet, readings=(*question.sheet.readings, corrected),
                    removed_ids=(question.sheet.readings[1].id,))
    told = rows_of(technician_sheet(replace(question, sheet=sheet)), "readings")
    assert len(told) == len(sheet.readings)
    stands = [row[13] for row in told]
    assert (stands.count("replaced"), stands.count("taken back")) == (1, 1)
    assert [row for row in told if row[4] == "0.455 [V]" and row[5] == "455 mV"]


def test_every_contact_story_decision_and_what_was_set_aside_stands_there() -> None:
    question = whole_visit()
    assert question.sheet is not None
    opinion = form_opinion(replace(question.sheet, stage="before_repair"))
    told = technician_sheet(question)
    assert [(row[0], row[1]) for row in rows_of(told, "contacts")] == [
        (one.contact, one.verdict + (", touch again" if one.touch_again else "")) for one in opinion.contacts]
    assert [row[0] for row in rows_of(told, "stories")] == [one.title for one in opinion.stories]
    assert [row[0] for row in rows_of(told, "decisions")] == [one.sentence for one in opinion.decisions]
    aside = rows_of(told, "set_aside")
    assert sorted(row[1] for row in aside) == sorted({
        one.sentence for one in (*opinion.set_aside, *opinion.questions)})
    # each reason once, with the places where such readings were taken: nobody knows a reading by its id
    assert "28, 30, 32" in [row[0] for row in aside]
    assert opinion.chances is not None and opinion.options is not None and opinion.before_power is not None
    assert rows_of(told, "chances")[0][1] == opinion.chances.device.in_tens
    assert [row[0] for row in rows_of(told, "options")] == [one.title for one in opinion.options.ways]
    fuse = technician_sheet(question_of(demo_sheet("t10_screen_pulled_the_fuse_then_plug_ohms")))
    beside = {row[0]: row[8] for row in rows_of(fuse, "options")}
    assert beside["Replace the part"] == "Another module or cable"
    assert [row[0] for row in rows_of(told, "stop_list")] == [one.title for one in opinion.stop_list]
    assert [row[0] for row in rows_of(told, "power_lines")] == [one.title for one in opinion.before_power.lines]
    proof = repair_proof(question.sheet)
    assert part_of(told, "proof").lines == proof.sentences
    assert [row[4] for row in rows_of(told, "proof")] == [
        one.sentence for one in proof.contacts if one.outcome != "unread"]


def test_proofs_waivers_checks_before_power_rail_points_custody_and_consents_stand_there() -> None:
    at = MADE_AT_MS
    told = technician_sheet(replace(
        whole_visit(),
        make_safe=(
            MakeSafeProof(id="p1", job_id="j", step="main_rail_proved", measured_mv=20.0, at_place="C12",
                          proved_at_ms=at, proved_by="Wren"),
            MakeSafeProof(id="p2", job_id="j", step="battery_off", waived_because="no battery fitted",
                          proved_at_ms=at),
        ),
        power_checks=(PowerCheck(id="c1", job_id="j", check="limit_set", done=True, limit_ma=300, expected_ma=120,
                                 supply_mv=4000, checked_at_ms=at, who="Wren"),
                      PowerCheck(id="c2", job_id="j", check="lows_explained", done=True, note="28 is U1 itself",
                                 checked_at_ms=at + 1, checked_by="Wren"),),
        rail_points=(RailPoint(id="r1", job_id="j", rail="3V3D", place="C12 far end", mv=-1.25, along_squares=4.0,
                               injected_ma=1000, taken_at_ms=at, return_at="screw hole", is_end=True),),
    ))
    assert [(row[2], row[3], row[4]) for row in rows_of(told, "make_safe")] == [
        ("measured", "20", "C12"), ("waived: no battery fitted", "", "")]
    assert rows_of(told, "before_power")[0][2:] == ("done", "4000", "300", "120", "Wren", "")
    assert rows_of(told, "before_power")[1][6:] == ("Wren", "28 is U1 itself")
    assert rows_of(told, "rail")[0][1:5] == ("3V3D", "C12 far end", "-1.25", "4")
    assert rows_of(told, "rail")[0][8:10] == ("the rail ends", "screw hole")
    assert [row[2] for row in rows_of(told, "custody")] == ["came in", "went back to the owner",
                                                           "went back to the owner"]
    assert [(row[0], row[1], row[3]) for row in rows_of(told, "consents")] == [
        ("Power-up", "agreed", "T. Quennell"), ("Handed back", "agreed", "T. Quennell")]


def test_how_it_ended_stands_there_in_words_with_what_had_been_said() -> None:
    question = whole_visit()
    closing = replace(
        question.closings[0], did=("replace_part",), device_chance_before=0.62, data_chance_before=0.9,
        said_before=(SaidBefore(story="plug_off_by", subject="-1", odds=0.97),
                     SaidBefore(story="series_open", subject="F3", odds=0.9, beside=True)),
    )
    lines = part_of(technician_sheet(replace(question, closings=(closing,))), "closing").lines
    for said in (
        "Was really wrong: the plug sat some places off, live -1 (measured)", "Done: a part replaced",
        "The device: works in part", "The data: not touched",
        "Had been said: the plug sat some places off, live -1 0.970, beside it a part in series open: fuse, bead, "
        "resistor F3 0.900",
        "Chance of the device as said: 0.620", "Chance of the data as said: 0.900",
    ):
        assert said in lines, (said, lines)


def test_where_every_reading_was_used_nothing_is_said_of_unused_ones() -> None:
    told = technician_sheet(question_of(demo_sheet("t10_all_healthy_half_read")))
    assert "set_aside" not in [one.id for one in told.parts]


def test_a_consent_that_was_taken_back_is_told_with_the_older_one() -> None:
    given = Consent(id="a", job_id="j", to="power_up", given=True, words="It may start.", given_at_ms=MADE_AT_MS)
    back = replace(given, id="b", given=False, given_at_ms=MADE_AT_MS + 1)
    told = rows_of(technician_sheet(question_of(None, consents=(back, given))), "consents")
    assert [row[1] for row in told] == ["agreed, replaced by a newer one", "not agreed"]


def test_a_pass_code_that_somebody_typed_is_withheld() -> None:
    told = technician_sheet(question_of(None, job=Job(id="job-1", note="PIN 1234", title="code 99887")))
    assert told.title == WITHHELD and f"Note: {WITHHELD}" in part_of(told, "job").lines
    visit = whole_visit()
    wrong = (WasWrong(story="wet", subject="PIN 1234", how_known="seen"),)
    told = technician_sheet(replace(
        visit,
        closings=(replace(visit.closings[0], was_wrong=wrong, parts_replaced=("F3", "PIN 1234"), note="PIN 1234"),),
        make_safe=(MakeSafeProof(id="p", job_id="j", step="main_rail_proved", measured_mv=2.0, at_place="PIN 1234",
                                 proved_at_ms=MADE_AT_MS),),
        rail_points=(RailPoint(id="r", job_id="j", rail="3V3D", place="PIN 1234", mv=1.0, taken_at_ms=MADE_AT_MS,
                               return_at="PIN 1234"),),
        power_checks=(PowerCheck(id="c", job_id="j", check="lows_explained", done=True, note="PIN 1234",
                                 checked_at_ms=MADE_AT_MS),),
    ))
    assert "1234" not in msgspec.json.encode(told).decode()


def test_a_job_of_which_nothing_is_known_yet_has_a_sheet_without_empty_parts() -> None:
    told = technician_sheet(question_of(None, job=Job(id="job-1")))
    assert [one.id for one in told.parts] == ["job", "intake"] and told.title == "job-1"
