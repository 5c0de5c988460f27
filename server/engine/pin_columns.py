"""What a pasted table probably is: what separates its cells, whether it has a heading, which column is what.

A proposal that a person looks at before the table is read (`pin_table`); words of headings are common
practice, no source.
"""

import csv
import re

from server.engine.constants.bench import COLUMNS_PROPOSED, HEAD_LINES
from server.engine.pin_table import FIELDS, SEPARATORS, text_lines
from shared_models.pin_table import ColumnMap, Delimiter, PinColumns, PinColumnsQuestion

HEADINGS: dict[str, str] = {
    "contact": r"(?:contact|pin|pad|ball|no|nr|num|number|#|terminal|pos|position)(?: (?:no|nr|number|#))?",
    "name": r"(?:(?:pin|contact|signal)? ?name|signal|function|label|description|desc)",
    "net": r"(?:net|net ?name|netz)",
    "role": r"(?:role|type|kind|class)",
    "row": r"(?:row|side of socket|line)",
    "pair_with": r"(?:pair|pair ?with|partner|diff ?pair)",
    "working_v": r"(?:working(?: volts?| v)?|volts?|voltage|v|level|nominal|u)",
    "limit_v": r"(?:limit(?: volts?| v)?|max|max volts?|abs ?max|maximum)",
    "sourced_by": r"(?:source|sourced ?by|which side sources|side|driven ?by|dir|direction)",
    "leads_to": r"(?:leads ?to|goes ?to|part|chip|to|component)",
    "path": r"(?:path|through|via|chain)",
    "joins": r"(?:joins?|joined|module joins|common)",
    "part_data": r"(?:data|holds ?data|part ?data|owner s data)",
}
NUMBER = re.compile(r"[A-Za-z]?\d+[A-Za-z]?")


def pin_columns(question: PinColumnsQuestion) -> PinColumns:
    """The proposal for a table. Text that is no table gives one column and no error: reading will tell."""
    lines = [line for line in text_lines(question.text) if line.strip()]
    delimiter = question.delimiter or _delimiter(lines[:HEAD_LINES])
    head = tuple(_cells(line, delimiter) for line in lines[:HEAD_LINES])
    heading = bool(head) and not any(NUMBER.fullmatch(cell) for cell in head[0])
    columns = _from_heading(head[0]) if heading else {}
    if "contact" not in columns:
        columns = _from_cells(head[1:] if heading else head, columns)
    return PinColumns(
        delimiter=delimiter, first_line="heading" if heading else "contact", columns=ColumnMap(**columns),
        head=head, lines=len(lines),
    )


def _delimiter(lines: list[str]) -> Delimiter:
    """What stands in every one of the first lines; a tab before a semicolon before a comma."""
    for name in ("tab", "semicolon", "comma"):
        if lines and all(SEPARATORS[name] in line for line in lines):
            return name
    return "tab"


def _cells(line: str, delimiter: Delimiter) -> tuple[str, ...]:
    try:
        cells = next(csv.reader([line], delimiter=SEPARATORS[delimiter]), [])
    except csv.Error:  # a letter no table has: reading the table says which
        cells = [line]
    return tuple(cell.strip() for cell in cells[:COLUMNS_PROPOSED])


def _from_heading(cells: tuple[str, ...]) -> dict[str, int]:
    columns: dict[str, int] = {}
    for place, cell in enumerate(cells, 1):
        words = " ".join(re.sub(r"[_./()\[\]',:-]+", " ", cell.lower()).split())
        for field in FIELDS:
            if field not in columns and re.fullmatch(HEADINGS[field], words):
                columns[field] = place
                break
    return columns


def _from_cells(lines: tuple[tuple[str, ...], ...], columns: dict[str, int]) -> dict[str, int]:
    """The first column of numbers holds the contacts, the next free one the names."""
    width = min((len(line) for line in lines), default=1)
    free = [place for place in range(1, width + 1) if place not in columns.values()]
    numbers = [place for place in free if all(NUMBER.fullmatch(line[place - 1]) for line in lines)]
    contact = numbers[0] if lines and numbers else next(iter(free), 1)
    found = {**{field: place for field, place in columns.items() if place != contact}, "contact": contact}
    rest = [place for place in free if place != contact]
    if "name" not in found and rest:
        found["name"] = rest[0]
    return found
