"""What every reader gives: parts with their pads, each pad with its net, and what the file does not hold.

Decides: the one shape that KiCad, IPC-D-356, IPC-2581 and pin lists end in. Names and numbers are text as
the file has them; lengths are millimetres on the board seen from its top, x to the right and y downwards.
Leaves to others: what a net is once parts join it (`nets`), and what a part is (`part_kinds`).
"""

from typing import Literal, NamedTuple

from server.problems import Refusal
from shared_models.change import Problem
from shared_models.tables import BOARD_FILE_MAX_BYTES

BoardSide = Literal["top", "bottom", "both"]

LARGEST_BYTES = BOARD_FILE_MAX_BYTES

LARGEST_NAME = 400
"""Characters of a name, a number or a value; more is no name."""


class FilePad(NamedTuple):
    """One pad. `net` None: on no net. `u_mm`, `v_mm`: in the part's own frame, where rows lie straight.

    Positions are None where the format does not hold them. `width_mm` and `height_mm` are 0 if unknown.
    """

    number: str
    net: str | None
    function: str = ""
    x_mm: float | None = None
    y_mm: float | None = None
    u_mm: float | None = None
    v_mm: float | None = None
    side: BoardSide | None = None
    width_mm: float = 0.0
    height_mm: float = 0.0


class FilePart(NamedTuple):
    """One part as the file has it; `ref` may be empty or stand twice. `not_fitted` says why, or is empty.

    `joined`: groups of pad numbers that are copper of one piece inside the part (net tie, closed jumper).
    """

    ref: str
    value: str = ""
    footprint: str = ""
    side: BoardSide | None = None
    not_fitted: str = ""
    pads: tuple[FilePad, ...] = ()
    joined: tuple[tuple[str, ...], ...] = ()


class BoardFile(NamedTuple):
    """A board as read. `outline` are lines of its edge, each x, y, x, y, ... in millimetres.

    `notes` are sentences a person should see: what was ambiguous, what the format does not hold. `names_cut`: the
    format keeps only the first letters of a part's name.
    """

    format: str
    parts: tuple[FilePart, ...]
    outline: tuple[tuple[float, ...], ...] = ()
    notes: tuple[str, ...] = ()
    names_cut: bool = False


def refused(code: str, message: str, *, where: str, given: str, expected: str, example: str) -> Refusal:
    """The refusal of a file that cannot be read, in the one shape: 422."""
    return Refusal(422, Problem(
        code=code, message=message, where=where, given=given[:LARGEST_NAME], expected=expected, example=example,
    ))


def place_in(text: str, offset: int) -> str:
    """Where an offset lies in a text, as people count: `line 12, column 5`."""
    line = text.count("\n", 0, offset) + 1
    return f"line {line}, column {offset - (text.rfind(chr(10), 0, offset) + 1) + 1}"
