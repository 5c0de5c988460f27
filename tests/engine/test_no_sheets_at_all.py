"""What is no sheet, or nothing to judge against: a clear error at the engine's door, never a crash, nothing lost.

An error says what was given, where, what was expected, and shows an example. Nothing but SheetError and msgspec's own
errors ever leaves the door. Single records that cannot be used: `test_bad_sheets`.
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
from shared_models.board import Row
from shared_models.opinion import Opinion
from shared_models.reading import AtContact
from shared_models.sheet import BenchSheet
from tests.support.bad_sheets import BOARD, good
from tests.support.benches import BENCH_METER
from tests.support.sheets import random_sheet

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
