"""Each healthy board freed of what its readings have in common, so that one can be laid on another.

A healthy board was read with some meter, at some temperature, and its chips lean their own way; carrying by
the meter's sheet leaves an error that all its readings share. It is fitted against the middle of all boards
(`common_fit`) and taken out, and the middle is taken again. What all the boards together are wrong by cannot
be seen here; it is the session's to find.
"""

import math

from server.engine.accepted_board import Board
from server.engine.common_fit import Point, Prior, fit_common, lean_of, nothing_in_common
from server.engine.constants import (
    CURRENT_SD_SAME_METER,
    DOUBLE_TOUCH_MV,
    OFFSET_SD_MV,
    REFERENCE_DF,
    REFERENCE_FIT_MIN,
    REFERENCE_FIT_ROUNDS,
    REFERENCE_FIT_STEPS,
)
from server.engine.meters import Conditions, slopes
from server.engine.reference_cells import ReferenceCell
from server.engine.roles import leans_with, spreads_of

Cells = dict[tuple[int, str], ReferenceCell]


def without_what_boards_share(board: Board, cells: Cells, to: Conditions) -> tuple[Cells, dict[str, float]]:
    """The cells of red on ground with every board's common error taken out, and how far each group of lines moves
    from board to board beyond the usual (mV). Black stays as carried.
    """
    values: dict[str, dict[int, float]] = {}
    taken_at: dict[str, Conditions] = {}
    for (contact, lead), cell in cells.items():
        if lead != "red" or board.paths[contact] is None:
            continue
        for name, value, at in zip(cell.boards, cell.values, cell.taken_at, strict=True):
            values.setdefault(name, {})[contact] = value
            taken_at[name] = at
    if len(values) < 2:
        return cells, {}
    freed = values
    shifts: list[dict[str, tuple[float, float]]] = []
    for _ in range(REFERENCE_FIT_ROUNDS):
        middle = _middles(freed)
        fits = {name: _freed(board, values[name], middle, taken_at[name], to) for name in sorted(values)}
        freed = {name: one for name, (one, _) in fits.items()}
        shifts = [fits[name][1] for name in sorted(fits)]
    told = dict(cells)
    for (contact, lead), cell in cells.items():
        if lead == "red" and board.paths[contact] is not None:
            told[contact, lead] = cell._replace(values=[freed[name][contact] for name in cell.boards])
    return told, _unrest(shifts)


def _unrest(shifts: list[dict[str, tuple[float, float]]]) -> dict[str, float]:
    """How far each group moves from board to board beyond what meters, air and chips usually do, in mV: makers of
    chips differ, and boards of two makers say so. The usual is worth as many boards as for a contact's own spread.
    """
    told: dict[str, list[tuple[float, float]]] = {}
    for one in shifts:
        for group, shift in one.items():
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


def _freed(
    board: Board, values: dict[int, float], middle: dict[int, float], at: Conditions, to: Conditions
) -> tuple[dict[int, float], dict[str, tuple[float, float]]]:
    """One board's values freed of what they share; how far each group moved, and the variance that is usual."""
    same = at.meter_id == to.meter_id
    current_sd = CURRENT_SD_SAME_METER if same else at.current_sd
    prior = Prior(to.current_ma, to.air_c, current_sd, at.air_sd_k, OFFSET_SD_MV, math.inf)
    points, keys = [], []
    for contact, value in values.items():
        path = board.paths[contact]
        if path is None or value <= DOUBLE_TOUCH_MV:
            continue
        own, common = spreads_of(board.contacts[contact])
        scatter = math.hypot(own, OFFSET_SD_MV)
        points.append(Point(middle[contact], value, scatter, path, leans_with(board.contacts[contact]), common))
        keys.append(contact)
    if len(points) < REFERENCE_FIT_MIN:
        return values, {}
    fit = fit_common(points, prior, [(0.0, 0.0)], REFERENCE_FIT_STEPS)
    freed = dict(values)
    usual = nothing_in_common(prior)
    moved: dict[str, tuple[float, float]] = {}
    for contact, point in zip(keys, points, strict=True):
        per_log, per_k = slopes(point.expected_mv, point.path, to.current_ma, to.air_c)
        shared, _ = lean_of(fit, point.chip, point.chip_mv, per_log, per_k)
        shift = shared + per_log * fit.log_current + per_k * fit.kelvin
        freed[contact] = values[contact] - shift
        if point.chip:
            moved[point.chip] = shift, lean_of(usual, point.chip, point.chip_mv, per_log, per_k)[1]
    return freed, moved
