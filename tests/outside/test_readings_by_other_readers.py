"""The readings' CSV read back by two readers that are not ours, and by the rule for formulas in spreadsheets.

Sources: RFC 4180 (October 2005), section 2, rules 1 to 7: CRLF, a heading, commas, quotes around fields that hold
them, quotes doubled. Which first letters make a cell a formula: the OWASP page "CSV Injection" (equals, plus, minus,
at, tab, carriage return; their full-width forms), from memory. Python's `csv` and pandas stand for other programs;
what a certain spreadsheet does with the file was not tried.
"""

import csv
import io
import json

import msgspec
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engine.pass_codes import WITHHELD, holds_pass_code
from server.engine.readings_file import COLUMNS, readings_file
from shared_models.job import Job
from shared_models.reading import AtContact, Draw, Drop, Meter, OfJob, Ohms, Reading, Value, Volts
from shared_models.readings_file import ReadingsQuestion
from tests.support.papers import CROOKED, demo_sheet

FORMULAS = ["=1+1", "=cmd|' /C calc'!A0", "@SUM(A1)", "+1+1", "-1+1", "\t=1", "\r=1", "\n=1", "＝1+1", "－2+3"]


def reading(n: int = 1, **fields: object) -> Reading:
    given: dict[str, object] = {
        "id": f"r-{n}", "of": OfJob(job_id="job-1"), "socket": "J7", "kind": "drop", "touch": AtContact(contact="12"),
        "as_typed": "452", "display_unit": "mV", "meter_id": "m-1", "taken_at_ms": 1_773_482_400_250 + n, **fields,
    }
    return Reading(**given)  # type: ignore[arg-type]


def csv_of(*readings: Reading, **fields: object) -> str:
    return readings_file(ReadingsQuestion(job=Job(id="job-1", title="A, \"b\""), readings=readings, **fields)).text  # type: ignore[arg-type]


def by_csv(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def by_pandas(text: str) -> pd.DataFrame:
    return pd.read_csv(io.BytesIO(text.encode("utf-8")), encoding="utf-8", keep_default_na=False, dtype=str)


def as_typed_again(cell: str) -> str:
    """The one step back from a guarded cell: a ' at its beginning off."""
    return cell.removeprefix("'")


def test_rfc_4180_every_record_ends_in_crlf_has_every_column_and_the_heading_is_first() -> None:
    text = csv_of(reading(note='said "so",\r\nand left'), reading(2))
    assert text.endswith("\r\n") and text.split("\r\n")[0] == ",".join(COLUMNS)
    assert '"said ""so"",\r\nand left"' in text
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert [len(row) for row in rows] == [len(COLUMNS)] * 3


words = st.text(st.characters(codec="utf-8", exclude_characters="\0", exclude_categories=("Cs",)), max_size=40)
texts = st.one_of(words, st.sampled_from(FORMULAS), st.builds(lambda first, rest: first + rest, st.sampled_from(
    ["=", "+", "-", "@", "\t", "\r", "\n", "'", '"', ",", "＋", "＠"]), words))


@settings(max_examples=120, deadline=None)
@given(note=texts, taken_by=texts)
def test_what_was_typed_comes_back_and_no_text_is_a_formula(note: str, taken_by: str) -> None:
    text = csv_of(reading(note=note, taken_by=taken_by))
    [row] = by_csv(text)
    assert as_typed_again(row["note"]) == (WITHHELD if holds_pass_code(note) else note)
    assert as_typed_again(row["taken_by"]) == taken_by
    for cell in (row["note"], row["taken_by"]):
        is_number = cell.lstrip("+-").replace(".", "", 1).replace(",", "", 1).isdigit() and cell.isascii()
        assert cell[:1] not in {"=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"} or is_number
    [same] = by_pandas(text).to_dict("records")
    assert {name: str(cell).replace("\r\n", "\n").replace("\r", "\n") for name, cell in same.items()} == {
        name: cell.replace("\r\n", "\n").replace("\r", "\n") for name, cell in row.items()}


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_formula_gets_an_apostrophe_and_gives_its_text_back(formula: str) -> None:
    [row] = by_csv(csv_of(reading(note=formula)))
    assert row["note"] == f"'{formula}" and as_typed_again(row["note"]) == formula
    [row] = by_csv(csv_of(reading(note="'quoted")))
    assert as_typed_again(row["note"]) == "'quoted"


@pytest.mark.parametrize(("value", "column", "number"), [
    (Drop(drop_mv=-3.5), "drop_mv", -3.5), (Volts(volts_mv=-21_800.0), "volts_mv", -21_800.0),
    (Ohms(ohm=2.2e6), "resistance_ohm", 2.2e6), (Draw(draw_ma=1e-05), "draw_ma", 1e-05),
])
def test_numbers_stay_numbers_below_zero_too(value: Value, column: str, number: float) -> None:
    text = csv_of(reading(value=value, as_typed="-3.5", air_c=-4.0))
    [row] = pd.read_csv(io.StringIO(text)).to_dict("records")
    assert type(row[column]) is float and row[column] == number
    assert row["air_c"] == -4.0
    assert by_csv(text)[0]["as_typed"] == "-3.5", "what was typed is a plain number and no formula"


def test_every_reading_of_a_job_is_there_with_its_unit_in_the_column_and_whether_it_stands() -> None:
    sheet = demo_sheet(CROOKED)
    old = sheet.readings[0]
    newer = msgspec.structs.replace(old, id="newer", supersedes=old.id, as_typed="0.455", display_unit="V", value=None)
    rows = by_csv(csv_of(*sheet.readings, newer, meters=sheet.meters, removed_ids=(sheet.readings[1].id,)))
    assert len(rows) == len(sheet.readings) + 1
    told = {row["reading_id"]: row for row in rows}
    assert (told["newer"]["drop_mv"], told["newer"]["replaces"]) == ("455.0", old.id)
    assert told[old.id]["replaced_by"] == "newer"
    assert told[sheet.readings[1].id]["taken_back"] == "yes" and told["newer"]["taken_back"] == "no"
    assert {row["value_is"] for row in rows} >= {"drop", "over_range", "ohms"}
    assert {row["meter"] for row in rows} == {one.name for one in sheet.meters if one.id == old.meter_id}
    for name in ("drop_mv", "resistance_ohm", "volts_mv", "draw_ma", "air_c", "taken_after_s", "meter_test_current_ma"):
        assert name in COLUMNS


def test_json_says_the_same_as_csv_with_numbers_as_numbers() -> None:
    question = ReadingsQuestion(job=Job(id="job-1"), readings=(reading(as_typed="0.4521", display_unit="V"), reading(
        2, as_typed="OL")), meters=(Meter(id="m-1", name="=bench"),), wanted="json")
    told = json.loads(readings_file(question).text)
    assert tuple(told["columns"]) == COLUMNS
    first, second = told["readings"]
    assert (first["drop_mv"], first["taken_at_utc"], first["meter"], first["taken_back"]) == (
        452.1, "2026-03-14T10:00:00.251Z", "=bench", False)
    assert (second["value_is"], second["drop_mv"]) == ("over_range", None)


def test_letters_of_every_script_are_utf_8_and_a_zero_byte_harms_no_reader() -> None:
    text = csv_of(reading(taken_by="Þóra Ωmega 三", note="a\0b"))
    assert by_pandas(text).to_dict("records")[0]["taken_by"] == "Þóra Ωmega 三"
    assert by_csv(text)[0]["note"] == "a\N{REPLACEMENT CHARACTER}b"


def test_a_note_that_holds_a_pass_code_is_withheld() -> None:
    assert by_csv(csv_of(reading(note="unlock 4711")))[0]["note"] == WITHHELD
