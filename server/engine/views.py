"""Each contact's healthy distribution as it stands in this session, judged by the session's fit without itself."""

import math

from server.engine.bands import Healthy, carry_sd
from server.engine.common_fit import lean_of
from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.constants.readings import BRIDGE_N_SD_MV, DOUBLE_TOUCH_MV, EQUAL_SD_MV
from server.engine.constants.sessions import KELVIN, SELF_SHARE_LEFT, VT_MV_PER_K
from server.engine.faulted import View, joined_mv
from server.engine.meters import Conditions, SessionFit, carry, slopes
from server.engine.prepared import Prepared
from server.engine.roles import leans_with
from server.engine.seen import Seen
from server.engine.strays import as_others_stray, strays_of
from shared_models.reading import LeadOnGround


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
    shown = {key: drop for key in fit.weights if (drop := seen[key].drop_mv) is not None}
    strays = strays_of(prepared, shown, fit.weights, moved)
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
        df, wider = as_others_stray(prepared, contact, band, strays)
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
