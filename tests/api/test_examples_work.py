"""The example of a problem works: put in place of what was wrong, it is taken there.

For every Struct that comes in from outside, every field is spoilt in several ways; the path must lead
to the spoilt place, and the example there must mend it.
"""

import copy
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec import inspect

from server.expected import at_path, example_of, in_words
from server.problems import Refusal, strict_json
from shared_models import base, board, change, job, opinion, reading, sheet

SHEETS = Path(__file__).parents[2] / "demo" / "sheets"
MODULES = (base, board, change, job, opinion, reading, sheet)
STRUCTS = sorted(
    {member for module in MODULES for member in vars(module).values()
     if isinstance(member, type) and issubclass(member, msgspec.Struct) and member.__struct_fields__},
    key=lambda struct: struct.__name__,
)
WRONG: tuple[Any, ...] = ({"no": ["such", "thing"]}, [[]], "#", "", -1, 1e300, True, None)


@pytest.mark.parametrize("struct", STRUCTS, ids=lambda struct: struct.__name__)
def test_the_smallest_example_of_every_struct_is_taken(struct: Any) -> None:
    expected = at_path(struct, [], None)
    msgspec.json.decode(msgspec.json.encode(example_of(expected)), type=struct)
    assert in_words(expected).startswith("an object")


@pytest.mark.parametrize("struct", STRUCTS, ids=lambda struct: struct.__name__)
def test_the_example_of_every_field_is_taken(struct: Any) -> None:
    for field in msgspec.structs.fields(struct):
        expected = at_path(struct, [field.encode_name], {})
        msgspec.json.decode(msgspec.json.encode(example_of(expected)), type=field.type)
        assert in_words(expected)


def places(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """The paths of every value inside `value`, but not of a second member of a list."""
    if path:
        yield path
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from places(inner, (*path, name))
    elif isinstance(value, list) and value:
        yield from places(value[0], (*path, 0))


def replaced(whole: Any, path: tuple[str | int, ...], value: Any) -> Any:
    """A copy of `whole` with another value at `path`."""
    whole = copy.deepcopy(whole)
    inner = whole
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    return whole


def test_wherever_a_sheet_is_spoilt_the_problem_leads_there_and_its_example_mends_it() -> None:
    whole = json.loads((SHEETS / "t10_new_socket_stripes.json").read_text(encoding="utf-8"))
    for name in ("readings", "known_good_readings", "reference_boards", "make_safe"):
        whole[name] = whole[name][:1]
    spoilt_places = 0
    for path in places(whole):
        if isinstance(path[-1], str) and path[-1] == "what":
            continue  # another member's tag makes the member's fields wrong: told by the field, not the tag
        for wrong in WRONG:
            spoilt = replaced(whole, path, wrong)
            try:
                strict_json(json.dumps(spoilt).encode(), sheet.BenchSheet)
                continue  # an optional field may be null, a text may be "#"
            except Refusal as refusal:
                problem = refusal.problem
            spoilt_places += 1
            where = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path).lstrip(".")
            assert problem.where.startswith(where), (where, wrong, problem)
            assert problem.given and problem.expected, problem
            mended = json.dumps(replaced(whole, path, json.loads(problem.example))).encode()
            if problem.where == where or problem.code == "unknown_field":
                strict_json(mended, sheet.BenchSheet)
    assert spoilt_places > 300


@pytest.mark.parametrize(("annotation", "words"), [
    (base.EpochMs, "a whole number from 0 to 253402300799999"),
    (base.AirC, "a number from -60 to 120"),
    (base.Id, "an id of 1 to 80 letters, digits and . _ : - that begins with a letter or digit"),
    (base.Words, "text of at most 2000 characters"),
    (base.AirC | None, "a number from -60 to 120 or null"),
    (reading.Of, 'an object whose `what` is one of "job", "reference_board"'),
    (tuple[base.ContactNumber, ...], "a list, each of it a contact's number of 1 to 8 letters and digits"),
    (bool, "true or false"),
])
def test_the_words_for_each_kind(annotation: Any, words: str) -> None:
    assert in_words(inspect.type_info(annotation)) == words
