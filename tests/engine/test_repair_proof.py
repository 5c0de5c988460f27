"""The repair proved: what changed comes first, what nobody read again is never taken for mended."""

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from server.engine.proof import repair_proof, repair_proof_json
from shared_models.proof import ProofContact, RepairProof
from shared_models.reading import AcrossPart
from shared_models.sheet import BenchSheet

SHEET = Path("demo/sheets/t10_slipped_in_crooked_then_all_answers.json")
ODD = ("24", "28", "30", "32")
"""What the opinion before the repair holds for odd on this sheet."""


def job(after: dict[str, dict[str, Any]], **fields: Any) -> BenchSheet:
    """The job with the plug that slipped, and readings after its repair: contact -> what differs in the record."""
    raw = json.loads(SHEET.read_text())
    last = max(one["taken_at_ms"] for one in raw["readings"])
    swept = {
        one["touch"]["contact"]: one
        for one in raw["readings"]
        if one["touch"]["what"] == "contact" and one["kind"] == "drop" and one.get("lead_on_ground", "red") == "red"
    }
    for at, (contact, told) in enumerate(after.items()):
        raw["readings"].append({
            **{name: value for name, value in swept[contact.partition(" ")[0]].items() if name != "supersedes"},
            "id": f"after-{at}", "stage": "after_repair", "taken_at_ms": last + 1000 * (at + 1), **told,
        })
    return msgspec.convert({**raw, **fields}, BenchSheet)


def by_contact(proof: RepairProof) -> dict[str, ProofContact]:
    return {one.contact: one for one in proof.contacts}


MENDED = {
    "24": {"as_typed": "455"}, "28": {"as_typed": "487"},
    "30": {"as_typed": "488", "steadiness": "climbs"}, "32": {"as_typed": "488", "steadiness": "climbs"},
}


def test_before_the_first_reading_it_says_what_to_read_anchors_then_odd_then_beside() -> None:
    proof = repair_proof(job({}))
    assert (proof.started, proof.proven) == (False, False)
    assert proof.not_read_again == ODD
    odd = proof.read_again_first.index("24")
    assert proof.read_again_first[odd : odd + 4] == ODD
    assert set(proof.read_again_first[odd + 4 :]) == {"22", "26", "23", "27", "29", "31", "34"} - set(
        proof.read_again_first[:odd]
    )
    assert "was not read again" in by_contact(proof)["28"].sentence


def test_all_that_was_odd_read_again_and_healthy_is_proven() -> None:
    proof = repair_proof(job(MENDED))
    assert (proof.proven, proof.mended, proof.not_read_again, proof.still_odd) == (True, ODD, (), ())
    assert [one.contact for one in proof.contacts[:4]] == list(ODD)
    assert by_contact(proof)["30"].sentence.startswith("30 is back: 529 mV before, 488 mV and climbs now.")
    assert proof.sentences == ("Proven on what was read: 24, 28, 30 and 32 read as healthy boards do.",)
    assert not set(ODD) & set(proof.read_again_first)


def test_one_left_out_is_named_and_proves_nothing() -> None:
    proof = repair_proof(job({contact: told for contact, told in MENDED.items() if contact != "28"}))
    assert not proof.proven
    assert proof.not_read_again == ("28",)
    assert proof.contacts[3].contact == "28"  # after the three that changed, before all that read as before
    assert proof.sentences[-1] == "Odd before and not read again: 28. Not measured is not mended."


def test_what_still_differs_is_named_unchanged() -> None:
    again = {"28": {"as_typed": "61"}, "28 once more": {"as_typed": "60"}}
    proof = repair_proof(job({**MENDED, **again}))
    contact = by_contact(proof)["28"]
    assert (contact.outcome, proof.still_odd, proof.proven) == ("still_odd", ("28",), False)
    assert "Unchanged: 28." in proof.sentences
    assert contact.sentence.startswith("28 is unchanged: 61 mV before, 60 mV now. A healthy one reads 474 to 497 mV.")


def test_a_single_odd_touch_is_not_settled_and_stays_to_be_read() -> None:
    proof = repair_proof(job({**MENDED, "28": {"as_typed": "61"}}))
    assert by_contact(proof)["28"].outcome == "not_settled"
    assert "28" in proof.read_again_first and not proof.proven


def test_what_was_fine_and_is_not_now_comes_before_all_that_is_as_it_was() -> None:
    proof = repair_proof(job({**MENDED, "26": {"as_typed": "20"}, "26 again": {"as_typed": "21"}}))
    assert by_contact(proof)["26"].outcome == "newly_odd"
    assert [one.contact for one in proof.contacts[:5]] == [*ODD, "26"]
    assert not proof.proven


def test_readings_of_a_warm_board_prove_nothing() -> None:
    warm = {contact: {**told, "conditions": ["warm_from_hot_air"]} for contact, told in MENDED.items()}
    proof = repair_proof(job(warm))
    assert not proof.proven
    blocks = [one for one in proof.reminders if one.blocks]
    assert blocks[0].code == "read_warm"
    assert "24, 28, 30 and 32 read while still warm" in blocks[0].sentence
    assert next(one.code for one in repair_proof(job(MENDED)).reminders) == "cool_to_the_hand"


def test_the_led_capacitor_is_proved_again_before_unplugging() -> None:
    sheet = job(MENDED)
    asked = {one.code: one for one in repair_proof(sheet).reminders}["led_capacitor_again"]
    assert asked.blocks and "C88" in asked.sentence
    last = max(one.taken_at_ms for one in sheet.readings)
    proof = next(one for one in sheet.make_safe if one.step == "led_capacitor_proved")
    for measured_mv, still_asked in ((3.0, False), (21_800.0, True)):
        later = msgspec.structs.replace(proof, id="later", measured_mv=measured_mv, proved_at_ms=last + 1)
        told = repair_proof(msgspec.structs.replace(sheet, make_safe=(*sheet.make_safe, later)))
        assert any(one.code == "led_capacitor_again" for one in told.reminders) is still_asked


def test_readings_at_other_places_stand_before_and_after_as_typed() -> None:
    sheet = job(MENDED)
    fuse = next(one for one in sheet.readings if one.touch == AcrossPart(part="F3"))
    again = msgspec.structs.replace(
        fuse, id="f3-after", stage="after_repair", as_typed="0.2", taken_at_ms=fuse.taken_at_ms + 10**6,
    )
    places = repair_proof(msgspec.structs.replace(sheet, readings=(*sheet.readings, again))).places
    told = {msgspec.json.encode(one.touch): one for one in places}[msgspec.json.encode(fuse.touch)]
    assert (told.before_typed, told.after_typed, told.after_unit) == ("OL", "0.2", fuse.display_unit)
    assert told.reading_ids == (fuse.id, "f3-after")
    gone = msgspec.structs.replace(sheet, removed_ids=(fuse.id,))
    assert all(one.touch != fuse.touch for one in repair_proof(gone).places)


def test_the_stage_of_the_sheet_and_the_order_of_its_rows_do_not_matter() -> None:
    sheet = job(MENDED)
    turned = msgspec.structs.replace(sheet, readings=tuple(reversed(sheet.readings)), stage="after_repair")
    assert repair_proof_json(msgspec.json.encode(turned)) == repair_proof_json(msgspec.json.encode(sheet))


def test_a_job_without_a_fault_has_nothing_to_prove() -> None:
    sheet = msgspec.json.decode(Path("demo/sheets/t10_all_healthy_half_read.json").read_bytes(), type=BenchSheet)
    again = tuple(
        msgspec.structs.replace(one, id=f"{one.id}-after", stage="after_repair") for one in sheet.readings[:5]
    )
    proof = repair_proof(msgspec.structs.replace(sheet, readings=(*sheet.readings, *again)))
    assert not proof.proven and proof.read_again_first == ()
    assert "nothing to prove" in proof.sentences[0]


def test_the_door_refuses_what_is_no_sheet_by_its_path() -> None:
    with pytest.raises(msgspec.ValidationError, match="sheet_id"):
        repair_proof_json(b"{}")
