"""When to stop: the trade's list, and which of its lines this job's record already shows. Also runs on the phone."""

from typing import Literal

from server.engine.accepted_board import Board
from server.engine.bench_time import worked_minutes
from server.engine.inference import Judged
from server.engine.mends import shorted_inside
from server.engine.roles import chip_of
from shared_models.chances import Options, StopLine
from shared_models.decision_tables import LIFTS_FAILED_MAX, STOP_LINES, StopRow
from shared_models.job import Observation
from shared_models.opinion import NextTouch, Stop
from shared_models.sheet import BenchSheet

State = Literal["holds", "does_not_hold", "look"]
NOTHING_LEFT = ("not_worth_its_time", "nothing_left")
HEATS_OR_POWERS = ("torch", "draw", "heat", "millivolts", "lift_and_read", "known_good_module")


def stop_list(
    sheet: BenchSheet, judged: Judged, options: Options, coming: tuple[NextTouch, ...], done: Stop | None, *, lows: bool
) -> tuple[StopLine, ...]:
    """Every line of the list with its state.

    `coming`: the next touches; `done`: why none is worth its time; `lows`: a low line is not explained.
    """
    gentle = done is not None and done.code not in NOTHING_LEFT
    if done is None:
        gentle = any(touch.action not in HEATS_OR_POWERS for touch in coming)
    seen = list(judged.observations)
    told = {
        "charred": lambda row: _noted(row, seen, ("charred",), ("burnt", "look whether the board is")),
        "corroded_under_chip": lambda row: _corroded(row, seen, judged.prepared.board),
        "short_in_data_chip": lambda row: _shorted(row, judged),
        "third_failed_lift": lambda row: _lifts(row, seen),
        "minutes_above_limit": lambda row: _minutes(row, sheet),
        "data_and_only_heat_or_power": lambda row: _data(row, sheet, options, gentle=gentle, lows=lows),
        "cell_swollen": lambda row: _noted(row, seen, ("cell_swollen",), None),
    }
    return tuple(told[row.id](row) for row in STOP_LINES)


def _say(row: StopRow, state: State, sentence: str, contacts: tuple[str, ...] = ()) -> StopLine:
    return StopLine(id=row.id, title=row.title, state=state, sentence=sentence, contacts=contacts)


def _noted(row: StopRow, seen: list[Observation], kinds: tuple[str, ...], hint: tuple[str, str] | None) -> StopLine:
    noted = [one for one in seen if one.seen in kinds]
    if noted:
        contacts = tuple(sorted({number for one in noted for number in one.contacts}))
        return _say(row, "holds", "Noted on this job.", contacts)
    hinted = [one for one in seen if hint is not None and one.seen == hint[0]]
    if hinted and hint is not None:
        contacts = tuple(sorted({number for one in hinted for number in one.contacts}))
        at = f" at {', '.join(contacts)}" if contacts else ""
        return _say(row, "look", f"Seen {hint[0]}{at}: {hint[1]}. {row.look}", contacts)
    return _say(row, "look", row.look)


def _corroded(row: StopRow, seen: list[Observation], board: Board) -> StopLine:
    """Wet noted at a chip that holds or guards the data counts as the line itself."""
    at_chip = [one for one in seen if one.seen == "wet" and one.part is not None and _data_part(board, one.part)]
    if at_chip:
        return _say(row, "holds", f"Wet or corroded noted at {at_chip[-1].part}.")
    return _noted(row, seen, ("corroded_under_chip",), ("wet", "look how far it creeps"))


def _data_part(board: Board, ref: str) -> bool:
    part = board.parts.get(ref)
    return part is not None and (part.holds_data or part.guards_data)


def _shorted(row: StopRow, judged: Judged) -> StopLine:
    board = judged.prepared.board
    lines = [index for index, contact in enumerate(board.contacts) if _data_part(board, chip_of(contact) or "")]
    inside = tuple(board.contacts[index].number for index in lines if shorted_inside(judged, index))
    if inside:
        return _say(row, "holds", f"{', '.join(inside)}: still short on the chip's side of the part in line.", inside)
    read = [index for index in lines if (index, "red") in judged.seen]
    if lines and len(read) == len(lines):
        return _say(row, "does_not_hold", "As far as this socket shows: none of its lines is short behind its part.")
    return _say(row, "look", row.look)


def _lifts(row: StopRow, seen: list[Observation]) -> StopLine:
    failed = len([one for one in seen if one.seen == "lift_failed"])
    if failed >= LIFTS_FAILED_MAX:
        return _say(row, "holds", f"{failed} noted on this job.")
    return _say(row, "look", f"{failed} noted so far. {row.look}" if failed else row.look)


def _minutes(row: StopRow, sheet: BenchSheet) -> StopLine:
    worked = worked_minutes(sheet)
    if sheet.limit_work_min is None:
        return _say(row, "look", f"About {worked:.0f} min by the record's times. No limit was agreed. {row.look}")
    state: State = "holds" if worked > sheet.limit_work_min else "does_not_hold"
    return _say(row, state, f"About {worked:.0f} min by the record's times, {sheet.limit_work_min:.0f} agreed.")


def _data(row: StopRow, sheet: BenchSheet, options: Options, *, gentle: bool, lows: bool) -> StopLine:
    """No touch is left that neither heats nor powers, and no way that helps can be undone without doing so."""
    if sheet.intake.data_matters == "no":
        return _say(row, "does_not_hold", "The owner said that data do not matter.")
    easy = any(way.helps and way.kind == "reseat_or_clean" for way in options.ways)
    if gentle or easy:
        return _say(row, "does_not_hold", "There is still something that neither heats nor powers the board.")
    if lows or any(way.helps and way.undone != "yes" for way in options.ways):
        return _say(row, "holds", f"What is left heats or powers the board. {row.look}")
    return _say(row, "look", row.look)
