"""What a pasted table probably is: proposed by its heading or its cells; and the same bytes on the phone."""

from base64 import b64encode

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.engine.pin_doors import pin_columns, pin_columns_json, pin_table_json
from shared_models.pin_table import ColumnMap, Delimiter, PinColumnsQuestion
from tests.outside.test_pin_tables_by_csv import CAMERA, HDMI
from tests.support.pyodide_node import PhoneError, PyodideNode


def asked(text: str, delimiter: Delimiter | None = None) -> tuple[str, str, ColumnMap, int]:
    """The proposal for a text."""
    told = pin_columns(PinColumnsQuestion(text=text, delimiter=delimiter))
    return told.delimiter, told.first_line, told.columns, told.lines


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1\tGND\n2\tD0N\n", ("tab", "contact", ColumnMap(contact=1, name=2), 2)),
        (CAMERA, ("semicolon", "contact", ColumnMap(contact=1, name=2), 22)),
        (HDMI, ("comma", "heading", ColumnMap(contact=1, name=2, row=3), 20)),
        ("GND;A1\nD0N;A2\n", ("semicolon", "contact", ColumnMap(contact=2, name=1), 2)),
        (
            "Pin No.,Net name,Working volts,Max,Leads to\n\n1,VLED,21.5,28,U7\n",
            ("comma", "heading", ColumnMap(contact=1, net=2, working_v=3, limit_v=4, leads_to=5), 2),
        ),
        ("what,signal\n7,GND\n", ("comma", "heading", ColumnMap(contact=1, name=2), 2)),
        ("", ("tab", "contact", ColumnMap(contact=1), 0)),
    ],
)
def test_a_table_is_proposed_as_it_is(text: str, expected: tuple[str, str, ColumnMap, int]) -> None:
    assert asked(text) == expected


def test_what_was_said_of_the_separator_stands() -> None:
    assert asked("1,2;GND\n", "comma")[:1] == ("comma",)
    assert pin_columns(PinColumnsQuestion(text="1,2;GND\n", delimiter="comma")).head == (("1", "2;GND"),)


@given(text=st.text(max_size=120))
def test_any_text_gets_a_proposal(text: str) -> None:
    told = pin_columns(PinColumnsQuestion(text=text))
    assert told.columns.contact >= 1


@pytest.mark.xdist_group("same_bytes")
def test_the_phones_python_reads_the_same_bytes_and_refuses_in_the_same_words() -> None:
    columns = {"contact": 1, "name": 2, "row": 3}
    asked_of = {"text": HDMI, "delimiter": "comma", "first_line": "heading", "columns": columns}
    questions = [
        ("pin_columns_json", {"text": HDMI}),
        ("pin_table_json", asked_of),
        ("pin_table_json", {**asked_of, "text": HDMI.replace("7,D0+", "6-7,D0+")}),
    ]
    doors = {"pin_columns_json": pin_columns_json, "pin_table_json": pin_table_json}
    with PyodideNode() as phone:
        for door, question in questions:
            encoded = msgspec.json.encode(question)
            call = (
                f"from base64 import b64decode\nfrom server.engine.pin_doors import {door}\n"
                f"{door}(b64decode('{b64encode(encoded).decode()}')).decode()"
            )
            assert phone.run(call).encode() == doors[door](encoded)
        twice = b64encode(msgspec.json.encode({**asked_of, "columns": {**columns, "role": 1}})).decode()
        with pytest.raises(PhoneError, match=r"columns\.role: one column cannot be two things \(given column 1"):
            phone.run(
                "from base64 import b64decode\nfrom server.engine.pin_doors import pin_table_json\n"
                f"pin_table_json(b64decode('{twice}'))"
            )
