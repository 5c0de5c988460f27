"""A pin table from a spreadsheet, and how the contacts of a socket are numbered.

What a person says about what they paste (which column is which, what separates them, whether the first
line is a heading) are fields here: they may be proposed, to be looked at, but reading guesses nothing.
Leaves to others: reading the table (`server/engine/pin_table.py`), proposing (`pin_columns.py`) and laying
the rows (`socket_rows.py`).
"""

from typing import Annotated, Literal

from msgspec import Meta

from shared_models.base import ContactNumber, Model
from shared_models.board import Contact, Part, Row
from shared_models.change import Problem

Column = Annotated[int, Meta(ge=1, le=200)]
"""A column by its place, the first from the left is 1."""

Delimiter = Literal["comma", "semicolon", "tab"]
FirstLine = Literal["heading", "contact"]
NumberingOrder = Literal["along_twice", "along_then_back", "odd_even"]
PinOneCorner = Literal["top_left", "top_right", "bottom_left", "bottom_right"]


class ColumnMap(Model, frozen=True, kw_only=True):
    """Which column holds what; what the table does not have stays out. Volts are volts, not millivolts.

    `name` and `net` may be one column; otherwise each column is one thing. `path` is what lies behind the
    contact, from it inward ("R214 33 > D5 to GND > U7.14"). Contacts with the same word under `joins` are
    joined inside the module. `part_data` says of the part under `leads_to`: holds, guards, or no.
    """

    contact: Column
    name: Column | None = None
    net: Column | None = None
    role: Column | None = None
    row: Column | None = None
    pair_with: Column | None = None
    working_v: Column | None = None
    limit_v: Column | None = None
    sourced_by: Column | None = None
    leads_to: Column | None = None
    path: Column | None = None
    joins: Column | None = None
    part_data: Column | None = None


class PinTableQuestion(Model, frozen=True, kw_only=True):
    """A pasted table and what it means.

    `socket_contacts` are the numbers the socket has, where it is known: then one that is missing or
    one too many is an error. `propose_roles`: where no role is given, one may come from the name.
    """

    text: Annotated[str, Meta(max_length=200_000)]
    delimiter: Delimiter
    first_line: FirstLine
    columns: ColumnMap
    socket_contacts: tuple[ContactNumber, ...] = ()
    propose_roles: bool = True


class LineProblem(Model, frozen=True, kw_only=True):
    """One thing wrong in the table. `line` counts from 1 as the text stands, headings and empty lines
    too; `column` is None where the whole line is meant."""

    line: int
    problem: Problem
    column: int | None = None


class PinTable(Model, frozen=True, kw_only=True):
    """Contacts in the table's order, or everything that is wrong by line; never some of each.

    `rows` are the rows the table names, in the order it first names them; empty without such a column.
    `numbering` is the counting that lays just these rows, if one does. A role that came from a name has
    `role_origin` "proposed". `parts` are those that `leads_to` and paths name, each kind by the letters
    of its name.
    """

    contacts: tuple[Contact, ...] = ()
    rows: tuple[Row, ...] = ()
    numbering: "ContactNumbering | None" = None
    module_joins: tuple[tuple[ContactNumber, ...], ...] = ()
    parts: tuple[Part, ...] = ()
    errors: tuple[LineProblem, ...] = ()


class ContactNumbering(Model, frozen=True, kw_only=True):
    """How contacts are numbered, seen on the board side the socket stands on.

    `row_lengths` from the top row down. Counting starts in the corner `pin_one`: "along_twice" goes the
    same way through every row, "along_then_back" turns at each end, "odd_even" puts odd numbers into the
    first of two rows and even ones into the other. `lettered`: every row has a letter (A, B) and counts
    from 1. `from_other_side`: the corner is meant as seen from the other side of the board. `left_out`:
    numbers whose place stays empty (a key, a contact the maker left out); the others keep theirs.
    """

    row_lengths: Annotated[tuple[Annotated[int, Meta(ge=1, le=400)], ...], Meta(min_length=1, max_length=8)]
    order: NumberingOrder = "along_twice"
    pin_one: PinOneCorner = "top_left"
    lettered: bool = False
    from_other_side: bool = False
    left_out: tuple[ContactNumber, ...] = ()


class PinColumnsQuestion(Model, frozen=True, kw_only=True):
    """A pasted table of which nothing has been said yet, or only what separates its columns."""

    text: Annotated[str, Meta(max_length=200_000)]
    delimiter: Delimiter | None = None


class PinColumns(Model, frozen=True, kw_only=True):
    """What a table probably is, for a person to look at before it is read: a proposal, never more.

    `head` are its first lines, cell by cell; `lines` how many it has that are not empty, the heading too.
    """

    delimiter: Delimiter
    first_line: FirstLine
    columns: ColumnMap
    head: tuple[tuple[str, ...], ...]
    lines: int
