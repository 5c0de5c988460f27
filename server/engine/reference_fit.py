"""Each healthy board freed of what its readings have in common, so that one can be laid on another.

A healthy board was read with some meter, at some temperature, and its chips lean their own way; carrying by
the meter's sheet leaves an error that all its readings share. It is fitted against the middle of all boards
(`common_fit`) and taken out, and the middle is taken again. What all the boards together are wrong by cannot
be seen here; it is the session's to find.
"""

import math
from itertools import islice
from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.common_fit import (
    Frame,
    Point,
    Settled,
    at_rest,
    fit_common,
    framed,
    lean_of,
    nothing_in_common,
    row_of,
    settled,
)
from server.engine.constants.readings import DOUBLE_TOUCH_MV, REFERENCE_DF
from server.engine.constants.sessions import (
    CURRENT_SD_SAME_METER,
    OFFSET_SD_MV,
    REFERENCE_FIT_AGAIN,
    REFERENCE_FIT_MIN,
    REFERENCE_FIT_ROUNDS,
    REFERENCE_FIT_STEPS,
)
from server.engine.fit_arrow import Laid, Prior, Row
from server.engine.meters import Conditions, slopes
from server.engine.reference_cells import ReferenceCell
from server.engine.roles import Path, lean_parts, leans_with, spreads_of
from server.engine.straighten import Line
from shared_models.board import Contact

Cells = dict[tuple[int, str], ReferenceCell]


class Moved(NamedTuple):
    """How one board's readings, red on ground, moved together: at each contact in all, and by meter and air alone.

    `fit` None: too little was read; else where it came to rest, with the middles it was laid against and its prior.
    """

    whole: dict[int, float]
    conditions: dict[int, float]
    fit: Settled | None
    middles: list["_Middle"]
    prior: Prior


class _OfBoard(NamedTuple):
    """One board's readings as its lines read on one current, by contact; how the contacts that give a junction's
    number lie in its fit, and which stands at each place.
    """

    values: dict[int, float]
    at: Conditions
    frame: Frame
    contacts: list[int]


class Lying(NamedTuple):
    """What stays the same however often the boards of a socket are fitted: how its contacts stray, and how those that
    were read on a board lie in its fit, which is found when it is first asked for.
    """

    strays: dict[int, "_Stray"]
    frames: dict[tuple[int, ...], tuple[Frame, list[int]]]

    def of(self, contacts: tuple[int, ...]) -> tuple[Frame, list[int]]:
        """Their frame, and which contact stands at each place."""
        if contacts not in self.frames:
            frame = framed([self.strays[contact].leans for contact in contacts])
            self.frames[contacts] = frame, [contacts[place] for place in frame.order]
        return self.frames[contacts]


def lying(board: Board) -> Lying:
    """Before any board of a socket is fitted."""
    return Lying({contact: _stray(one) for contact, one in enumerate(board.contacts)}, {})


def what_boards_share(
    lie: Lying, cells: Cells, lines: dict[int, Line], to: Conditions, before: dict[str, Moved]
) -> dict[str, Moved]:
    """Each board fitted against the middle of all, as its lines read on one current; `before`: the same as it stood
    when the lines were straightened less well, if it was fitted. Nothing from fewer than two boards.
    """
    boards = _boards(lie, cells, lines)
    if len(boards) < 2:
        return {}
    moved, freed = before, {name: one.values for name, one in boards.items()}
    for rounds in range(REFERENCE_FIT_ROUNDS):
        if rounds:
            freed = {name: _less(one.values, moved[name].whole) for name, one in boards.items()}
        middle = {
            contact: _middle(value, lines[contact].path, lie.strays[contact], to)
            for contact, value in _middles(freed).items()
        }
        moved = {name: _fitted(boards[name], middle, to, moved.get(name)) for name in sorted(boards)}
    return moved


def _boards(lie: Lying, cells: Cells, lines: dict[int, Line]) -> dict[str, _OfBoard]:
    values: dict[str, dict[int, float]] = {}
    taken_at: dict[str, Conditions] = {}
    for contact, line in lines.items():
        cell = cells[contact, "red"]
        for name, value, at in zip(cell.boards, line.values, cell.taken_at, strict=True):
            values.setdefault(name, {})[contact] = value
            taken_at[name] = at
    boards = {}
    for name, of_board in values.items():
        read = tuple([contact for contact, value in of_board.items() if value > DOUBLE_TOUCH_MV])
        boards[name] = _OfBoard(of_board, taken_at[name], *lie.of(read))
    return boards


def _less(values: dict[int, float], shifts: dict[int, float]) -> dict[int, float]:
    return {contact: value - shifts.get(contact, 0.0) for contact, value in values.items()}


def freed_of_conditions(cells: Cells, moved: dict[str, Moved]) -> Cells:
    """Red on ground freed of what meter and air did to each board alone. Black stays as carried."""
    return _freed(cells, {name: one.conditions for name, one in moved.items()})


def freed_of_all(cells: Cells, moved: dict[str, Moved]) -> Cells:
    """Red on ground freed of all that each board's readings share. Black stays as carried."""
    return _freed(cells, {name: one.whole for name, one in moved.items()})


def _freed(cells: Cells, shifts: dict[str, dict[int, float]]) -> Cells:
    if not shifts:
        return cells
    told = dict(cells)
    for (contact, lead), cell in cells.items():
        if lead == "red" and cell.values:
            pairs = zip(cell.boards, cell.values, strict=True)
            values = [value - shifts[name].get(contact, 0.0) if name in shifts else value for name, value in pairs]
            told[contact, lead] = cell._replace(values=values)
    return told


def unrest_of(moved: dict[str, Moved]) -> dict[str, float]:
    """How far each group moves from board to board beyond what meters, air and chips usually do, in mV: makers of
    chips differ, and boards of two makers say so. The usual is worth as many boards as for a contact's own spread.
    """
    told: dict[str, list[tuple[float, float]]] = {}
    for name in sorted(moved):
        for group, shift in _group_moves(moved[name]).items():
            told.setdefault(group, []).append(shift)
    extra = {}
    for group, values in told.items():
        usual = math.fsum(variance for _, variance in values) / len(values)
        squares = math.fsum(moved * moved for moved, _ in values)
        seen = (REFERENCE_DF * usual + squares) / (REFERENCE_DF + len(values) - 1)
        extra[group] = math.sqrt(max(0.0, seen - usual))
    return extra


def _middles(boards: dict[str, dict[int, float]]) -> dict[int, float]:
    """The median over boards from three up, else the mean."""
    by_contact: dict[int, list[float]] = {}
    for name in sorted(boards):
        for contact, value in boards[name].items():
            by_contact.setdefault(contact, []).append(value)
    middles = {}
    for contact, values in by_contact.items():
        values.sort()
        half = len(values) // 2
        odd_count = len(values) % 2
        middles[contact] = values[half] if odd_count else 0.5 * (values[half - 1] + values[half])
    return middles


class _Stray(NamedTuple):
    """How a contact strays from board to board: its own scatter (mV), and what it leans with, as a `Point` has it: its
    group, and how far one deviation of that and of its chip moves it.
    """

    scale_mv: float
    leans: tuple[str, float, float]


def _stray(contact: Contact) -> _Stray:
    own, common = spreads_of(contact)
    return _Stray(math.hypot(own, OFFSET_SD_MV), (leans_with(contact), *lean_parts(contact, common)))


class _Middle(NamedTuple):
    """What a contact reads on the middle of all boards (mV) through its path, and as the steps of a fit take it; how
    that moves with the logarithm of the current and with each kelvin, mV; and how it strays.
    """

    value_mv: float
    path: Path
    row: Row
    per_log: float
    per_k: float
    stray: _Stray


def _middle(value_mv: float, path: Path, stray: _Stray, to: Conditions) -> _Middle:
    row = row_of(value_mv, path, stray.scale_mv, to.current_ma)
    return _Middle(value_mv, path, row, *slopes(value_mv, path, to.current_ma, to.air_c), stray)


def _fitted(one: _OfBoard, middles: dict[int, _Middle], to: Conditions, before: Moved | None) -> Moved:
    values, at, frame, contacts = one
    current_sd = CURRENT_SD_SAME_METER if at.meter_id == to.meter_id else at.current_sd
    prior = Prior(to.current_ma, to.air_c, current_sd, at.air_sd_k, OFFSET_SD_MV, math.inf)
    if len(contacts) < REFERENCE_FIT_MIN:
        return Moved({}, {}, None, [], prior)
    beside = [middles[contact] for contact in contacts]
    reads = [values[contact] for contact in contacts]
    if before is None or before.fit is None:
        points = [
            Point(middle.value_mv, read, middle.stray.scale_mv, middle.path, *middle.stray.leans)
            for middle, read in zip(beside, reads, strict=True)
        ]
        fit = at_rest(fit_common(points, prior, [(0.0, 0.0)], REFERENCE_FIT_STEPS), frame.names)
    else:
        laid = Laid(frame.bundles, frame.names, [middle.row for middle in beside], reads)
        fit = settled(laid, prior, before.fit, REFERENCE_FIT_AGAIN)
    told = Moved({}, {}, fit, beside, prior)
    log_current, kelvin, offset_mv = fit.now.log_current, fit.now.kelvin, fit.now.offset_mv
    places = iter(zip(contacts, beside, strict=True))
    for alike in frame.bundles:
        leaning = offset_mv + fit.now.lean_mv(alike)
        for contact, (_, _, _, per_log, per_k, _) in islice(places, alike.members):
            by_conditions = per_log * log_current + per_k * kelvin
            told.conditions[contact] = by_conditions + offset_mv
            told.whole[contact] = by_conditions + leaning
    return told


def _group_moves(moved: Moved) -> dict[str, tuple[float, float]]:
    """How far each group moved in all, by one of its contacts, with the variance that is usual there."""
    told: dict[str, tuple[float, float]] = {}
    if moved.fit is None:
        return told
    last: dict[str, int] = {}
    middles = dict(zip(moved.whole, moved.middles, strict=True))
    for contact, middle in middles.items():
        group = middle.stray.leans[0]
        if group:
            last[group] = max(contact, last.get(group, contact))
    usual = nothing_in_common(moved.prior)
    for group, contact in last.items():
        _, _, _, per_log, per_k, stray = middles[contact]
        told[group] = moved.whole[contact], lean_of(usual, *stray.leans, per_log, per_k)[1]
    return told
