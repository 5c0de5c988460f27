"""A pasted pin table: contacts, or every error by its line.

Decides: what a cell may hold. The table is taken whole or not at all, so that nothing is half stored.
Leaves to others: what a name speaks for (`pin_roles`) and where a contact lies (`socket_rows`).
"""

import csv
import re
from collections.abc import Callable
from functools import partial
from typing import Any, NamedTuple, get_args

import msgspec

from server.engine.constants import UNIT_FACTORS
from server.engine.errors import SheetError
from server.engine.pin_roles import role_from_name
from shared_models.base import ContactNumber, Id
from shared_models.board import Contact, Millivolts, Role, Row, Side
from shared_models.change import Problem
from shared_models.pin_table import LineProblem, PinTable, PinTableQuestion
from shared_models.tables import ROLES

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t"}
FIELDS = ("contact", "name", "net", "role", "row", "pair_with", "working_v", "limit_v", "sourced_by", "leads_to")
ROLE_OF: dict[str, Role] = {key: row.id for row in ROLES for key in (row.id, row.words.lower())}
SIDES: tuple[str, ...] = get_args(Side)
SEVERAL = re.compile(r"[A-Za-z]*\d+(?:\s*(?:[-–,;/&+]|\.\.|to|and)\s*|\s+)[A-Za-z]*\d+.*", re.DOTALL)
VOLTS = re.compile(r"([+-]?)(\d+)(?:[.,](\d+))?\s*(m?)V?|([+-]?)(\d+)V(\d+)", re.IGNORECASE)

Report = Callable[..., None]


class Line(NamedTuple):
    """The cells of one line and where it stands; `number` is its last line where a cell runs over several."""

    number: int
    cells: tuple[str, ...]


def pin_table(question: PinTableQuestion) -> PinTable:
    """The table as contacts, or all that is wrong with it.

    Raises:
        SheetError: what was said about the columns cannot be, whatever the text.
    """
    _check_columns(question)
    errors: list[LineProblem] = []
    lines = _lines(question, errors)
    if lines and not errors:
        lines = _without_heading(question, lines, errors)
    # a table of other columns than was said would give one error a cell, and none that helps
    if not errors:
        contacts = [_contact(question, line, errors) for line in lines]
        _check_numbers(question, lines, contacts, errors)
        _check_pairs(lines, contacts, errors)
        if not errors:
            return PinTable(contacts=tuple(contacts), rows=_rows(question, lines, contacts))
    return PinTable(errors=tuple(sorted(errors, key=lambda one: (one.line, one.column or 0))))


def _check_columns(question: PinTableQuestion) -> None:
    used: dict[int, str] = {}
    for field in FIELDS:
        column = getattr(question.columns, field)
        if column is None:
            continue
        other = used.get(column)
        if other is not None and {other, field} != {"name", "net"}:
            raise SheetError(
                "column_used_twice", "one column cannot be two things", where=f"columns.{field}",
                given=f"column {column}, which is already {other}",
                expected="a column of its own; only name and net may be one", example="contact: 1, name: 2",
            )
        used[column] = field


def _report(errors: list[LineProblem], line: int, column: int | None, code: str, message: str, given: str,
            expected: str, example: str) -> None:
    where = f"line {line}" if column is None else f"line {line}, column {column}"
    errors.append(LineProblem(line=line, column=column, problem=Problem(
        code=code, message=message, where=where, given=given, expected=expected, example=example,
    )))


def _lines(question: PinTableQuestion, errors: list[LineProblem]) -> list[Line]:
    separator = SEPARATORS[question.delimiter]
    reader = csv.reader(_text_lines(question.text), delimiter=separator, strict=True)
    lines: list[Line] = []
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                lines.append(Line(reader.line_num, tuple(cell.strip() for cell in cells)))
    except csv.Error as error:
        _report(errors, reader.line_num, None, "broken_line", "a quotation mark is not closed, or something follows it",
                str(error), "a cell in quotation marks ends with one", '12,"RESET, low",control')
        return lines
    if not lines:
        _report(errors, 1, None, "no_lines", "there is nothing in the table", "no text",
                "one line for each contact", separator.join(("1", "GND")))
        return lines
    width = len(lines[0].cells)
    needed = max(getattr(question.columns, field) or 1 for field in FIELDS)
    if width < needed:
        _report(errors, lines[0].number, None, "no_such_column",
                "the line has fewer columns than were named; perhaps something else separates them",
                f"{width} columns at {question.delimiter}", f"at least {needed} columns",
                separator.join(f"column {place + 1}" for place in range(needed)))
        return lines
    for line in lines[1:]:
        if len(line.cells) != width:
            _report(errors, line.number, None, "unequal_line", "the line is not as long as the first one",
                    f"{len(line.cells)} columns", f"{width} columns, empty ones too",
                    separator.join((*line.cells, *[""] * width)[:width]))
    return lines


def _text_lines(text: str) -> list[str]:
    """Lines as a spreadsheet ends them; `splitlines` would also break at characters inside a cell."""
    plain = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    return [f"{line}\n" for line in plain.split("\n")]


def _without_heading(question: PinTableQuestion, lines: list[Line], errors: list[LineProblem]) -> list[Line]:
    if question.first_line == "contact":
        return lines
    column = question.columns.contact
    given = lines[0].cells[column - 1]
    if given.isdigit():
        _report(errors, lines[0].number, column, "no_heading",
                "the first line was said to be a heading and is a contact", given,
                "a heading, or first_line: contact", "contact")
    elif len(lines) == 1:
        _report(errors, lines[0].number, None, "no_lines", "there is a heading and no contact", "no further line",
                "one line for each contact", "1,GND")
    return lines[1:]


def _contact(question: PinTableQuestion, line: Line, errors: list[LineProblem]) -> Contact:
    def cell(field: str) -> tuple[str, Report]:
        column = getattr(question.columns, field)
        return ("" if column is None else line.cells[column - 1]), partial(_report, errors, line.number, column)

    name = cell("name")[0]
    role, proposed = _role(*cell("role"), name if question.propose_roles else "")
    working_mv = _millivolts(*cell("working_v"))
    limit_mv = _millivolts(*cell("limit_v"))
    if working_mv is not None and limit_mv is not None and abs(limit_mv) < abs(working_mv):
        given, report = cell("limit_v")
        report("limit_below_working", "the limit is below the working volts", given,
               f"at least {cell('working_v')[0]}", cell("working_v")[0])
    return Contact(
        number=_number(*cell("contact")), name=name, net=cell("net")[0] or None, role=role,
        role_origin="proposed" if proposed else "typed", working_mv=working_mv, limit_mv=limit_mv,
        sourced_by=_side(*cell("sourced_by")), leads_to=_part(*cell("leads_to")), pair_with=_pair(*cell("pair_with")),
    )


def _is(kind: Any, given: str | float) -> bool:
    try:
        msgspec.convert(given, kind)
    except msgspec.ValidationError:
        return False
    return True


def _number(given: str, report: Report) -> str:
    if _is(ContactNumber, given):
        return given
    if given == "":
        report("missing_contact", "the contact's number is missing; a merged cell leaves the others empty", "nothing",
               "a number in every line", "12")
    elif SEVERAL.fullmatch(given):
        report("merged_contacts", "several contacts stand in one line", given, "one contact a line", "12")
    else:
        report("wrong_contact", "this is no contact number", given, "1 to 8 letters and digits", "A5")
    return given


def _role(given: str, report: Report, name: str) -> tuple[Role, bool]:
    if given == "":
        proposed = role_from_name(name)
        return ("unknown", False) if proposed is None else (proposed, True)
    role = ROLE_OF.get(given.lower())
    if role is None:
        every = ", ".join(row.id for row in ROLES)
        report("unknown_role", "there is no such role", given, f"one of: {every}", "ground")
    return role or "unknown", False


def _millivolts(given: str, report: Report) -> float | None:
    if given == "":
        return None
    found = VOLTS.fullmatch(given)
    if found is not None:
        sign, whole, part, milli, sign_2, whole_2, part_2 = found.groups()
        volts = float(f"{sign or sign_2 or ''}{whole or whole_2}.{part or part_2 or 0}")
        millivolts = round(volts if milli else volts * UNIT_FACTORS["V"], 2)
        if _is(Millivolts, millivolts):
            return millivolts
    report("wrong_volts", "this is no voltage of a contact", given, "volts from -1000 to 1000, or nothing", "3.3")
    return None


def _side(given: str, report: Report) -> Side | None:
    if given == "":
        return None
    for side in get_args(Side):
        if given.lower() == side:
            return side
    report("unknown_side", "there is no such side", given, "one of: " + ", ".join(SIDES), "board")
    return None


def _part(given: str, report: Report) -> str | None:
    if given == "" or _is(Id, given):
        return given or None
    report("wrong_part", "this is no part's name", given, "letters, digits and . _ : - without spaces", "U7")
    return None


def _pair(given: str, report: Report) -> str | None:
    if given == "" or _is(ContactNumber, given):
        return given or None
    report("wrong_contact", "this is no contact number", given, "1 to 8 letters and digits, or nothing", "A5")
    return None


def _check_numbers(question: PinTableQuestion, lines: list[Line], contacts: list[Contact],
                   errors: list[LineProblem]) -> None:
    column = question.columns.contact
    first: dict[str, int] = {}
    for line, contact in zip(lines, contacts, strict=True):
        if not _is(ContactNumber, contact.number):
            continue  # told already
        if contact.number in first:
            _report(errors, line.number, column, "doubled_contact",
                    f"the contact stands in line {first[contact.number]} already", contact.number,
                    "each contact once", "one line for each contact")
        elif question.socket_contacts and contact.number not in question.socket_contacts:
            _report(errors, line.number, column, "not_in_socket", "the socket has no such contact", contact.number,
                    f"one of the socket's {len(question.socket_contacts)}", question.socket_contacts[0])
        first.setdefault(contact.number, line.number)
    for number in question.socket_contacts:
        if number not in first:
            _report(errors, lines[-1].number, None, "missing_contact", f"contact {number} of the socket is in no line",
                    f"no line for {number}", "a line for every contact of the socket", number)


def _check_pairs(lines: list[Line], contacts: list[Contact], errors: list[LineProblem]) -> None:
    partner = {contact.number: contact.pair_with for contact in contacts}
    for line, contact in zip(lines, contacts, strict=True):
        other = contact.pair_with
        if other is None or not _is(ContactNumber, other):
            continue
        if other == contact.number or partner.get(other) != contact.number:
            _report(errors, line.number, None, "half_a_pair", "a pair is two contacts that name each other",
                    f"{contact.number} names {other}, {other} names {partner.get(other) or 'none'}",
                    f"{other} names {contact.number}", f"{contact.number} with {other}, {other} with {contact.number}")


def _rows(question: PinTableQuestion, lines: list[Line], contacts: list[Contact]) -> tuple[Row, ...]:
    column = question.columns.row
    if column is None:
        return ()
    rows: dict[str, list[str]] = {}
    for line, contact in zip(lines, contacts, strict=True):
        rows.setdefault(line.cells[column - 1], []).append(contact.number)
    return tuple(Row(name=name, contacts=tuple(numbers)) for name, numbers in rows.items())
