"""Reading a sheet in parts saves time and nothing else: the same sheet, the same digest, the same errors."""

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from server.engine import sheet_bytes
from server.engine.constants.sessions import MEMO_SIZE
from server.engine.digest import board_digest
from server.engine.sheet_bytes import read_sheet
from shared_models.sheet import BenchSheet

SHEETS = sorted(Path("demo/sheets").glob("t10_*.json"))
FIRST = json.loads(SHEETS[0].read_text())


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_read_for_the_first_time_and_again_it_is_what_the_plain_decoder_gives(path: Path) -> None:
    raw = path.read_bytes()
    plain = msgspec.json.decode(raw, type=BenchSheet)
    for _ in range(2):
        assert read_sheet(raw) == (plain, board_digest(plain))


def test_the_next_sheet_of_a_job_shares_what_did_not_change_and_nothing_else() -> None:
    fewer = {**FIRST, "readings": FIRST["readings"][:-1]}
    other = {**FIRST, "known_good_readings": FIRST["known_good_readings"][:-1]}
    (whole, digest), (before, same), (changed, unlike) = (
        read_sheet(json.dumps(sheet).encode()) for sheet in (FIRST, fewer, other)
    )
    assert before.known_good_readings is whole.known_good_readings
    assert (before.board is whole.board, len(before.readings)) == (True, len(whole.readings) - 1)
    assert same == digest != unlike
    assert len(changed.known_good_readings) == len(whole.known_good_readings) - 1


def test_a_sheet_without_healthy_boards_is_read() -> None:
    raw = json.dumps({name: part for name, part in FIRST.items() if name != "known_good_readings"}).encode()
    sheet, digest = read_sheet(raw)
    assert (sheet.known_good_readings, digest) == ((), board_digest(sheet))


def _with(field: str, value: Any) -> bytes:
    return json.dumps({**FIRST, field: value}).encode()


SPOILT = {
    "a healthy reading": _with("known_good_readings", [*FIRST["known_good_readings"], {"id": 5}]),
    "healthy readings that are none": _with("known_good_readings", "many"),
    "the board": _with("board", {**FIRST["board"], "sockets": 3}),
    "a reading": _with("readings", [{"id": "x"}]),
    "an unknown field": _with("surprise", 1),
    "no board": json.dumps({name: part for name, part in FIRST.items() if name != "board"}).encode(),
    "cut off": SHEETS[0].read_bytes()[:-20],
    "no sheet": b"[]",
}


@pytest.mark.parametrize("what", SPOILT)
def test_what_is_wrong_is_said_with_its_place_as_the_plain_decoder_says_it(what: str) -> None:
    with pytest.raises(msgspec.DecodeError) as plain:
        msgspec.json.decode(SPOILT[what], type=BenchSheet)
    with pytest.raises(type(plain.value)) as said:
        read_sheet(SPOILT[what])
    assert str(said.value) == str(plain.value)


def test_only_a_few_boards_are_kept() -> None:
    for count in range(2 * MEMO_SIZE):
        read_sheet(_with("known_good_readings", FIRST["known_good_readings"][: count + 1]))
    assert len(sheet_bytes._rows) <= MEMO_SIZE
