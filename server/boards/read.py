"""Bytes in, board file out: the format is found, the text decoded, the reader called.

`told` is called now and then with how many of the bytes are read, so that a large file shows progress.
"""

from collections.abc import Callable

from server.boards.board_file import BoardFile, refused
from server.boards.find_format import format_of
from server.boards.ipc356 import read_ipc356
from server.boards.ipc2581 import read_ipc2581
from server.boards.kicad import read_kicad
from server.boards.pin_list import PinColumnNames, read_pin_list

Told = Callable[[int], None]


def nobody(_read: int) -> None:
    """Where nobody wants to know."""


def read_board(raw: bytes, columns: PinColumnNames | None = None, told: Told = nobody) -> BoardFile:
    """The board in a file of any format that is read here. `columns` are for a list of pins alone.

    Raises:
        Refusal: 422 or 413, with what the file is, where it broke and what would work.
    """
    kind = format_of(raw)
    if kind == "kicad":
        return read_kicad(_text(raw), told)
    if kind == "ipc356":
        # letters beyond ASCII stand in comments alone; every byte is one of this encoding
        return read_ipc356(raw.decode("latin-1"))
    if kind == "ipc2581":
        return read_ipc2581(raw, told)
    if columns is None:
        raise refused(
            "columns_unsaid", "A list of pins does not say which column is which, so it has to be told.",
            where="the columns", given="none", expected="ref, pin and net, each with a heading or a number from 1",
            example="ref=1,pin=2,net=3",
        )
    return read_pin_list(_text(raw), columns)


def _text(raw: bytes) -> str:
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise refused(
            "not_utf8", "The text is not UTF-8: it was saved in another encoding, or is damaged.",
            where=f"line {line}, byte {error.start}", given=raw[error.start : error.start + 1].hex(), expected="UTF-8",
            example="save it again from the layout program",
        ) from error
