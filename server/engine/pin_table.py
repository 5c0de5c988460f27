"""A pasted pin table: contacts, or every error by its line.

Decides: how lines and columns belong together. The table is taken whole or not at all, so that nothing is
half stored. Leaves to others: what a cell may hold (`pin_cells`), what a name speaks for (`pin_roles`), what
lies behind a contact (`pin_paths`), and how rows are counted (`socket_rows`).
"""

import csv
import re
from functools import partial
from typing import NamedTuple

import msgspec

from server.engine import pin_cells
from server.engine.constants.bench import SHOWN_OF_A_LINE
from server.engine.errors import SheetError
from server.engine.pin_paths import part_kind, parts_in
from server.engine.socket_rows import numbering_of
from shared_models.base import ContactNumber
from shared_models.board import Contact, Part, Row
from shared_models.change import Problem
from shared_models.pin_table import LineProblem, PinTable, PinTableQuestion

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t"}
FIELDS = (
    "contact", "name", "net", "role", "row", "pair_with", "working_v", "limit_v", "sourced_by", "leads_to", "path",
    "joins", "part_data",
)
# letters a wrong encoding leaves behind: the replacement mark, and control characters but tab and line breaks
BROKEN_LETTERS = re.compile("[\ufffd\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


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
        rows = _rows(question, lines, contacts, errors)
        joins = _joins(question, lines, contacts, errors)
        parts = _parts(question, lines, contacts, errors)
        if not errors:
            return PinTable(
                contacts=tuple(contacts), rows=rows, numbering=numbering_of(rows), module_joins=joins, parts=parts
            )
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
    _check_letters(question.text, errors)
    if errors:
        return []
    reader = csv.reader(text_lines(question.text), delimiter=separator, strict=True)
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


def _check_letters(text: str, errors: list[LineProblem]) -> None:
    """Letters that another encoding left behind: told once a line, since every further error comes from them."""
    for place, line in enumerate(text_lines(text), 1):
        broken = BROKEN_LETTERS.search(line)
        if broken is not None:
            _report(errors, place, None, "broken_letters", "letters were lost: the text has another encoding",
                    f"U+{ord(broken[0]):04X} after '{line[: broken.start()][-SHOWN_OF_A_LINE:]}'",
                    "a table saved as CSV UTF-8", "12,RESET")


def text_lines(text: str) -> list[str]:
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
    def cell(field: str) -> tuple[str, pin_cells.Report]:
        column = getattr(question.columns, field)
        return _cell(question, line, field), partial(_report, errors, line.number, column)

    name = cell("name")[0]
    role, proposed = pin_cells.role(*cell("role"), name if question.propose_roles else "")
    working_mv = pin_cells.millivolts(*cell("working_v"))
    limit_mv = pin_cells.millivolts(*cell("limit_v"))
    if working_mv is not None and limit_mv is not None and abs(limit_mv) < abs(working_mv):
        given, report = cell("limit_v")
        report("limit_below_working", "the limit is below the working volts", given,
               f"at least {cell('working_v')[0]}", cell("working_v")[0])
    return Contact(
        number=pin_cells.number(*cell("contact")), name=name, net=cell("net")[0] or None, role=role,
        role_origin="proposed" if proposed else "typed", working_mv=working_mv, limit_mv=limit_mv,
        sourced_by=pin_cells.side(*cell("sourced_by")), leads_to=pin_cells.part(*cell("leads_to")),
        pair_with=pin_cells.pair(*cell("pair_with")), path=pin_cells.path(*cell("path")),
    )


def _cell(question: PinTableQuestion, line: Line, field: str) -> str:
    column = getattr(question.columns, field)
    return "" if column is None else line.cells[column - 1]


def _check_numbers(question: PinTableQuestion, lines: list[Line], contacts: list[Contact],
                   errors: list[LineProblem]) -> None:
    column = question.columns.contact
    first: dict[str, int] = {}
    for line, contact in zip(lines, contacts, strict=True):
        if not pin_cells.is_a(ContactNumber, contact.number):
            continue  # told already
        if contact.number in first:
            _report(errors, line.number, column, "doubled_contact",
                    f"the contact stands in line {first[contact.number]} already", contact.number,
                    "each contact once", "one line for each contact")
        elif question.socket_contacts and contact.number not in question.socket_contacts:
            _report(errors, line.number, column, "not_in_socket", "the socket has no such contact", contact.number,
                    f"one of the socket's {len(question.socket_contacts)}", question.socket_contacts[0])
        first.setdefault(contact.number, line.number)
    missing = [number for number in question.socket_contacts if number not in first]
    if missing:
        listed = ", ".join(missing)
        said = f"contact {listed} of the socket is" if len(missing) == 1 else f"contacts {listed} of the socket are"
        _report(errors, lines[-1].number, None, "missing_contact", f"{said} in no line", f"no line for {listed}",
                "a line for every contact of the socket", missing[0])


def _check_pairs(lines: list[Line], contacts: list[Contact], errors: list[LineProblem]) -> None:
    partner = {contact.number: contact.pair_with for contact in contacts}
    for line, contact in zip(lines, contacts, strict=True):
        other = contact.pair_with
        if other is None or not pin_cells.is_a(ContactNumber, other):
            continue
        if other == contact.number or partner.get(other) != contact.number:
            _report(errors, line.number, None, "half_a_pair", "a pair is two contacts that name each other",
                    f"{contact.number} names {other}, {other} names {partner.get(other) or 'none'}",
                    f"{other} names {contact.number}", f"{contact.number} with {other}, {other} with {contact.number}")


def _rows(question: PinTableQuestion, lines: list[Line], contacts: list[Contact],
          errors: list[LineProblem]) -> tuple[Row, ...]:
    column = question.columns.row
    if column is None:
        return ()
    rows: dict[str, list[str]] = {}
    for line, contact in zip(lines, contacts, strict=True):
        name = line.cells[column - 1]
        if name == "":
            _report(errors, line.number, column, "missing_row", "the contact's row is missing", "nothing",
                    "a row in every line", next(iter(rows), "upper"))
        rows.setdefault(name, []).append(contact.number)
    return tuple(Row(name=name, contacts=tuple(numbers)) for name, numbers in rows.items())


def _joins(question: PinTableQuestion, lines: list[Line], contacts: list[Contact],
           errors: list[LineProblem]) -> tuple[tuple[str, ...], ...]:
    groups: dict[str, list[tuple[Line, str]]] = {}
    for line, contact in zip(lines, contacts, strict=True):
        word = _cell(question, line, "joins")
        if word:
            groups.setdefault(word, []).append((line, contact.number))
    for word, members in groups.items():
        if len(members) == 1:
            line, number = members[0]
            _report(errors, line.number, question.columns.joins, "joined_alone",
                    "the module joins at least two contacts, and no other line has this word",
                    f"{word} at contact {number} alone", "the same word at every contact that is joined", word)
    return tuple(tuple(number for _, number in members) for members in groups.values())


def _parts(question: PinTableQuestion, lines: list[Line], contacts: list[Contact],
           errors: list[LineProblem]) -> tuple[Part, ...]:
    """Every part the table names, with what it says of the owner's data; an empty cell says nothing."""
    parts: dict[str, Part] = {}
    said: dict[str, tuple[int, pin_cells.PartData]] = {}
    for line, contact in zip(lines, contacts, strict=True):
        for part in parts_in(contact.path):
            parts.setdefault(part.ref, part)
        ref, given = contact.leads_to, _cell(question, line, "part_data")
        report = partial(_report, errors, line.number, question.columns.part_data)
        told = pin_cells.part_data(given, report)
        if ref is None:
            if given and told != "no":
                report("data_in_no_part", "no part is named that this could be said of", given,
                       "a part under leads to, or nothing", "U7")
            continue
        parts.setdefault(ref, Part(ref=ref, kind=part_kind(ref)))
        if given == "":
            continue
        first, before = said.setdefault(ref, (line.number, told))
        if before != told:
            report("two_words_for_a_part", f"line {first} says something else of {ref}", given, before, before)
    return tuple(_with_data(part, said.get(ref, (0, "no"))[1]) for ref, part in parts.items())


def _with_data(part: Part, told: pin_cells.PartData) -> Part:
    return msgspec.structs.replace(part, holds_data=told == "holds", guards_data=told == "guards")
