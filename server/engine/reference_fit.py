"""Each healthy board freed of what its readings have in common, so that one can be laid on another.

A healthy board was read with some meter, at some temperature, and its chips lean their own way; carrying by
the meter's sheet leaves an error that all its readings share. It is fitted against the middle of all boards
(`common_fit`) and taken out, and the middle is taken again. What all the boards together are wrong by cannot
be seen here; it is the session's to find.
"""

import math
from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.common_fit import CommonFit, Point, fit_again, fit_common, lean_of, nothing_in_common
from server.engine.constants.readings import DOUBLE_TOUCH_MV, REFERENCE_DF
from server.engine.constants.sessions import (
    CURRENT_SD_SAME_METER,
    OFFSET_SD_MV,
    REFERENCE_FIT_AGAIN,
    REFERENCE_FIT_MIN,
    REFERENCE_FIT_ROUNDS,
    REFERENCE_FIT_STEPS,
)
from server.engine.fit_arrow import Prior
from server.engine.meters import Conditions, slopes
from server.engine.reference_cells import ReferenceCell
from server.engine.roles import lean_parts, leans_with, spreads_of
from server.engine.straighten import Line

Cells = dict[tuple[int, str], ReferenceCell]


class Freed(NamedTuple):
    """Red on ground, by contact and lead: `cells` freed of all that each board's readings share, `of_conditions` of
    what meter and air did to it alone; `unrest`: how far each group of lines moves from board to board beyond the
    usual (mV). `fits`: each board's. Black stays as carried.
    """

    cells: Cells
    of_conditions: Cells
    unrest: dict[str, float]
    fits: dict[str, CommonFit]


def without_what_boards_share(
    board: Board, cells: Cells, lines: dict[int, Line], to: Conditions, before: dict[str, CommonFit]
) -> Freed:
    """Each board fitted against the middle of all, as its lines read on one current; `before`: the boards' fits as
    they stood when their lines were straightened less well, if they were fitted.
    """
    values: dict[str, dict[int, float]] = {}
    taken_at: dict[str, Conditions] = {}
    for contact, line in lines.items():
        cell = cells[contact, "red"]
        for name, value, at in zip(cell.boards, line.values, cell.taken_at, strict=True):
            values.setdefault(name, {})[contact] = value
            taken_at[name] = at
    if len(values) < 2:
        return Freed(cells, cells, {}, {})
    fits: dict[str, _Moved] = {}
    stood = before
    freed = values
    for _ in range(REFERENCE_FIT_ROUNDS):
        middle = _middles(freed)
        fits = {
            name: _fitted(board, values[name], middle, lines, (taken_at[name], to), stood.get(name))
            for name in sorted(values)
        }
        stood = {name: one.fit for name, one in fits.items() if one.fit is not None}
        freed = {
            name: {contact: value - fits[name].whole.get(contact, 0.0) for contact, value in one.items()}
            for name, one in values.items()
        }
    whole, conditions = dict(cells), dict(cells)
    for contact in lines:
        cell = cells[contact, "red"]
        both = list(zip(cell.boards, cell.values, strict=True))
        whole[contact, "red"] = cell._replace(
            values=[value - fits[name].whole.get(contact, 0.0) for name, value in both]
        )
        conditions[contact, "red"] = cell._replace(
            values=[value - fits[name].conditions.get(contact, 0.0) for name, value in both]
        )
    return Freed(whole, conditions, _unrest([fits[name].groups for name in sorted(fits)]), stood)


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


class _Moved(NamedTuple):
    """How one board's readings moved together: at each contact in all, and by meter and air alone; and each group,
    with the variance that is usual. `fit` None: too little was read.
    """

    whole: dict[int, float]
    conditions: dict[int, float]
    groups: dict[str, tuple[float, float]]
    fit: CommonFit | None


def _fitted(
    board: Board,
    values: dict[int, float],
    middle: dict[int, float],
    lines: dict[int, Line],
    taken: tuple[Conditions, Conditions],
    before: CommonFit | None,
) -> _Moved:
    at, to = taken
    same = at.meter_id == to.meter_id
    current_sd = CURRENT_SD_SAME_METER if same else at.current_sd
    prior = Prior(to.current_ma, to.air_c, current_sd, at.air_sd_k, OFFSET_SD_MV, math.inf)
    points, keys = [], []
    for contact, value in values.items():
        if value <= DOUBLE_TOUCH_MV:
            continue
        own, common = spreads_of(board.contacts[contact])
        scatter = math.hypot(own, OFFSET_SD_MV)
        group = leans_with(board.contacts[contact])
        leans = lean_parts(board.contacts[contact], common)
        points.append(Point(middle[contact], value, scatter, lines[contact].path, group, *leans))
        keys.append(contact)
    if len(points) < REFERENCE_FIT_MIN:
        return _Moved({}, {}, {}, None)
    fit = (
        fit_common(points, prior, [(0.0, 0.0)], REFERENCE_FIT_STEPS)
        if before is None
        else fit_again(points, prior, before, REFERENCE_FIT_AGAIN)
    )
    told = _Moved({}, {}, {}, fit)
    usual = nothing_in_common(prior)
    for contact, point in zip(keys, points, strict=True):
        per_log, per_k = slopes(point.expected_mv, point.path, to.current_ma, to.air_c)
        shared, _ = lean_of(fit, point.chip, point.chip_mv, point.die_mv, per_log, per_k)
        by_conditions = per_log * fit.log_current + per_k * fit.kelvin
        told.conditions[contact] = by_conditions + fit.offset_mv
        told.whole[contact] = by_conditions + shared
        if point.chip:
            told.groups[point.chip] = (
                by_conditions + shared,
                lean_of(usual, point.chip, point.chip_mv, point.die_mv, per_log, per_k)[1],
            )
    return told
