"""This session against the reference boards: its conditions, the fit, and each contact's view.

Every contact is judged by the session's fit without itself.
"""

import math
from collections.abc import Iterable
from typing import NamedTuple

import msgspec

from server.engine.accept import Facts, sane_air
from server.engine.bands import (
    Healthy,
    beside_on_references,
    carry_sd,
    from_references,
    role_band,
    with_limit,
)
from server.engine.branches import Branches
from server.engine.common_fit import lean_of
from server.engine.constants.circuit import LINE_MV
from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.constants.readings import BRIDGE_N_SD_MV, DOUBLE_TOUCH_MV, EQUAL_SD_MV, OWN_SPREAD_DF
from server.engine.constants.sessions import (
    FREED_ROUNDS,
    IDEALITY,
    KELVIN,
    MEMO_SIZE,
    OPEN_CIRCUIT_DEFAULT_MV,
    SELF_SHARE_LEFT,
    VT_MV_PER_K,
)
from server.engine.faulted import View, joined_mv
from server.engine.lines_drawn import drawn_lines
from server.engine.meters import (
    Conditions,
    SessionFit,
    carry,
    conditions_of,
    log_current_sd,
    slopes,
)
from server.engine.numbering import Ways, ways_to_count
from server.engine.prepared import Prepared
from server.engine.reference_cells import ReferenceCell, reference_cells, spread_within_nets
from server.engine.reference_fit import (
    Moved,
    freed_of_all,
    freed_of_conditions,
    lying,
    unrest_of,
    what_boards_share,
)
from server.engine.roles import PLAIN_PATH, lean_parts, leans_with, spreads_of
from server.engine.seen import Seen
from server.engine.straighten import relaid, straightened
from shared_models.reading import LeadOnGround, Meter
from shared_models.sheet import BenchSheet


class KnownBands(NamedTuple):
    """Every contact's band under both leads before any reading of this job, the current's doubt, the ways to count.

    `cells` are the reference boards the bands rest on, carried to the same conditions; `ideality_sd` is how far all
    their lines' n may be off together, `branches` what the circuits of lines that branch say.
    """

    bands: dict[tuple[int, str], Healthy]
    current_sd: float
    ways: Ways
    cells: dict[tuple[int, str], ReferenceCell]
    ideality_sd: float
    branches: Branches

    def with_branches(self, asked: Iterable[tuple[int, str]]) -> dict[tuple[int, str], Healthy]:
        """The bands, of the contacts and leads asked for with what their circuit says: only what is read needs it."""
        bands = dict(self.bands)
        for key in asked:
            line = self.branches.of(key)
            if line is not None:
                bands[key] = bands[key]._replace(shares=line.shares, cut_mv=line.cut_mv)
        return bands


def known_bands(prepared: Prepared, meters: dict[str, Meter], at: Conditions) -> KnownBands:
    """The bands at these conditions; kept with the healthy boards, since one more reading changes none of them."""
    key = (at, *(msgspec.json.encode(meters[one]) for one in sorted(meters)))
    if key not in prepared.known.bands:
        if len(prepared.known.bands) >= MEMO_SIZE:
            prepared.known.bands.clear()
        prepared.known.bands[key] = _make_known_bands(prepared, meters, at)
    return prepared.known.bands[key]


def _make_known_bands(prepared: Prepared, meters: dict[str, Meter], at: Conditions) -> KnownBands:
    carried = reference_cells(prepared.board, prepared.known.sweep, meters, at)
    drawn = drawn_lines(prepared.board, carried, at, "red")
    red_lines = straightened(drawn, carried, at, is_freed=False)
    lie, moved = lying(prepared.board), dict[str, Moved]()
    for _ in range(FREED_ROUNDS):
        moved = what_boards_share(lie, carried, red_lines.lines, at, moved)
        red_lines = straightened(drawn, freed_of_conditions(carried, moved), at, is_freed=True)
    cells, unrest = freed_of_all(carried, moved), unrest_of(moved)
    limit_mv = open_circuit_of(at.meter_id, meters)
    bands: dict[tuple[int, str], Healthy] = {}
    leads: tuple[LeadOnGround, ...] = ("red", "black")
    lines = {
        "red": {contact: relaid(line, cells[contact, "red"], at) for contact, line in red_lines.lines.items()},
        "black": straightened(drawn_lines(prepared.board, cells, at, "black"), cells, at, is_freed=False).lines,
    }
    beside = beside_on_references(prepared.board, lines["red"])
    for contact in range(len(prepared.board.contacts)):
        for lead in leads:
            cell = cells.get((contact, lead))
            told = (
                from_references(
                    prepared.board, contact, lead, cell, lines[lead].get(contact), at,
                    beside.get(contact, ()) if lead == "red" else (),
                )
                if cell is not None
                else role_band(prepared.board, contact, lead, at)
            )
            lean_mv, die_mv = _leans_mv(prepared, contact, told, unrest) if lead == "red" else (0.0, 0.0)
            bands[contact, lead] = with_limit(told, limit_mv)._replace(lean_mv=lean_mv, die_mv=die_mv)
    for lead in leads:
        for contact, net_sd in spread_within_nets(list(prepared.scene.nets.values()), cells, lead).items():
            bands[contact, lead] = bands[contact, lead]._replace(net_sd=net_sd)
    red = [bands[contact, "red"] for contact in range(len(prepared.board.contacts))]
    ways = ways_to_count(prepared.board, red)
    current_sd = session_current_sd(prepared, meters, at, cells, red_lines.ideality_sd)
    branches = Branches(prepared.board, bands, at, limit_mv)
    return KnownBands(bands, current_sd, ways, cells, red_lines.ideality_sd, branches)


def session_conditions(sheet: BenchSheet, facts: Facts, meters: dict[str, Meter]) -> Conditions:
    """The meter most used on this sheet and the air it was used in."""
    counts: dict[str, int] = {}
    airs: list[float] = []
    for touched in facts.sweep:
        counts[touched.reading.meter_id] = counts.get(touched.reading.meter_id, 0) + 1
        if touched.air_c is not None:
            airs.append(touched.air_c)
    meter_id = (
        max(sorted(counts), key=lambda one: counts[one])
        if counts
        else (sheet.meter_id or min(sorted(meters), default=""))
    )
    air = sorted(airs)[len(airs) // 2] if airs else sane_air(sheet.air_c)
    return conditions_of(meter_id, meters.get(meter_id), air)


def open_circuit_of(meter_id: str, meters: dict[str, Meter]) -> float:
    """The voltage above which this meter shows OL, in mV: from its sheet, else the usual one."""
    meter = meters.get(meter_id)
    return meter.open_circuit_mv if meter is not None and meter.open_circuit_mv is not None else OPEN_CIRCUIT_DEFAULT_MV


def session_current_sd(
    prepared: Prepared,
    meters: dict[str, Meter],
    at: Conditions,
    cells: dict[tuple[int, str], ReferenceCell],
    ideality_sd: float,
) -> float:
    """How far this session's current may be from what the references were carried to, as a logarithm.

    Carrying over a ratio of currents also needs n; an n that is wrong for the whole socket looks like
    a current that is wrong, so its spread (`ideality_sd`) is added here and not to every contact alone.
    """
    used = sorted({meter_id for meter_id, _ in prepared.known.read_with})
    if not used:
        return at.current_sd
    sds = sorted(log_current_sd(at, conditions_of(one, meters.get(one), None)) for one in used)
    sheets = max(sds[len(sds) // 2], at.current_sd if at.meter_id not in used else 0.0)
    ratios = [cell.log_ratio for cell in cells.values()]
    carried = abs(math.fsum(ratios)) / len(ratios) if ratios else 0.0
    return math.hypot(sheets, ideality_sd / IDEALITY * carried)


def session_slack(at: Conditions, current_sd: float) -> float:
    """How far a plain junction of the whole session may be shifted, one deviation, in mV."""
    per_log, per_k = slopes(LINE_MV, PLAIN_PATH, at.current_ma, at.air_c)
    return math.hypot(per_log * current_sd, per_k * at.air_sd_k)


def _leans_mv(
    prepared: Prepared, contact: int, band: Healthy, unrest: dict[str, float]
) -> tuple[float, float]:
    """How far this board's group of lines, and its whole chip, may lean from the mean of the healthy ones, one
    deviation each, in mV.
    """
    one = prepared.board.contacts[contact]
    if band.rests_on != "reference_boards" or not leans_with(one):
        return 0.0, 0.0  # what stands alone has its doubt in its band
    group, die = lean_parts(one, spreads_of(one)[1])
    of_mean = math.sqrt(1 + 1 / max(band.boards, 1))
    usual = math.hypot(group, unrest.get(leans_with(one), 0.0)) * of_mean
    return math.hypot(usual, band.shared_mv), die * of_mean


def views_of(
    prepared: Prepared,
    seen: dict[tuple[int, str], Seen],
    bands: dict[tuple[int, str], Healthy],
    fit: SessionFit,
    at: Conditions,
    limit_mv: float,
    less_sure: dict[tuple[int, str], float],
    unread_leads: tuple[LeadOnGround, ...] = ("red",),
) -> dict[tuple[int, str], View]:
    """Each contact's healthy distribution moved by the session fit without the contact itself, and its neighbours.

    `less_sure`: what a reading that was carried from another meter adds to its scale, in mV. Under a lead of
    `unread_leads` every contact is there, read or not; under the other only those read.
    """
    to_ma, to_c = at.current_ma * math.exp(fit.common.log_current), at.air_c + fit.common.kelvin
    leads = (*unread_leads, *dict.fromkeys([lead for _, lead in seen]))
    moved = {
        key: _moved(prepared, key, seen.get(key), band, fit, at)
        for key, band in bands.items()
        if key[1] in leads or _other_lead(key) in seen
    }
    for key, sd in less_sure.items():
        if key in moved:
            moved[key] = (moved[key][0], math.hypot(moved[key][1], sd))
    junction = VT_MV_PER_K * (KELVIN + to_c)
    told = math.fsum(fit.common.weights)
    views = {}
    for (contact, lead), (loc, scale) in moved.items():
        if lead not in unread_leads and (contact, lead) not in seen:
            continue
        band = bands[contact, lead]
        path = band.path
        beside = [
            other
            for other in prepared.scene.neighbours[contact]
            if (other, lead) in moved and bands[other, lead].ol_odds < 0.5
        ]
        df, wider = _as_others_stray(band, told, fit.common.squares)
        views[contact, lead] = View(
            loc,
            scale * wider,
            df,
            band.ol_odds,
            band.climb_odds,
            junction * (path.ideality if path is not None else 1.0),
            path.series_ohm if path is not None else 0.0,
            to_ma,
            limit_mv,
            tuple(_slipped_to(moved[other, lead], seen.get((other, lead))) for other in beside),
            tuple(
                _meets(prepared, contact, other, lead, seen, bands, moved, junction, to_ma)
                for other in prepared.scene.neighbours[contact]
            ),
            band.net_sd,
            _with_leads_swapped(moved, bands, contact, lead),
            path.before_ohm if path is not None else 0.0,
            path.series_sd_ohm if path is not None and lead == "red" else 0.0,
            band.shares,
            band.cut_mv,
        )
    return views


def _slipped_to(healthy: tuple[float, float], beside: Seen | None) -> tuple[float, float]:
    """(centre, scale) of what a touch that slips to a neighbour shows: what that one showed, once it was read and is in
    its band; else what a healthy one reads. One out of its band may be joined to this very contact, or have slipped.
    """
    loc, scale = healthy
    if beside is None or beside.drop_mv is None or beside.rival is not None:
        return healthy
    return (beside.drop_mv, EQUAL_SD_MV) if abs(beside.drop_mv - loc) < VERDICT_Z_RETOUCH * scale else healthy


def _as_others_stray(band: Healthy, told: float, squares: float) -> tuple[float, float]:
    """(degrees of freedom of a band, factor on its scale) once other contacts have shown how far healthy ones stray:
    the weights of all in the session's fit together, and their weighed squares.

    How uncertain a spread is has a part that all contacts share, which those of this board have told (inverse
    chi-squared; Gelman et al., Bayesian Data Analysis, 3rd edition, section 2.6), and a part of the contact's own.
    Scales are widened only: the far ones among healthy contacts have little weight in a fit.
    """
    if band.rests_on != "reference_boards" or band.path is None:
        return band.df, 1.0
    factor = math.sqrt(max(1.0, (band.df + squares) / (band.df + told)))
    return max(band.df, 1 / (1 / OWN_SPREAD_DF + 1 / (band.df + told))), factor


def _other_lead(key: tuple[int, str]) -> tuple[int, str]:
    """The same contact with the leads the other way round."""
    return key[0], "red" if key[1] == "black" else "black"


def _with_leads_swapped(
    moved: dict[tuple[int, str], tuple[float, float]], bands: dict[tuple[int, str], Healthy], contact: int, lead: str
) -> tuple[float, float, float, float] | None:
    """The healthy distribution of a contact under the other lead, if there is one."""
    key = _other_lead((contact, lead))
    if key not in moved:
        return None
    return (*moved[key], bands[key].df, bands[key].ol_odds)


def _moved(
    prepared: Prepared,
    key: tuple[int, str],
    seen: Seen | None,
    band: Healthy,
    fit: SessionFit,
    at: Conditions,
) -> tuple[float, float]:
    """(centre, scale) of a healthy reading in this session, by the fit without this contact."""
    path = band.path
    if band.rests_on == "siblings":
        return band.loc, band.scale  # siblings were read in this very session
    if path is None:
        return band.loc + (fit.offset_mv if band.loc > DOUBLE_TOUCH_MV else 0.0), math.hypot(
            band.scale, fit.offset_sd_mv
        )
    common = fit.without.get(key, fit.common)
    to_ma, to_c = at.current_ma * math.exp(common.log_current), at.air_c + common.kelvin
    loc = carry(band.loc, path, at.current_ma, at.air_c, to_ma, to_c)
    per_log, per_k = slopes(band.loc, path, at.current_ma, at.air_c)
    # the lean was found with red on ground, from reference boards; elsewhere it only adds doubt
    chip = leans_with(prepared.board.contacts[key[0]]) if band.lean_mv > 0 else ""
    shared, variance = lean_of(common, chip, band.lean_mv, band.die_mv, per_log, per_k)
    loc += shared
    carried = carry_sd(path, math.log(to_ma / at.current_ma), to_ma - at.current_ma, to_c)
    spread = band.scale * band.scale + carried * carried
    weight = fit.weights.get(key, 0.0) if common is fit.common else 0.0
    if weight > 0 and seen is not None and seen.drop_mv is not None:
        # leave this contact out of the fit it helped to make (hat value of weighted least squares)
        pull = min(weight * variance / spread, 1 - SELF_SHARE_LEFT)
        loc -= pull / (1 - pull) * (seen.drop_mv - loc)
        variance /= 1 - pull
    return loc, math.sqrt(spread + variance)


def _meets(
    prepared: Prepared,
    contact: int,
    other: int,
    lead: str,
    seen: dict[tuple[int, str], Seen],
    bands: dict[tuple[int, str], Healthy],
    moved: dict[tuple[int, str], tuple[float, float]],
    vt: float,
    current_ma: float,
) -> tuple[float, float] | None:
    """What a contact reads bridged to a neighbour: the other's number where OL is healthy, else the parallel value.

    Two junctions in parallel share the current (`faulted.joined_mv`). Whoever was read first tells what the
    other reads.
    """
    if (other, lead) not in bands:
        return None
    first = seen.get((other, lead))
    if other < contact and first is not None and first.drop_mv is not None:
        return first.drop_mv, EQUAL_SD_MV
    own, beside = bands[contact, lead], bands[other, lead]
    if own.ol_odds > 0.5:
        return None if beside.ol_odds > 0.5 else moved[other, lead]
    if beside.ol_odds > 0.5:
        return moved[contact, lead]
    path, path_beside = own.path, beside.path
    if path is None or path_beside is None:
        return min(moved[contact, lead], moved[other, lead])
    loc = joined_mv(
        moved[contact, lead][0],
        moved[other, lead][0],
        path.series_ohm * current_ma,
        path_beside.series_ohm * current_ma,
        vt * path.ideality,
    )
    return loc, math.hypot(BRIDGE_N_SD_MV, 0.5 * moved[contact, lead][1], 0.5 * moved[other, lead][1])
