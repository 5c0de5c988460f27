"""A list of pins as CSV: part, pin, net, and perhaps what the pin is for; which column is which is said, not guessed.

Decides: how a column is named (its heading, or its number from 1) and that the list is taken whole or not at
all. Not held by this format: values, places, what is fitted.
"""

import csv
from collections import defaultdict
from typing import NamedTuple

from server.boards.board_file import LARGEST_NAME, BoardFile, FilePad, FilePart, refused
from server.problems import Refusal

COLUMNS = ("ref", "pin", "net", "function")
EXAMPLE = "ref=1,pin=2,net=3"


class PinColumnNames(NamedTuple):
    """Each column's heading or its number from 1. `ref` None: all lines are of the part `only_ref`."""

    pin: str
    net: str
    ref: str | None = None
    function: str | None = None
    only_ref: str = ""


def columns_from(text: str) -> PinColumnNames:
    """The columns out of `ref=1,pin=Pin Name,net=3`; `part=J1` instead of `ref` where the list is of one part.

    Raises:
        Refusal: 422 where a name is unknown, or pin or net is missing.
    """
    told: dict[str, str] = {}
    for piece in text.split(","):
        name, _, where = piece.partition("=")
        name, where = name.strip(), where.strip()
        if name not in (*COLUMNS, "part") or not where or name in told:
            raise _unsaid(piece.strip() or "nothing")
        told[name] = where
    if "pin" not in told or "net" not in told or ("ref" in told) == ("part" in told):
        raise _unsaid(text)
    return PinColumnNames(told["pin"], told["net"], told.get("ref"), told.get("function"), told.get("part", ""))


def _unsaid(given: str) -> Refusal:
    return refused(
        "columns_unsaid", "A list of pins does not say which column is which, so it has to be told.",
        where="the columns",
        given=given, expected="ref (or part=J1 for a list of one part), pin, net, and perhaps function, each with a "
        "heading or a number from 1", example=EXAMPLE,
    )


def read_pin_list(text: str, names: PinColumnNames) -> BoardFile:
    """The parts in a CSV text.

    Raises:
        Refusal: 422 with the line: a column that is not there, a pin without a number, a pin on two nets.
    """
    lines = text.removeprefix("\ufeff").splitlines(keepends=True)
    separator = max(",;\t", key=(lines[0] if lines else "").count)
    reader = csv.reader(lines, delimiter=separator, strict=True)
    rows: list[tuple[int, list[str]]] = []
    try:
        rows = [(reader.line_num, [cell.strip() for cell in row]) for row in reader if "".join(row).strip()]
    except csv.Error as error:
        raise refused(
            "broken_line", "A quotation mark is not closed, or something follows it.", where=f"line {reader.line_num}",
            given=str(error), expected="a cell in quotation marks ends with one", example='J1,1,"GND"',
        ) from error
    if not rows:
        raise refused(
            "no_lines", "There is nothing in the list.", where="the whole file", given="no text",
            expected="a line for each pin", example="J1,1,GND",
        )
    head = rows[0][1]
    places = {name: _column(told, name, head) for name in COLUMNS if (told := getattr(names, name)) is not None}
    by_heading = any(not str(getattr(names, name)).isdigit() for name in places)
    pins: dict[str, dict[str, FilePad]] = defaultdict(dict)
    for line, cells in rows[1:] if by_heading else rows:
        ref, pad = _read(line, cells, places, names.only_ref)
        before = pins[ref].setdefault(pad.number, pad)
        if before.net != pad.net:
            raise refused(
                "pin_on_two_nets", f"Pin {pad.number} of {ref} stands on two nets.", where=f"line {line}",
                given=f"{before.net or 'no net'}, then {pad.net or 'no net'}", expected="each pin on one net",
                example="J1,1,GND",
            )
    parts = tuple(FilePart(ref, pads=tuple(of.values())) for ref, of in pins.items())
    return BoardFile("pin list", parts, (), ("A pin list holds no values, no places and nothing of what is fitted.",))


def _column(told: str, name: str, head: list[str]) -> int:
    place = int(told) - 1 if told.isdigit() else next((n for n, cell in enumerate(head) if cell == told), -1)
    if 0 <= place < len(head):
        return place
    raise refused(
        "no_such_column", f"The list has no such column for {name}.", where="line 1", given=told,
        expected=f"a number from 1 to {len(head)}, or one of {', '.join(head)}", example=EXAMPLE,
    )


def _read(line: int, cells: list[str], places: dict[str, int], only_ref: str) -> tuple[str, FilePad]:
    if max(places.values()) >= len(cells):
        raise refused(
            "unequal_line", "The line has fewer columns than were named.", where=f"line {line}",
            given=f"{len(cells)} columns",
            expected=f"at least {max(places.values()) + 1}", example="J1,1,GND",
        )
    told = {name: cells[place][:LARGEST_NAME] for name, place in places.items()}
    ref = told.get("ref", only_ref)
    if not ref or not told["pin"]:
        raise refused(
            "missing_number", "A line names no part or no pin.", where=f"line {line}", given=", ".join(cells)[:120],
            expected="a part and a pin in every line", example="J1,1,GND",
        )
    net = None if told["net"].upper() in ("", "N/C") else told["net"]
    return ref, FilePad(told["pin"], net, told.get("function", ""))
