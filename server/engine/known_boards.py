"""The board and its healthy boards as they were read: what no intake, no shop and no reading of the job changes.

Kept by content: another job on the same board, or a word more at the counter, pays for its stories anew (`prepared`),
but not for carrying the healthy boards' readings to this meter, which is more than half of what a first opinion costs.
"""

from typing import Any, NamedTuple

from server.engine.accept import Notes, Touched, accept_known_good
from server.engine.accepted_board import Board, accept_board
from server.engine.constants.sessions import MEMO_SIZE
from server.engine.doubted_paths import with_paths_that_can_be, without_loops
from server.engine.meters import AboveLimit, above_their_limit
from server.engine.rail_places import known_rail_ohms
from shared_models.reading import Drop, OfReferenceBoard
from shared_models.sheet import BenchSheet


class KnownBoards(NamedTuple):
    """A socket, and the readings of its healthy boards that stand.

    `ohms`: what each rail measured to ground. `read_with`: (meter, healthy board) of every sweep, each once.
    `above_limit`: what their meters cannot have shown. `bands` is a memo that `session.known_bands` fills.
    """

    board: Board
    sweep: list[Touched]
    ohms: dict[str, list[float]]
    notes: Notes
    read_with: list[tuple[str, str]]
    above_limit: dict[str, AboveLimit]
    bands: dict[tuple[Any, ...], Any]


_MEMO: list[tuple[tuple[Any, ...], KnownBoards]] = []


def known_boards(sheet: BenchSheet) -> KnownBoards:
    """Those of a sheet, from the memo or made now. Raises SheetError when there is nothing to judge against."""
    content = _content(sheet)
    for kept, known in _MEMO:
        if kept == content:
            return known
    known = _make(sheet)
    if len(_MEMO) >= MEMO_SIZE:
        del _MEMO[0]
    _MEMO.append((content, known))
    return known


def _content(sheet: BenchSheet) -> tuple[Any, ...]:
    """All that is looked at here; of what was taken back only what is of the healthy boards or corrects the board."""
    removed, taken_back = set(sheet.removed_ids), list[str]()
    if removed:
        taken_back = [one.id for one in (*sheet.known_good_readings, *sheet.corrections) if one.id in removed]
    told = (sheet.board, sheet.socket, sheet.corrections, sheet.meters, sheet.reference_boards)
    return (*told, sheet.known_good_readings, taken_back)


def _make(sheet: BenchSheet) -> KnownBoards:
    board = accept_board(sheet)
    notes = Notes([], [])
    known = accept_known_good(sheet, board, notes)
    board = with_paths_that_can_be(without_loops(board, notes), known.sweep, sheet.meters, notes)
    drops = ((one.reading.meter_id, one.value.drop_mv) for one in known.sweep if isinstance(one.value, Drop))
    read_with = {
        (one.reading.meter_id, one.reading.of.reference_board_id)
        for one in known.sweep
        if isinstance(one.reading.of, OfReferenceBoard)
    }
    return KnownBoards(
        board,
        known.sweep,
        known_rail_ohms(board, known.ohms),
        notes,
        sorted(read_with),
        above_their_limit(sheet.meters, drops),
        {},
    )
