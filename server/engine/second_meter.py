"""One contact read with two meters, or with two ranges of one: what belongs to the sweep and what looks twice.

A session has one meter, the one used most. A contact read only with another is carried to it and stands in the
sweep, less surely. A contact read with both says something of its own (`second_current`): how the two meters
differ is fitted from all contacts that were read with both, each left out of the fit that judges it.
"""

import math
from typing import NamedTuple

from server.engine.accept import Facts, Touched
from server.engine.accepted_board import Board
from server.engine.bands import Healthy, carry_sd
from server.engine.common_fit import CommonFit, Point, fit_common, lean_of
from server.engine.constants.circuit import LINE_MV
from server.engine.constants.readings import DOUBLE_TOUCH_MV, LEAD_NOISE_OHM, NOISE_MV
from server.engine.constants.sessions import (
    AIR_SD_SAME_BOARD_K,
    CURRENT_RATIO_LEAST,
    FEW_CONTACTS,
    IDEALITY,
    IDEALITY_SD,
    KELVIN,
    OFFSET_SD_MV,
    SELF_SHARE_LEFT,
    SESSION_STEPS,
    VT_MV_PER_K,
)
from server.engine.faulted import View
from server.engine.fit_arrow import Prior
from server.engine.meters import Conditions, carry, conditions_of, log_current_sd, slopes, starts_of
from server.engine.prepared import Prepared
from server.engine.roles import Path, leans_with, path_under
from server.engine.second_current import Second
from server.engine.seen import Seen
from shared_models.reading import Drop, LeadOnGround, Meter

Key = tuple[int, str]


class Sweep(NamedTuple):
    """The facts as one meter's sweep, and the touches that look at a contact a second time with another meter.

    `carried_sd`: of each (written contact, lead) read with another meter only, what carrying it adds, in mV.
    """

    facts: Facts
    again: list[Touched]
    carried_sd: dict[Key, float]


def one_meters_sweep(facts: Facts, board: Board, at: Conditions, meters: dict[str, Meter]) -> Sweep:
    """The readings of the session's meter, the others carried to it or kept as second looks."""
    if all(touched.reading.meter_id == at.meter_id for touched in facts.sweep):
        return Sweep(facts, [], {})
    mine = [touched for touched in facts.sweep if touched.reading.meter_id == at.meter_id]
    own = {_key(board, touched) for touched in mine}
    numbers = {_key(board, touched) for touched in mine if isinstance(touched.value, Drop)}
    sweep, again = [], []
    carried: dict[Key, float] = {}
    for touched in facts.sweep:
        key = _key(board, touched)
        there = conditions_of(touched.reading.meter_id, meters.get(touched.reading.meter_id), touched.air_c)
        if touched.reading.meter_id == at.meter_id:
            sweep.append(touched)
        elif key not in own:
            path = path_under(board.contacts[key[0]], key[1], board.parts, board.grounds)
            sweep.append(_carried(touched, path, there, at))
            carried[key] = _carried_sd(path, there, at)
        elif abs(math.log(there.current_ma / at.current_ma)) < CURRENT_RATIO_LEAST or (
            key not in numbers and isinstance(touched.value, Drop)
        ):
            # as good as the same current, or OL until now: nothing to compare with, a touch like any other
            path = path_under(board.contacts[key[0]], key[1], board.parts, board.grounds)
            sweep.append(_carried(touched, path, there, at))
        else:
            again.append(touched)
    return Sweep(facts._replace(sweep=sweep), again, carried)


def _key(board: Board, touched: Touched) -> tuple[int, LeadOnGround]:
    return board.places[getattr(touched.reading.touch, "contact", "")], touched.reading.lead_on_ground or "red"


def _carried(touched: Touched, path: Path | None, there: Conditions, at: Conditions) -> Touched:
    if path is None or not isinstance(touched.value, Drop) or touched.value.drop_mv <= DOUBLE_TOUCH_MV:
        return touched
    drop_mv = carry(touched.value.drop_mv, path, there.current_ma, at.air_c, at.current_ma, at.air_c)
    return touched._replace(value=Drop(drop_mv=drop_mv))


def _carried_sd(path: Path | None, there: Conditions, at: Conditions) -> float:
    if path is None:
        return 0.0
    per_log, _ = slopes(LINE_MV + path.series_ohm * at.current_ma, path, at.current_ma, at.air_c)
    doubt = carry_sd(path, math.log(at.current_ma / there.current_ma), at.current_ma - there.current_ma, at.air_c)
    by_n = IDEALITY_SD / IDEALITY * math.log(there.current_ma / at.current_ma)
    return math.hypot(per_log * math.hypot(log_current_sd(at, there), by_n), doubt)


def second_looks(
    prepared: Prepared,
    seen: dict[Key, Seen],
    bands: dict[Key, Healthy],
    views: dict[Key, View],
    again: list[Touched],
    to_drawn: list[int],
    at: Conditions,
    meters: dict[str, Meter],
    ideality_sd: float,
) -> dict[Key, Second]:
    """Each contact's reading at the current farthest from the session's, with what a healthy one would read there.

    `ideality_sd`: how far all lines' n may be off together; from one current to the other that looks like a current
    that is off.
    """
    by_meter: dict[str, dict[Key, list[Touched]]] = {}
    for touched in again:
        written, lead = _key(prepared.board, touched)
        key = (written if touched.reading.numbered_as_drawn else to_drawn[written], lead)
        if key in seen and key in views and lead == "red" and bands[key].path is not None:
            by_meter.setdefault(touched.reading.meter_id, {}).setdefault(key, []).append(touched)
    far = {
        meter_id: conditions_of(meter_id, meters.get(meter_id), at.air_c)._replace(air_sd_k=AIR_SD_SAME_BOARD_K)
        for meter_id in by_meter
    }
    found: dict[Key, Second] = {}
    # the farthest current is put in last and stands
    for meter_id in sorted(far, key=lambda one: (abs(math.log(far[one].current_ma / at.current_ma)), one)):
        found.update(_with_meter(prepared, seen, bands, views, by_meter[meter_id], far[meter_id], at, ideality_sd))
    return found


def _with_meter(
    prepared: Prepared,
    seen: dict[Key, Seen],
    bands: dict[Key, Healthy],
    views: dict[Key, View],
    touches: dict[Key, list[Touched]],
    there: Conditions,
    at: Conditions,
    ideality_sd: float,
) -> dict[Key, Second]:
    values = {key: _latest_agreeing(rows) for key, rows in sorted(touches.items())}
    points: dict[Key, Point] = {}
    for key, value in values.items():
        path, first = bands[key].path, seen[key]
        if path is None or value is None or first.drop_mv is None or first.rival is not None:
            continue
        expected = carry(first.drop_mv, path, views[key].current_ma, at.air_c, there.current_ma, at.air_c)
        step_ma = there.current_ma - at.current_ma
        per_n = VT_MV_PER_K * (KELVIN + at.air_c) * math.log(there.current_ma / at.current_ma)
        ohm = min(path.own_series_sd_ohm, path.series_sd_ohm)
        own = math.hypot(ohm * step_ma, path.ideality_sd * per_n, _hands(at.current_ma, there.current_ma))
        shared = math.sqrt(max(0.0, path.series_sd_ohm * path.series_sd_ohm - ohm * ohm)) * step_ma
        group = leans_with(prepared.board.contacts[key[0]])
        points[key] = Point(expected, value, own, path, group, math.hypot(path.shared_ideality_sd * per_n, shared))
    by_n = ideality_sd / IDEALITY * math.log(there.current_ma / at.current_ma)
    current_sd = math.hypot(log_current_sd(at, there), by_n)
    prior = Prior(there.current_ma, at.air_c, current_sd, there.air_sd_k, OFFSET_SD_MV)
    keys = list(points)
    whole = list(points.values())
    fit = fit_common(whole, prior, starts_of(whole, prior), SESSION_STEPS)
    found = {}
    for key, value in values.items():
        if key not in points:
            found[key] = Second(there.meter_id, value, 0.0, 1.0, 1.0, there.current_ma, 1.0, views[key].current_ma)
            continue
        place = keys.index(key)
        without = fit
        if len(whole) <= FEW_CONTACTS:
            others = whole[:place] + whole[place + 1 :]
            without = fit_common(others, prior, starts_of(others, prior), SESSION_STEPS)
        healthy, sd = _without(points[key], without, fit.weights[place] if without is fit else 0.0, prior)
        to_ma = there.current_ma * math.exp(without.log_current)
        noise = math.hypot(NOISE_MV, LEAD_NOISE_OHM * to_ma)
        junction = VT_MV_PER_K * (KELVIN + at.air_c) * points[key].path.ideality
        found[key] = Second(
            there.meter_id, value, healthy, sd, noise, to_ma, junction, views[key].current_ma
        )
    return found


def _hands(one_ma: float, other_ma: float) -> float:
    """The scatter of both touches together, mV: one hand, two meters, whose gains are in the fit."""
    return math.hypot(NOISE_MV, NOISE_MV, LEAD_NOISE_OHM * one_ma, LEAD_NOISE_OHM * other_ma)


def _without(point: Point, fit: CommonFit, weight: float, prior: Prior) -> tuple[float, float]:
    """(what a healthy contact would read, how well that is known), the contact left out of its own fit."""
    to_ma, to_c = prior.current_ma * math.exp(fit.log_current), prior.air_c + fit.kelvin
    healthy = carry(point.expected_mv, point.path, prior.current_ma, prior.air_c, to_ma, to_c)
    per_log, per_k = slopes(point.expected_mv, point.path, prior.current_ma, prior.air_c)
    shared, variance = lean_of(fit, point.chip, point.chip_mv, point.die_mv, per_log, per_k)
    healthy += shared
    own = point.scale_mv * point.scale_mv
    if weight > 0:
        pull = min(weight * variance / own, 1 - SELF_SHARE_LEFT)
        healthy -= pull / (1 - pull) * (point.read_mv - healthy)
        variance /= 1 - pull
    return healthy, math.sqrt(own + variance)


def _latest_agreeing(rows: list[Touched]) -> float | None:
    """The mean of the touches that agree with the latest; None for OL."""
    values = [touched.value.drop_mv if isinstance(touched.value, Drop) else None for touched in rows]
    last = values[-1]
    if last is None:
        return None
    near = [one for one in values if one is not None and abs(one - last) <= DOUBLE_TOUCH_MV]
    return math.fsum(near) / len(near)
