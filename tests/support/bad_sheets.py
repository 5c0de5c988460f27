"""The sheet without fault that tests of bad input spoil."""

from shared_models.sheet import BenchSheet
from tests.support.benches import board_of, line, nine_boards, sheet_of, touched

LANES = [str(n) for n in range(2, 8)]
BOARD = board_of([line("1", "ground"), *(line(n, "lane") for n in LANES), line("8", "control")])
MEANS = {"1": 0.5, **dict.fromkeys(LANES, 338.0), "8": 470.0}
READ: dict[str, str | float] = {n: round(at) for n, at in MEANS.items()}


def good() -> BenchSheet:
    """A sheet without fault: nine healthy boards, everything read."""
    return sheet_of(BOARD, touched(READ), known=nine_boards(MEANS))
