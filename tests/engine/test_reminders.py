"""Reminders: what is proved and what is not, in the words of the moment; what was taken back says nothing."""

from typing import Any

from msgspec.structs import replace

from demo.shop.boards import T10
from server.engine.door import form_opinion
from shared_models.job import MakeSafeProof
from shared_models.opinion import Opinion
from shared_models.sheet import BenchSheet
from shared_models.tables import CAUTION
from tests.support.benches import sheet_of


def proof(step: str, name: str, at_ms: int, **fields: Any) -> MakeSafeProof:
    return MakeSafeProof(id=name, job_id="job", step=step, proved_at_ms=at_ms, **fields)


BY_HAND = (proof("cables_out", "cables", 1, done=True), proof("battery_off", "battery", 2, done=True))
MAIN = proof("main_rail_proved", "main", 3, measured_mv=4, at_place="C12")
CHARGED = proof("led_capacitor_proved", "charged", 4, measured_mv=21_800, at_place="C88")
EMPTY = proof("led_capacitor_proved", "empty", 5, measured_mv=8, at_place="C88")
RESIDUE = proof("led_capacitor_proved", "residue", 6, measured_mv=340, at_place="C88")


def sheet(*proofs: MakeSafeProof, **fields: Any) -> BenchSheet:
    return replace(sheet_of(T10), socket="J7", make_safe=(*BY_HAND, *proofs), **fields)


def sentence(opinion: Opinion, code: str) -> str:
    """The sentence of a reminder; empty when it is not given."""
    return next((one.sentence for one in opinion.reminders if one.code == code), "")


def test_nothing_proved_keeps_the_gate_shut_and_names_what_is_missing_first() -> None:
    opinion = form_opinion(replace(sheet(), make_safe=()))
    assert not opinion.gate_open
    assert opinion.gate_waits_for == ("cables_out", "battery_off", "main_rail_proved", "led_capacitor_proved")
    assert opinion.reminders[0].code == "make_safe_first"
    assert opinion.reminders[0].blocks
    for title in ("charger and cables out", "battery disconnected", "main rail", "led capacitor"):
        assert title in opinion.reminders[0].sentence


def test_a_charged_led_capacitor_is_named_with_its_place_and_its_voltage() -> None:
    opinion = form_opinion(sheet(MAIN, CHARGED))
    assert opinion.gate_waits_for == ("led_capacitor_proved",)
    assert "C88" in sentence(opinion, "led_capacitor")
    assert "21.8 V" in sentence(opinion, "led_capacitor")


def test_under_a_volt_opens_the_gate_but_over_ten_millivolts_still_adds_to_readings() -> None:
    opinion = form_opinion(sheet(MAIN, CHARGED, RESIDUE))
    assert opinion.gate_open
    assert "340 mV" in sentence(opinion, "residual")
    quiet = form_opinion(sheet(MAIN, CHARGED, EMPTY))
    assert quiet.gate_open
    assert sentence(quiet, "residual") == ""


def test_a_proof_that_was_taken_back_neither_opens_the_gate_nor_is_quoted() -> None:
    opinion = form_opinion(sheet(MAIN, CHARGED, EMPTY, removed_ids=("empty",)))
    assert opinion.gate_waits_for == ("led_capacitor_proved",)
    assert "21.8 V" in sentence(opinion, "led_capacitor")
    opposite = form_opinion(sheet(MAIN, EMPTY, RESIDUE, removed_ids=("residue",)))
    assert opposite.gate_open
    assert sentence(opposite, "residual") == ""
    assert "340" not in sentence(opposite, "led_capacitor")


def test_the_caution_is_the_last_word_of_every_opinion() -> None:
    for one in (sheet(), sheet(MAIN, EMPTY)):
        assert form_opinion(one).reminders[-1].sentence == CAUTION


def test_two_steps_proved_at_one_place_say_the_same_of_it_once() -> None:
    """The rail and the capacitor may be measured at one place: a caution that stands twice is read by nobody."""
    both = (proof("main_rail_proved", "main", 3, measured_mv=20, at_place="C12"),
            proof("led_capacitor_proved", "led", 4, measured_mv=20, at_place="C12"))
    told = [one.sentence for one in form_opinion(sheet(*both)).reminders]
    assert len([one for one in told if one.startswith("C12 still held 20 mV")]) == 1
    assert len(told) == len(set(told))
