"""A file of healthy boards is read whole or not at all, and says what is wrong with it."""

import copy
from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from server.engine.errors import SheetError
from server.engine.reference_file import read_reference_file, reference_file_json
from shared_models.base import BODY_V

READING: dict[str, Any] = {
    "id": "r-1", "of": {"what": "reference_board", "reference_board_id": "shelf-1"}, "socket": "J1", "kind": "drop",
    "touch": {"what": "contact", "contact": "1"}, "as_typed": "452", "display_unit": "mV", "meter_id": "m-1",
    "stage": "on_healthy_board", "taken_at_ms": 1_700_000_000_000,
}
FILE: dict[str, Any] = {
    "holds": "healthy_boards", "v": BODY_V,
    "board": {
        "id": "b-1", "device": "T10", "board": "main",
        "sockets": [{
            "ref": "J1", "kind": "zif", "pitch_mm": 0.5, "rows": [{"name": "only", "contacts": ["1"]}],
            "contacts": [{"number": "1", "role": "lane"}],
        }],
    },
    "reference_boards": [{"id": "shelf-1", "board_version_id": "b-1", "label": "shelf 1"}],
    "readings": [READING],
    "meters": [{"id": "m-1", "name": "Bench meter"}],
}


def spoilt(spoil: Callable[[dict[str, Any]], object]) -> bytes:
    """The file as JSON after one change."""
    file = copy.deepcopy(FILE)
    spoil(file)
    return msgspec.json.encode(file)


def test_a_good_file_comes_back_as_itself() -> None:
    once = reference_file_json(msgspec.json.encode(FILE))
    assert reference_file_json(once) == once
    assert msgspec.json.decode(once)["v"] == BODY_V
    assert read_reference_file(once).readings[0].as_typed == "452"


@pytest.mark.parametrize("more", [{}, {"new_field": [1, 2]}, {"readings": "in another form by now"}])
def test_a_file_of_a_newer_version_is_refused_with_what_to_do(more: dict[str, Any]) -> None:
    with pytest.raises(SheetError) as caught:
        read_reference_file(spoilt(lambda file: file.update(v=BODY_V + 1, **more)))
    problem = caught.value.problem
    assert (problem.code, problem.where, problem.given) == ("newer_file", "$.v", str(BODY_V + 1))
    assert "update this one" in problem.message


@pytest.mark.parametrize(("spoil", "code", "where"), [
    (lambda file: file["readings"].append(READING), "doubled", "$.readings"),
    (lambda file: file["reference_boards"][0].update(board_version_id="b-2"), "does_not_belong",
     "$.reference_boards[0].board_version_id"),
    (lambda file: file["readings"][0].update(of={"what": "job", "job_id": "j"}), "does_not_belong", "$.readings[0].of"),
    (lambda file: file["readings"][0].pop("stage"), "does_not_belong", "$.readings[0].stage"),
    (lambda file: file["readings"][0].update(meter_id="m-2"), "does_not_belong", "$.readings[0].meter_id"),
    (lambda file: file["readings"][0].update(socket="J2"), "does_not_belong", "$.readings[0].socket"),
    (lambda file: file["readings"][0]["touch"].update(contact="99"), "does_not_belong", "$.readings[0].touch.contact"),
])
def test_parts_that_do_not_belong_together_refuse_the_file(
    spoil: Callable[[dict[str, Any]], object], code: str, where: str
) -> None:
    with pytest.raises(SheetError) as caught:
        read_reference_file(spoilt(spoil))
    assert (caught.value.problem.code, caught.value.problem.where) == (code, where)


@pytest.mark.parametrize("spoil", [
    lambda file: file.update(surprise=1),
    lambda file: file["readings"][0].update(verdict="good"),
    lambda file: file.pop("board"),
    lambda file: file.update(holds="jobs"),
    lambda file: file.update(v="two"),
])
def test_what_the_structs_do_not_know_is_refused_with_its_path(spoil: Callable[[dict[str, Any]], object]) -> None:
    with pytest.raises(msgspec.ValidationError):
        read_reference_file(spoilt(spoil))


def test_half_a_file_is_no_file() -> None:
    whole = msgspec.json.encode(FILE)
    for at in range(0, len(whole), 37):
        with pytest.raises(msgspec.DecodeError):
            read_reference_file(whole[:at])
