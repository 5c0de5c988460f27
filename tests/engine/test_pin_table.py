"""A pasted table is taken whole or refused line by line: doubled, missing, merged, unequal, nonsense."""

import csv
import io

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.engine.errors import SheetError
from server.engine.pin_roles import role_from_name
from server.engine.pin_table import SEPARATORS, pin_table
from shared_models.pin_table import ColumnMap, ContactNumbering, Delimiter, PinTable, PinTableQuestion

COLUMNS = ColumnMap(contact=1, name=2, role=3, pair_with=4, working_v=5, limit_v=6, sourced_by=7, leads_to=8)


def read(text: str, columns: ColumnMap = COLUMNS, **more: object) -> PinTable:
    """The answer to a semicolon table without a heading."""
    asked = {"text": text, "delimiter": "semicolon", "first_line": "contact", **more}
    return pin_table(msgspec.convert({**asked, "columns": msgspec.to_builtins(columns)}, PinTableQuestion))


def told(table: PinTable) -> list[tuple[int, int | None, str]]:
    """Every error as line, column and code; none of them beside contacts."""
    assert not (table.errors and (table.contacts or table.rows))
    for error in table.errors:
        problem = error.problem
        assert problem.given and problem.expected and problem.example and problem.message
        assert problem.where.startswith(f"line {error.line}")
    return [(error.line, error.column, error.problem.code) for error in table.errors]


def test_every_cell_of_a_line_arrives() -> None:
    (contact, other) = read("1;D0N;lane;2;1.2;1,35;board;U7\n2;D0P;LANE, direct;1;1V2;1350 mV;Both;\n").contacts
    assert (contact.name, contact.role, contact.role_origin, contact.pair_with) == ("D0N", "lane", "typed", "2")
    assert (contact.working_mv, contact.limit_mv, contact.sourced_by, contact.leads_to) == (1200, 1350, "board", "U7")
    assert (other.role, other.working_mv, other.limit_mv, other.sourced_by) == ("lane", 1200, 1350, "both")


@pytest.mark.parametrize(
    ("line", "column", "code"),
    [
        ("1;GND;;;;;;", 1, "doubled_contact"),
        (";GND;;;;;;", 1, "missing_contact"),
        ("2-5;GND;;;;;;", 1, "merged_contacts"),
        ("2 3;GND;;;;;;", 1, "merged_contacts"),
        ("A1/B12;GND;;;;;;", 1, "merged_contacts"),
        ("2,3;GND;;;;;;", 1, "merged_contacts"),
        ("pin two;GND;;;;;;", 1, "wrong_contact"),
        ("2;GND;earth;;;;;", 3, "unknown_role"),
        ("2;X;lane;;lots;;;", 5, "wrong_volts"),
        ("2;X;lane;;12 kV;;;", 5, "wrong_volts"),
        ("2;X;lane;;nan;;;", 5, "wrong_volts"),
        ("2;X;lane;;9999;;;", 5, "wrong_volts"),
        ("2;X;lane;;3.3;1.8;;", 6, "limit_below_working"),
        ("2;X;lane;;;;phone;", 7, "unknown_side"),
        ("2;X;lane;;;;;the big chip", 8, "wrong_part"),
        ("2;X;lane;1;;;;", None, "half_a_pair"),
        ("2;X;lane;2;;;;", None, "half_a_pair"),
        ("2;X;lane;nine!;;;;", 4, "wrong_contact"),
        ("2;X;lane", None, "unequal_line"),
        ("2;X;lane;;;;;;;", None, "unequal_line"),
        ('2;"X;lane;;;;;', None, "broken_line"),
    ],
)
def test_one_wrong_line_is_named_and_nothing_of_the_table_is_kept(line: str, column: int | None, code: str) -> None:
    found = told(read(f"1;GND;ground;;0;;;\n{line}\n"))
    assert [(at, error) for _, at, error in found] == [(column, code)]
    assert code == "broken_line" or found[0][0] == 2


FURTHER = ColumnMap(contact=1, name=2, row=3, leads_to=4, part_data=5, path=6, joins=7)


def test_paths_rows_joins_and_what_holds_the_data_arrive() -> None:
    table = read(
        "1;LED_A;outer;;;F2 fuse > C88 to GND;led\n2;LED_A;outer;;;F2 fuse 0.1 > FB3;led\n"
        "3;D0N;inner;U7;holds;R5 33 > D4 to 3V3 > U7.14;\n"
        "4;D0P;inner;U7;;C12 blocks > clamp to GND > pull R7 2k2 to 1V8 > at TP12 top > U7 pin B2;\n",
        FURTHER,
    )
    assert told(table) == []
    paths = [list(msgspec.to_builtins(contact.path)) for contact in table.contacts]
    assert paths[0] == [{"what": "series", "part": "F2", "is_fuse": True}, {"what": "shunt", "part": "C88"}]
    assert paths[1] == [
        {"what": "series", "part": "F2", "ohm": 0.1, "is_fuse": True}, {"what": "series", "part": "FB3"},
    ]
    assert paths[2] == [
        {"what": "series", "part": "R5", "ohm": 33.0}, {"what": "shunt", "part": "D4", "to_net": "3V3"},
        {"what": "chip_pin", "part": "U7", "pin": "14"},
    ]
    assert paths[3] == [
        {"what": "series", "part": "C12", "blocks_dc": True}, {"what": "clamp"},
        {"what": "pull", "part": "R7", "ohm": 2200.0, "to_net": "1V8"},
        {"what": "test_point", "name": "TP12", "side": "top"}, {"what": "chip_pin", "part": "U7", "pin": "B2"},
    ]
    assert [(row.name, row.contacts) for row in table.rows] == [("outer", ("1", "2")), ("inner", ("3", "4"))]
    assert table.numbering == ContactNumbering(row_lengths=(2, 2))
    assert table.module_joins == (("1", "2"),)
    assert {part.ref: (part.kind, part.holds_data) for part in table.parts} == {
        "F2": ("fuse", False), "C88": ("capacitor", False), "FB3": ("ferrite", False), "R5": ("resistor", False),
        "D4": ("diode", False), "U7": ("chip", True), "C12": ("capacitor", False), "R7": ("resistor", False),
    }


@pytest.mark.parametrize(
    ("line", "column", "code"),
    [
        ("2;A;;;;;", 3, "missing_row"),
        ("2;A;in;U7;perhaps;;", 5, "unknown_word"),
        ("2;A;in;;holds;;", 5, "data_in_no_part"),
        ("2;A;in;U1;no;;", 5, "two_words_for_a_part"),
        ("2;A;in;;;the big resistor;", 6, "wrong_path"),
        ("2;A;in;;;R1 > ;", 6, "wrong_path"),
        ("2;A;in;;;R1 4x7;", 6, "wrong_path"),
        ("2;A;in;;;pull 2k2;", 6, "wrong_path"),
        ("2;A;in;;;pull 0 to 3V3;", 6, "wrong_path"),
        ("2;A;in;;;;led", 7, "joined_alone"),
        ("2;\ufffd;in;;;;", None, "broken_letters"),
        ("2;A\x00B;in;;;;", None, "broken_letters"),
    ],
)
def test_a_wrong_word_of_the_further_columns_is_named_by_its_line(line: str, column: int | None, code: str) -> None:
    assert told(read(f"1;GND;in;U1;guards;;\n{line}\n", FURTHER)) == [(2, column, code)]


def test_every_error_is_told_at_once_in_the_order_of_the_lines() -> None:
    assert told(read("1;GND;earth;;x;;;\n\n1;GND;;;;;;\n3+4;A;;;;;;\n")) == [
        (1, 3, "unknown_role"), (1, 5, "wrong_volts"), (3, 1, "doubled_contact"), (4, 1, "merged_contacts"),
    ]


def test_what_the_socket_has_is_asked_for_and_nothing_else_is_taken() -> None:
    table = read("1;GND\n9;X\n", ColumnMap(contact=1, name=2), socket_contacts=["1", "2"])
    assert told(table) == [(2, None, "missing_contact"), (2, 1, "not_in_socket")]


def test_contacts_that_no_line_has_are_one_error_with_all_of_them() -> None:
    table = read("1;GND\n", ColumnMap(contact=1, name=2), socket_contacts=["1", "2", "3"])
    assert told(table) == [(1, None, "missing_contact")]
    assert table.errors[0].problem.message == "contacts 2, 3 of the socket are in no line"


def test_the_first_line_is_what_was_said_of_it() -> None:
    two = ColumnMap(contact=1, name=2)
    assert [contact.number for contact in read("pin;name\n1;A\n", two, first_line="heading").contacts] == ["1"]
    assert told(read("1;A\n2;B\n", two, first_line="heading")) == [(1, 1, "no_heading")]
    assert told(read("pin;name\n", two, first_line="heading")) == [(1, None, "no_lines")]
    assert told(read(" \n", two)) == [(1, None, "no_lines")]


def test_another_separator_than_was_said_is_one_error_and_not_one_a_cell() -> None:
    assert told(read("1,GND\n2,D0N\n", ColumnMap(contact=1, name=2))) == [(1, None, "no_such_column")]


def test_one_column_is_not_two_things_but_name_and_net() -> None:
    assert read("1;SCL\n", ColumnMap(contact=1, name=2, net=2)).contacts[0].net == "SCL"
    with pytest.raises(SheetError) as caught:
        read("1;SCL\n", ColumnMap(contact=1, role=1))
    assert caught.value.problem.where == "columns.role"


def test_a_role_from_a_name_is_marked_and_only_when_asked_for() -> None:
    two = ColumnMap(contact=1, name=2)
    assert [(one.role, one.role_origin) for one in read("1;GND\n2;FOO\n", two).contacts] == [
        ("ground", "proposed"), ("unknown", "typed"),
    ]
    assert read("1;GND\n", two, propose_roles=False).contacts[0].role == "unknown"


@pytest.mark.parametrize(("name", "role"), [
    ("GND", "ground"), ("VSS", "ground"), ("D2 shield", "ground"), ("3V3", "panel_supply"), ("+5V", "rail_5v"),
    ("VBUS", "rail_5v"), ("1V8", "io_rail"), ("D0P", "lane"), ("CKN", "lane"), ("DSI_D1-", "lane"), ("D+", "usb_pair"),
    ("TX1+", "lane_coupled"), ("AUXN", "aux_coupled"), ("HPD", "hot_plug_detect"), ("BL_PWM", "pwm"),
    ("LED+", "led_plus"), ("LED-", "led_minus"), ("LCD_RST", "control"), ("NC", "unconnected"), ("I2C_SCL", "bus"),
    ("SBU1", None), ("RX1+", None), ("", None), ("FOREGROUND X", None),
])
def test_names_speak_for_roles_or_for_none(name: str, role: str | None) -> None:
    assert role_from_name(name) == role


cells = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=12).map(str.strip)


@given(
    names=st.lists(cells, min_size=1, max_size=20), delimiter=st.sampled_from(list(SEPARATORS)),
    ending=st.sampled_from(["\n", "\r\n"]),
)
def test_whatever_names_a_spreadsheet_writes_they_come_back(
    names: list[str], delimiter: Delimiter, ending: str
) -> None:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=SEPARATORS[delimiter], lineterminator=ending)
    writer.writerows((number, name) for number, name in enumerate(names, 1))
    table = pin_table(PinTableQuestion(
        text=out.getvalue(), delimiter=delimiter, first_line="contact", columns=ColumnMap(contact=1, name=2),
    ))
    assert [contact.name for contact in table.contacts] == names


@given(text=st.text(max_size=200), delimiter=st.sampled_from(list(SEPARATORS)), heading=st.booleans())
def test_any_text_gives_contacts_or_errors_and_never_both(text: str, delimiter: Delimiter, heading: bool) -> None:
    table = pin_table(PinTableQuestion(
        text=text, delimiter=delimiter, first_line="heading" if heading else "contact",
        columns=ColumnMap(contact=1, name=2),
    ))
    told(table)
    assert table.contacts or table.errors
    msgspec.json.decode(msgspec.json.encode(table), type=PinTable)
