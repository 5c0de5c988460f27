"""How a socket's contacts are numbered: from the counting to the rows as they lie, and back.

Rows are told as seen on the board side the socket stands on, top row first, each from left to right.
A plug seen on its own contacts is that picture mirrored; its numbers are those of the socket contacts
it meets.
"""

from itertools import product
from typing import get_args

from server.engine.errors import SheetError
from shared_models.board import Row
from shared_models.pin_table import ContactNumbering, NumberingOrder, PinOneCorner

LETTERS = "ABCDEFGH"
ROW_NAMES = {1: ("",), 2: ("upper", "lower")}


def rows_of(numbering: ContactNumbering) -> tuple[Row, ...]:
    """The rows as they lie, numbered.

    Raises:
        SheetError: odd and even numbers for other than two rows, or for rows that differ by more than
            the one contact that an odd count leaves over; a number left out that no row has.
    """
    upside_down = numbering.pin_one.startswith("bottom")
    from_right = numbering.pin_one.endswith("right") != numbering.from_other_side
    lengths = numbering.row_lengths[::-1] if upside_down else numbering.row_lengths
    by_parity = numbering.order == "odd_even" and not numbering.lettered
    counted = _odd_even(lengths) if by_parity else _along(numbering, lengths)
    laid = [row[::-1] if from_right else row for row in counted]
    if upside_down:
        laid.reverse()
    _check_left_out(numbering, laid)
    names = ROW_NAMES.get(len(laid)) or tuple(f"row {place + 1}" for place in range(len(laid)))
    return tuple(_row(name, row, numbering.left_out) for name, row in zip(names, laid, strict=True))


def _check_left_out(numbering: ContactNumbering, laid: list[tuple[str, ...]]) -> None:
    numbers = {number for row in laid for number in row}
    stranger = next((number for number in numbering.left_out if number not in numbers), None)
    if stranger is not None or len(set(numbering.left_out)) == len(numbers):
        raise SheetError(
            "left_out_does_not_fit", "what is left out has no place in these rows, or nothing stays",
            where="left_out", given=stranger or "every number", expected="some of the numbers that the rows hold",
            example=laid[0][0],
        )


def _row(name: str, numbers: tuple[str, ...], left_out: tuple[str, ...]) -> Row:
    places = tuple(place for place, number in enumerate(numbers, 1) if number in left_out)
    return Row(name=name, contacts=tuple(number for number in numbers if number not in left_out), left_out=places)


def numbering_of(rows: tuple[Row, ...]) -> ContactNumbering | None:
    """The first numbering, in the order of the choices, that lays exactly these contacts; None if none does."""
    lengths = tuple(len(row.contacts) for row in rows)
    if not lengths or not all(lengths) or len(lengths) > len(LETTERS):
        return None
    wanted = [row.contacts for row in rows]
    for lettered, order, pin_one in product((False, True), get_args(NumberingOrder), get_args(PinOneCorner)):
        numbering = ContactNumbering(row_lengths=lengths, order=order, pin_one=pin_one, lettered=lettered)
        try:
            laid = rows_of(numbering)
        except SheetError:
            continue
        if [row.contacts for row in laid] == wanted and not any(row.left_out for row in rows):
            return numbering
    return None


def mirrored(rows: tuple[Row, ...]) -> tuple[Row, ...]:
    """The plug's rows as one looks at its contacts: left and right change places. Its own inverse."""
    return tuple(
        Row(name=row.name, contacts=row.contacts[::-1], left_out=tuple(_mirrored_places(row))) for row in rows
    )


def _mirrored_places(row: Row) -> list[int]:
    return sorted(len(row.contacts) + len(row.left_out) + 1 - place for place in row.left_out)


def _along(numbering: ContactNumbering, lengths: tuple[int, ...]) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    before = 0
    for place, length in enumerate(lengths):
        start = 0 if numbering.lettered else before
        letter = LETTERS[place] if numbering.lettered else ""
        row = tuple(f"{letter}{start + column + 1}" for column in range(length))
        turns_back = numbering.order == "along_then_back" and place % 2 == 1
        rows.append(row[::-1] if turns_back else row)
        before += length
    return rows


def _odd_even(lengths: tuple[int, ...]) -> list[tuple[str, ...]]:
    if len(lengths) != 2 or lengths[0] - lengths[1] not in (0, 1):
        raise SheetError(
            "rows_do_not_fit", "odd and even numbers cannot be put into these rows", where="row_lengths",
            given=" and ".join(str(length) for length in lengths),
            expected="two rows, equal, or the one with contact 1 longer by one", example="10 and 9",
        )
    odd, even = lengths
    return [
        tuple(str(2 * column + 1) for column in range(odd)),
        tuple(str(2 * column + 2) for column in range(even)),
    ]
