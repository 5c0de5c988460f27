"""Bad input at the engine's door: a clear error, a question, or a stated set-aside; never a crash, nothing lost.

An error says what was given, where, what was expected, and shows an example. A record that is not used is
named with the reason. Nothing but SheetError and msgspec's own errors ever leaves the door.
"""

import copy
import json
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from server.engine.door import SheetError, form_opinion, opinion_json
from shared_models.board import ContactCorrection, Row
from shared_models.opinion import Opinion
from shared_models.reading import AtContact, AtPartEnd, BetweenContacts, OfReferenceBoard
from shared_models.sheet import BenchSheet
from tests.support.benches import BENCH_METER, JOB, at_place, board_of, line, nine_boards, sheet_of, touched
from tests.support.sheets import random_sheet

LANES = [str(n) for n in range(2, 8)]
BOARD = board_of([line("1", "ground"), *(line(n, "lane") for n in LANES), line("8", "control")])
MEANS = {"1": 0.5, **dict.fromkeys(LANES, 338.0), "8": 470.0}
READ: dict[str, str | float] = {n: round(at) for n, at in MEANS.items()}


def good() -> BenchSheet:
    """A sheet without fault: nine healthy boards, everything read."""
    return sheet_of(BOARD, touched(READ), known=nine_boards(MEANS))


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


# ---- nothing to judge against --------------------------------------------------------------------


def refused(sheet: BenchSheet) -> SheetError:
    with pytest.raises(SheetError) as caught:
        form_opinion(sheet)
    problem = caught.value.problem
    # one shape: what was given, where, what was expected, and an example that works
    assert problem.code
    assert problem.message
    assert problem.where.startswith("$.")
    assert problem.given
    assert problem.expected
    assert problem.example
    for part in (problem.where, problem.given, problem.expected, problem.example):
        assert part in str(caught.value)
    return caught.value


def test_no_such_socket_names_those_there_are() -> None:
    problem = refused(replace(good(), socket="J9")).problem
    assert problem.code == "no_such_socket"
    assert problem.expected == "one of J1"


def test_a_board_without_sockets_or_contacts_is_refused() -> None:
    assert refused(replace(good(), board=replace(BOARD, sockets=()))).problem.code == "no_such_socket"
    empty = replace(BOARD.sockets[0], contacts=(), rows=())
    assert refused(replace(good(), board=replace(BOARD, sockets=(empty,)))).problem.code == "no_contacts"


def test_a_contact_twice_is_refused_by_name() -> None:
    socket = BOARD.sockets[0]
    doubled = replace(socket, contacts=(*socket.contacts, socket.contacts[3]))
    error = refused(replace(good(), board=replace(BOARD, sockets=(doubled,))))
    assert error.problem.code == "doubled_contact"
    assert error.problem.given == "4"


@pytest.mark.parametrize(
    ("rows", "names"),
    [
        ([], "1, 2, 3, 4, 5, 6, 7, 8"),
        ([["1", "2", "3", "4", "5", "6", "7"]], "8"),
        ([["1", "2", "3", "4", "5", "6", "7", "8", "9"]], "9"),
        ([["1", "2", "3", "4", "5", "6", "7", "8", "8"]], "8"),
    ],
)
def test_rows_that_do_not_hold_each_contact_once_are_refused_by_name(rows: list[list[str]], names: str) -> None:
    laid = replace(BOARD.sockets[0], rows=tuple(Row(name="r", contacts=tuple(row)) for row in rows))
    error = refused(replace(good(), board=replace(BOARD, sockets=(laid,))))
    assert error.problem.code == "rows_do_not_match"
    assert set(error.problem.given.split(", ")) == set(names.split(", "))


# ---- at the JSON door -------------------------------------------------------------------------------


def broken_json(change: Callable[[dict[str, Any]], None]) -> bytes:
    raw = msgspec.to_builtins(good())
    change(raw)
    return json.dumps(raw).encode()


def put(*path: Any) -> Callable[[dict[str, Any]], None]:
    """Sets one place: the keys that lead there, then the value."""

    def change(raw: Any) -> None:
        for key in path[:-2]:
            raw = raw[key]
        raw[path[-2]] = path[-1]

    return change


CONTACT = ("board", "sockets", 0, "contacts", 1)
WRONG: list[tuple[str, Callable[[dict[str, Any]], None], str]] = [
    ("unknown field", put("readings", 0, "colour", "red"), r"unknown field `colour`.*\$\.readings\[0\]"),
    ("wrong type", put("readings", {}), r"\$\.readings"),
    ("unknown role", put(*CONTACT, "role", "king"), r"king.*contacts\[1\]\.role"),
    ("unknown unit", put("readings", 2, "display_unit", "furlong"), r"furlong.*readings\[2\]\.display_unit"),
    ("unknown touch", put("readings", 0, "touch", "what", "poke"), r"poke.*readings\[0\]\.touch\.what"),
    ("id with a space", put("sheet_id", "a b"), r"\$\.sheet_id"),
    ("time before time", put("asked_at_ms", -1), r"\$\.asked_at_ms"),
    ("no pitch", put("board", "sockets", 0, "pitch_mm", 0), r"sockets\[0\]\.pitch_mm"),
    ("a long text", put("readings", 0, "as_typed", "4" * 41), r"readings\[0\]\.as_typed"),
    ("missing field", lambda raw: raw.pop("board"), r"missing required field `board`"),
]


@pytest.mark.parametrize(("name", "change", "says"), WRONG, ids=[one[0] for one in WRONG])
def test_json_of_the_wrong_shape_is_refused_by_its_path(
    name: str, change: Callable[[dict[str, Any]], None], says: str
) -> None:
    with pytest.raises(msgspec.ValidationError, match=says):
        opinion_json(broken_json(change))


@pytest.mark.parametrize(
    "text",
    [b"", b"{", b"null", b"[]", b"\xff\xfe", b"sheet", b"[" * 100_000, b'{"a":' * 100_000, b'{"sheet_id": 1e999}'],
    ids=lambda text: repr(text[:12]),
)
def test_what_is_no_sheet_at_all_is_refused(text: bytes) -> None:
    with pytest.raises((msgspec.DecodeError, msgspec.ValidationError)):
        opinion_json(text)


# ---- anything at all ------------------------------------------------------------------------------------


ODD_VALUES: list[Any] = [
    None, True, 0, -1, 1e308, -1e308, 2**53, "", "OL", "-", "0.338", "\u0000", "ground", "99", "A5", [], {}, [None],
    {"what": "contact", "contact": "99"}, "x" * 5000,
]  # fmt: skip


def places_in(value: Any) -> list[tuple[Any, Any]]:
    """Every (container, key) inside a JSON value."""
    found: list[tuple[Any, Any]] = []
    if isinstance(value, dict):
        found += [(value, key) for key in value]
        for one in value.values():
            found += places_in(one)
    elif isinstance(value, list):
        found += [(value, place) for place in range(len(value))]
        for one in value:
            found += places_in(one)
    return found


PLAIN = [msgspec.to_builtins(good()), msgspec.to_builtins(random_sheet(3)), msgspec.to_builtins(random_sheet(10))]


def mutated(rng: random.Random) -> bytes:
    """A sheet with one to four places changed, dropped, doubled or swapped."""
    raw = copy.deepcopy(rng.choice(PLAIN))
    for _ in range(rng.randint(1, 4)):
        container, key = rng.choice(places_in(raw))
        how = rng.randrange(4)
        if how == 0:
            container[key] = copy.deepcopy(rng.choice(ODD_VALUES))
        elif how == 1:
            del container[key]
        elif how == 2 and isinstance(container, list):
            container.append(copy.deepcopy(container[key]))
        else:
            other, other_key = rng.choice(places_in(raw))
            container[key] = copy.deepcopy(other[other_key])
    return json.dumps(raw).encode()


@given(st.integers(0, 2**32))
def test_a_sheet_changed_anywhere_gets_an_opinion_or_a_clear_error(seed: int) -> None:
    text = mutated(random.Random(seed))
    try:
        answer = opinion_json(text)
    except (SheetError, msgspec.DecodeError) as refusal:  # a ValidationError is a DecodeError
        assert str(refusal)
        return
    opinion = msgspec.json.decode(answer, type=Opinion)
    assert opinion.contacts
    assert b"NaN" not in answer
    assert b"Infinity" not in answer


GOOD = good()
METERS = [
    BENCH_METER,
    replace(BENCH_METER, test_current_ma=None),
    replace(BENCH_METER, test_current_ma=100.0),
    replace(BENCH_METER, test_current_ma=1e-9),
    replace(BENCH_METER, open_circuit_mv=0.1),
]
TEXTS = st.one_of(
    st.from_regex(r"[+-]?[0-9]{0,4}[.,]?[0-9]{0,3} ?(mV|V|k|ohm)?", fullmatch=True),
    st.sampled_from(["OL", "0", "out of reach", "4000", "-20", "3999", "0.001", "1e9", "½"]),
    st.text(max_size=40),
)


@given(
    st.lists(st.tuples(st.integers(0, 7), TEXTS), max_size=12),
    st.sampled_from([None, -30.0, 23.0, 60.0, 61.0, 120.0]),
    st.sampled_from(METERS),
)
def test_any_readings_on_any_meter_in_any_air_are_judged(
    typed_texts: list[tuple[int, str]], air_c: float | None, meter: Any
) -> None:
    readings = list(GOOD.readings)
    for place, text in typed_texts:
        readings.append(replace(readings[place], id=f"x-{len(readings)}", as_typed=text))
    opinion = form_opinion(replace(GOOD, readings=tuple(readings), air_c=air_c, meters=(meter,)))
    assert len(opinion.contacts) == 8
    used = {one for contact in opinion.contacts for one in contact.reading_ids}
    named = {one.record_id for one in opinion.set_aside}
    out_of_reach = {one.id for one in readings if " ".join(one.as_typed.split()).lower() == "out of reach"}
    # nothing is lost in silence
    assert used | named | out_of_reach == {one.id for one in readings}


def test_the_kept_sheets_leave_nothing_out_in_silence() -> None:
    for path in sorted((Path(__file__).parents[2] / "demo" / "sheets").glob("*.json")):
        if path.stem == "expected":
            continue
        sheet = msgspec.json.decode(path.read_bytes(), type=BenchSheet)
        opinion = form_opinion(sheet)
        used = {one for contact in opinion.contacts for one in contact.reading_ids}
        named = {one.record_id for one in opinion.set_aside}
        sweep = {
            one.id
            for one in sheet.readings
            if isinstance(one.touch, AtContact) and one.kind == "drop" and one.place == "spring"
            and one.subject == "board_socket" and one.lead_on_ground == "red"
        }  # fmt: skip
        assert sweep <= used | named, path.stem
