"""The kept bench sheets are what the shop's script writes, decode strictly, and say what their tables say."""

import json
import statistics
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import msgspec
import pytest

from demo.shop.boards import T10
from demo.shop.make_sheets import SHEETS_DIR, sheet_json, sheets
from demo.shop.references import P1_GOOD, S4_GOOD, T10_GOOD, T10_ON_THE_SCALE, V2_GOOD, KnownGood
from demo.shop.table import OL, P1_J1, S4_J3, T10_J7, V2_J2, Table
from server.engine.meters import carry
from server.engine.roles import path_of
from shared_models.job import MakeSafeProof
from shared_models.opinion import StoryKind, Verdict
from shared_models.reading import (
    AcrossPart,
    AtContact,
    AtPartEnd,
    AtRail,
    AtTestPoint,
    BetweenContacts,
    OfJob,
    OfReferenceBoard,
    Reading,
)
from shared_models.sheet import BenchSheet
from shared_models.tables import MAKE_SAFE_STEPS

FILES = sorted(path for path in SHEETS_DIR.glob("*.json") if path.name != "expected.json")
EACH_FILE = pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])
EXPECTED: dict[str, dict[str, Any]] = {
    name: entry
    for name, entry in json.loads((SHEETS_DIR / "expected.json").read_text(encoding="utf-8")).items()
    if not name.startswith("_")
}


def decoded(path: Path) -> BenchSheet:
    return msgspec.json.decode(path.read_bytes(), type=BenchSheet, strict=True)


def records_with_ids(sheet: BenchSheet) -> Iterator[str]:
    for group in (sheet.meters, sheet.reference_boards, sheet.known_good_readings, sheet.readings,
                  sheet.observations, sheet.make_safe):
        for record in group:
            yield record.id


def test_the_files_are_exactly_what_the_script_writes() -> None:
    made = {name: sheet_json(sheet) for name, sheet in sheets().items()}
    assert {path.stem: path.read_text(encoding="utf-8") for path in FILES} == made


def test_every_sheet_says_what_is_expected_of_an_opinion_on_it() -> None:
    assert set(EXPECTED) == {path.stem for path in FILES}


@EACH_FILE
def test_a_sheet_decodes_strictly_and_no_id_is_used_twice(path: Path) -> None:
    sheet = decoded(path)
    ids = list(records_with_ids(sheet))
    assert len(ids) == len(set(ids))
    assert sheet.meter_id in {meter.id for meter in sheet.meters}


@EACH_FILE
def test_a_sheet_speaks_only_of_contacts_parts_nets_and_meters_that_are_in_it(path: Path) -> None:
    sheet = decoded(path)
    socket = next(socket for socket in sheet.board.sockets if socket.ref == sheet.socket)
    contacts = {contact.number for contact in socket.contacts}
    parts = {part.ref for part in sheet.board.parts}
    nets = {net.name for net in sheet.board.nets}
    meters = {meter.id for meter in sheet.meters}
    for reading in (*sheet.readings, *sheet.known_good_readings):
        match reading.touch:
            case AtContact(contact=number):
                assert number in contacts
            case BetweenContacts(contact_a=first, contact_b=second):
                assert {first, second} <= contacts and first != second
            case AcrossPart(part=part) | AtPartEnd(part=part):
                assert part in parts
            case AtRail(net=net):
                assert net in nets
            case AtTestPoint(name=name):
                assert name in {net.proof_at for net in sheet.board.nets} or name.startswith("known resistor")
            case other:
                raise AssertionError(f"{reading.id} touches {other}, which no sheet here does")
        assert reading.meter_id in meters and reading.socket == sheet.socket
        assert reading.value is None, "the typed text is what is kept; the engine reads it"
    assert all(set(seen.contacts) <= contacts for seen in sheet.observations)


@EACH_FILE
def test_records_belong_to_the_sheet_and_none_is_from_after_it_was_asked(path: Path) -> None:
    sheet = decoded(path)
    references = {board.id for board in sheet.reference_boards}
    assert {board.board_version_id for board in sheet.reference_boards} <= {sheet.board.id}
    for reading in sheet.known_good_readings:
        assert isinstance(reading.of, OfReferenceBoard) and reading.of.reference_board_id in references
        assert reading.stage == "on_healthy_board"
    jobs = {reading.of.job_id for reading in sheet.readings if isinstance(reading.of, OfJob)}
    jobs |= {proof.job_id for proof in sheet.make_safe}
    assert len(jobs) == 1
    times = [r.taken_at_ms for r in sheet.readings] + [p.proved_at_ms for p in sheet.make_safe]
    assert max(times) <= sheet.asked_at_ms


@EACH_FILE
def test_no_contact_is_read_twice_alike_but_for_a_touch_again(path: Path) -> None:
    sheet = decoded(path)
    touched = [key(reading) for reading in sheet.readings]
    doubles = {one for one in touched if touched.count(one) > 1}
    allowed = {"v2_zif_one_torn_then_again": "9", "v2_zif_one_torn_then_tail": "9",
               "l14_no_references_no_light_then_again_and_far_end": "6", "t10_tool_across_two": "28",
               "t10_part_knocked_off": "20", "t10_bridge_across_rows": "11 12",
               "t10_bridge_across_rows_then_11_to_12": "11 12", "t10_cracked_joint": "12 24",
               "t10_other_revision": "12 14 20 22 24 28", "t10_separate_faults": "9 20 24 33",
               "t10_charged_while_wet_then_ohms": "4 24 28", "t10_screen_pulled_the_fuse_then_f3": "30",
               "t10_screen_pulled_the_fuse_then_plug_ohms": "30"}
    again = "15" if path.stem.startswith("t10_turned") and "then" in path.stem else allowed.get(path.stem, "")
    assert {one[0] for one in doubles} == set(again.split())


def key(reading: Reading) -> tuple[str, ...]:
    touch = reading.touch
    place = touch.contact if isinstance(touch, AtContact) else repr(touch)
    return place, reading.place, reading.subject, reading.kind, str(reading.lead_on_ground)


@pytest.mark.parametrize(("good", "table", "boards"), [
    (T10_ON_THE_SCALE, T10_J7, 9), (V2_GOOD, V2_J2, 4), (S4_GOOD, S4_J3, 5), (P1_GOOD, P1_J1, 1),
], ids=["t10", "v2", "s4", "p1"])
def test_healthy_boards_have_the_tables_mean_and_deviation(good: KnownGood, table: Table, boards: int) -> None:
    assert len(good.boards) == boards
    typed = healthy_typed(good)
    for row in table.rows:
        texts = typed[row["contact"]]
        assert len(texts) == boards, row
        if row["ref_mean"] == OL:
            assert set(texts) == {OL}
            continue
        drops = [int(text) for text in texts]
        assert round(statistics.mean(drops)) == int(row["ref_mean"]), row
        if row["ref_sd"]:
            assert statistics.mean(drops) == int(row["ref_mean"]), row
            assert statistics.stdev(drops) == pytest.approx(float(row["ref_sd"]), abs=0.25), row


def test_the_nine_t10_boards_were_read_with_three_meters_and_carry_back_to_the_table() -> None:
    """Carried back by the engine's own law, which knows nothing of how the shop's numbers were made."""
    meters = {meter.id: meter for meter in T10_GOOD.meters}
    contacts = {contact.number: contact for contact in T10.sockets[0].contacts}
    air = {board.id: board.air_c for board in T10_GOOD.boards}
    boards_of: dict[str, set[str]] = {}
    misses: list[float] = []
    for shown, at_scale in zip(red_drops(T10_GOOD), red_drops(T10_ON_THE_SCALE), strict=True):
        assert isinstance(shown.of, OfReferenceBoard) and isinstance(shown.touch, AtContact)
        assert shown.touch == at_scale.touch and shown.air_c == air[shown.of.reference_board_id] is not None
        boards_of.setdefault(shown.meter_id, set()).add(shown.of.reference_board_id)
        if at_scale.as_typed == OL:
            assert shown.as_typed == OL
            continue
        current = meters[shown.meter_id].test_current_ma
        assert current is not None and shown.air_c is not None
        path = path_of(contacts[shown.touch.contact])
        misses.append(carry(float(shown.as_typed), path, current, shown.air_c, 1.0, 23.0) - float(at_scale.as_typed))
    assert sorted(len(boards) for boards in boards_of.values()) == [3, 3, 3]
    assert [meter.test_current_ma for meter in T10_GOOD.meters] == [0.3, 1.0, 1.9]
    assert max(map(abs, misses)) < 3
    assert 0 < statistics.stdev(misses) < 1


def red_drops(good: KnownGood) -> list[Reading]:
    return [one for one in good.readings if isinstance(one.touch, AtContact) and one.lead_on_ground == "red"]


def healthy_typed(good: KnownGood) -> dict[str, list[str]]:
    typed: dict[str, list[str]] = {}
    for reading in good.readings:
        if isinstance(reading.touch, AtContact) and reading.lead_on_ground == "red":
            typed.setdefault(reading.touch.contact, []).append(reading.as_typed)
    return typed


@pytest.mark.parametrize(("first", "second"), [("3", "5"), ("9", "11"), ("15", "17"), ("21", "23"), ("27", "29")])
def test_the_halves_of_a_pair_differ_less_than_boards_do(first: str, second: str) -> None:
    typed = healthy_typed(T10_GOOD)
    differences = [int(a) - int(b) for a, b in zip(typed[first], typed[second], strict=True)]
    assert statistics.stdev(differences) < 3


def test_contacts_of_one_kind_do_not_share_one_row_of_numbers() -> None:
    typed = healthy_typed(T10_GOOD)
    rows = [tuple(texts) for texts in typed.values() if texts[0] != OL and int(max(texts, key=int)) > 5]
    assert len(rows) == 24
    assert len(set(rows)) == len(rows)


def job_drop(name: str, contact: str, **where: str) -> str:
    wanted = {"place": "spring", "lead_on_ground": "red", "subject": "board_socket"} | where
    found = [
        reading.as_typed for reading in sheets()[name].readings
        if isinstance(reading.touch, AtContact) and reading.touch.contact == contact
        and all(getattr(reading, field) == value for field, value in wanted.items())
    ]
    return found[-1]


def test_the_job_sheets_carry_what_was_typed_on_the_bench() -> None:
    crooked = "t10_slipped_in_crooked"
    assert [job_drop(crooked, c) for c in ("8", "20", "22", "24", "28", "30", "32")] == [
        "338", "464", "464", "434", "61", "529", "530"]
    assert [job_drop("t10_new_socket_stripes", c) for c in ("9", "11", "16")] == ["321", "321", OL]
    turned = "t10_turned_under_the_scope"
    assert [job_drop(turned, c) for c in ("4", "15", "16", "19", "31")] == ["0", OL, "0", OL, "377"]
    assert job_drop(f"{turned}_then_tail", "15", place="tail") == "474"
    assert [job_drop("t10_everything_reads_high", c) for c in ("3", "14", "16", "33")] == ["421", "597", OL, "597"]
    assert job_drop(f"{crooked}_then_all_answers", "24", lead_on_ground="black") == "615"


def test_a_rail_that_lost_its_climb_is_written_steady() -> None:
    noted = {
        reading.touch.contact: reading.steadiness
        for reading in sheets()["t10_slipped_in_crooked"].readings if isinstance(reading.touch, AtContact)
    }
    assert {number for number, how in noted.items() if how == "climbs"} == {"4", "6", "8"}
    assert {number for number, how in noted.items() if how == "steady"} == {"30", "32"}


def newest(proofs: tuple[MakeSafeProof, ...], step: str) -> MakeSafeProof:
    return max((proof for proof in proofs if proof.step == step), key=lambda proof: proof.proved_at_ms)


def test_the_led_capacitor_is_proved_before_anything_is_read_in_job_2() -> None:
    made = sheets()
    charged, proved = made["t10_new_socket_stripes_led_still_charged"], made["t10_new_socket_stripes"]
    assert newest(charged.make_safe, "led_capacitor_proved").measured_mv == 21_800
    assert charged.readings == ()
    last = newest(proved.make_safe, "led_capacitor_proved")
    assert (last.measured_mv, last.at_place) == (8, "C88")
    assert last.proved_at_ms < min(reading.taken_at_ms for reading in proved.readings)


@EACH_FILE
def test_every_proof_is_a_known_step(path: Path) -> None:
    assert {proof.step for proof in decoded(path).make_safe} <= {step.id for step in MAKE_SAFE_STEPS}


ENTRY_FIELDS = {
    "truth", "top_group_has", "top_group_has_any", "second_has", "top_group_lacks", "verdicts", "not_called", "no_odd",
    "gate_open", "gate_waits_for", "numbering_turned", "numbering_probability_at_least", "next_among", "reminders",
    "must_say", "must_not_say", "offset_at_most_mv", "touch_again", "chances",
}
ALWAYS = {"truth", "top_group_has", "top_group_lacks", "verdicts", "not_called", "no_odd", "gate_open", "next_among"}


@EACH_FILE
def test_what_is_expected_is_written_in_words_that_an_opinion_has(path: Path) -> None:
    sheet, entry = decoded(path), EXPECTED[path.stem]
    assert ALWAYS <= set(entry) <= ENTRY_FIELDS
    socket = next(socket for socket in sheet.board.sockets if socket.ref == sheet.socket)
    contacts = {contact.number for contact in socket.contacts}
    stories = [story for field in ("top_group_has", "top_group_has_any", "second_has", "top_group_lacks")
               for story in entry.get(field, [])]
    assert {story["kind"] for story in stories} <= set(get_args(StoryKind))
    assert set(entry["verdicts"]) | set(entry["not_called"]) | set(entry.get("touch_again", [])) <= contacts
    assert {verdict for verdicts in entry["verdicts"].values() for verdict in verdicts} <= set(get_args(Verdict))
    assert set(entry["reminders"]) <= {"led_proof", "plug_ohms", "do_not_plug_in", "data_first", "volts_first"}
    for touch in entry["next_among"]:
        check_touch(touch, sheet, contacts)


def check_touch(touch: str, sheet: BenchSheet, contacts: set[str]) -> None:
    what, name, *more = touch.split(":")
    known = {
        "contact": contacts,
        "between": {f"{a}-{b}" for a in contacts for b in contacts if a != b},
        "across_part": {part.ref for part in sheet.board.parts},
        "test_point": {"known resistor 470 ohm", *(net.proof_at for net in sheet.board.nets)},
        "part_end": {part.ref for part in sheet.board.parts},
        "rail": {net.name for net in sheet.board.nets},
    }
    assert name in known[what]
    assert more in ([], ["tail"], ["far"], ["module_plug"])


def test_no_story_is_both_asked_for_and_refused() -> None:
    for name, entry in EXPECTED.items():
        asked = [*entry["top_group_has"], *entry.get("top_group_has_any", []), *entry.get("second_has", [])]
        assert not [story for story in asked if story in entry["top_group_lacks"]], name
        quiet = {"expected", "unseen", "unread"}
        called = {contact for contact, verdicts in entry["verdicts"].items() if not quiet & set(verdicts)}
        assert not called & set(entry["not_called"]), name
        assert not (entry["no_odd"] and called), name
