"""From facts to the posterior: the session, each contact's view, likelihoods, stories, pairs of stories.

Every contact is judged by a session fit without itself. Touches of one contact confirm or contradict
each other before they become one likelihood; failed touches are part of the noise.
"""

import math
from typing import NamedTuple

from msgspec import structs

from server.engine.accept import Facts, Touched
from server.engine.bands import Healthy, ReferenceCell, carry_sd, from_references, reference_cells, role_band, sibling_bands, with_limit
from server.engine.constants import (
    DOUBLE_TOUCH_MV, EQUAL_SD_MV, BRIDGE_N_SD_MV, FIRSTS_TRIED, FUSE_WITH_LIVE, HYPOTHESES_KEPT, IDEALITY, IDEALITY_SD, KELVIN, LOG_WORTH_KEEPING,
    NET_FOLLOWER_SD_MV, OPEN_CIRCUIT_DEFAULT_MV, RETOUCH_FACTOR, SELF_SHARE_LEFT, SIBLING_DF, TINY, VT_MV_PER_K,
)
from server.engine.drops import BAND, OPEN, View, failed_touch, state_densities, steadiness_odds
from server.engine.evidence import Finding, findings_of, log_factors
from server.engine.latent import posterior, second_story_scores, story_scores, with_pairs
from server.engine.latent.model import LatentModel
from server.engine.meters import Conditions, Point, SessionFit, carry, conditions_of, fit_session, log_current_sd, slopes
from server.engine.numbering import AS_DRAWN, Counting, count
from server.engine.overstress import net_key
from server.engine.prepared import Prepared
from server.engine.roles import PLAIN_PATH, path_of
from shared_models.job import Observation
from shared_models.reading import AtContact, BetweenContacts, Drop, Meter, Steadiness
from shared_models.sheet import BenchSheet


class Seen(NamedTuple):
    """One contact under one lead as it was read: the value that stands, and how surely.

    `drop_mv` is None for OL. `touches` how many were made, `agreeing` how many say the same.
    `rival` is the other number when two touches contradict each other.
    """

    contact: int
    lead: str
    meter_id: str
    drop_mv: float | None
    steadiness: Steadiness | None
    touches: int
    agreeing: int
    rival: tuple[float | None] | None
    reading_ids: tuple[str, ...]
    written: str


class Judged(NamedTuple):
    """Everything the later modules look at."""

    prepared: Prepared
    facts: Facts
    at: Conditions
    counting: Counting
    fit: SessionFit
    seen: dict[tuple[int, str], Seen]
    bands: dict[tuple[int, str], Healthy]
    views: dict[tuple[int, str], View]
    findings: list[Finding]
    log_likelihoods: list[list[float] | None]
    densities: list[list[float] | None]
    failing: list[tuple[float, float] | None]
    model: LatentModel
    scores: list[float]
    post: list[float]
    single_post: list[float]
    pairs: list[tuple[int, int]]


def judge(sheet: BenchSheet, prepared: Prepared, facts: Facts) -> Judged:
    """The whole inference for one sheet."""
    meters = {meter.id: meter for meter in sheet.meters}
    at = _conditions(sheet, facts, meters)
    cells = reference_cells(prepared.board, prepared.known_good, meters, at)
    bands: dict[tuple[int, str], Healthy] = {}

    def band_of(contact: int, lead: str) -> Healthy:
        key = (contact, lead)
        if key not in bands:
            cell = cells.get(key)
            told = from_references(prepared.board, contact, cell, at) if cell is not None else role_band(prepared.board, contact, "black" if lead == "black" else "red", at)
            bands[key] = with_limit(told, _limit(at.meter_id, meters))
        return bands[key]

    current_sd = _session_current_sd(prepared, meters, at, cells)
    counting = count(prepared.board, facts.sweep, lambda contact: band_of(contact, "red"), _slack(at, current_sd))
    seen = _gather(prepared, facts, counting.best.to_drawn)
    for contact in range(len(prepared.board.contacts)):
        band_of(contact, "red")
    for contact, lead in seen:
        band_of(contact, lead)
    fit, weights = _fit(prepared, seen, bands, at, current_sd)
    read = {contact: one.drop_mv for (contact, lead), one in seen.items() if lead == "red" and one.drop_mv is not None and one.rival is None}
    for contact, band in sibling_bands(prepared.board, read, {contact: band for (contact, lead), band in bands.items() if lead == "red"}).items():
        bands[contact, "red"] = band
    views = _views(prepared, seen, bands, fit, weights, at, _limit(at.meter_id, meters))
    return _infer(sheet, prepared, facts, at, counting, fit, seen, bands, views)


def _conditions(sheet: BenchSheet, facts: Facts, meters: dict[str, Meter]) -> Conditions:
    """The meter most used on this sheet and the air it was used in."""
    counts: dict[str, int] = {}
    airs: list[float] = []
    for touched in facts.sweep:
        counts[touched.reading.meter_id] = counts.get(touched.reading.meter_id, 0) + 1
        if touched.air_c is not None:
            airs.append(touched.air_c)
    meter_id = max(sorted(counts), key=lambda one: counts[one]) if counts else (sheet.meter_id or min(sorted(meters), default=""))
    air = sorted(airs)[len(airs) // 2] if airs else sheet.air_c
    return conditions_of(meter_id, meters.get(meter_id), air)


def _limit(meter_id: str, meters: dict[str, Meter]) -> float:
    meter = meters.get(meter_id)
    return meter.open_circuit_mv if meter is not None and meter.open_circuit_mv is not None else OPEN_CIRCUIT_DEFAULT_MV


def _session_current_sd(prepared: Prepared, meters: dict[str, Meter], at: Conditions, cells: dict[tuple[int, str], ReferenceCell]) -> float:
    """How far this session's current may be from what the references were carried to, as a logarithm.

    Carrying over a ratio of currents also needs n; an n that is wrong for the whole socket looks like
    a current that is wrong, so its spread is added here and not to every contact alone.
    """
    used = sorted({touched.reading.meter_id for touched in prepared.known_good})
    if not used:
        return at.current_sd
    sds = sorted(log_current_sd(at, conditions_of(one, meters.get(one), None)) for one in used)
    sheets = max(sds[len(sds) // 2], at.current_sd if at.meter_id not in used else 0.0)
    ratios = [cell.log_ratio for cell in cells.values()]
    carried = math.fsum(ratios) / len(ratios) if ratios else 0.0
    return math.hypot(sheets, IDEALITY_SD / IDEALITY * carried)


def _slack(at: Conditions, current_sd: float) -> float:
    per_log, per_k = slopes(0.0, PLAIN_PATH, at.current_ma, at.air_c)
    return math.hypot(per_log * current_sd, per_k * at.air_sd_k)


def _gather(prepared: Prepared, facts: Facts, to_drawn: list[int]) -> dict[tuple[int, str], Seen]:
    """Touches of one contact and lead, oldest first, as one thing seen."""
    rows: dict[tuple[int, str], list[Touched]] = {}
    later: list[Touched] = []
    for touched in facts.sweep:
        written = prepared.board.index[getattr(touched.reading.touch, "contact", "")]
        key = (to_drawn[written], touched.reading.lead_on_ground or "red")
        if touched.reading.numbered_as_drawn or (key in rows and not _alike(touched, rows[key][0])):
            later.append(touched)
        else:
            rows.setdefault(key, []).append(touched)
    for touched in later:
        written = prepared.board.index[getattr(touched.reading.touch, "contact", "")]
        lead = touched.reading.lead_on_ground or "red"
        drawn = rows.get((written, lead), [])
        # once the counting was put right, a contact is named as drawn: a second touch that contradicts
        # the first under the old count and confirms another contact under the drawing means that one
        as_drawn = touched.reading.numbered_as_drawn or any(_alike(touched, one) for one in drawn)
        rows.setdefault((written if as_drawn else to_drawn[written], lead), []).append(touched)
    return {key: _one_seen(key, touches) for key, touches in sorted(rows.items())}


def _alike(one: Touched, other: Touched) -> bool:
    """Two touches that say the same: both OL, or two drops close together."""
    if isinstance(one.value, Drop) and isinstance(other.value, Drop):
        return abs(one.value.drop_mv - other.value.drop_mv) <= DOUBLE_TOUCH_MV
    return not isinstance(one.value, Drop) and not isinstance(other.value, Drop)


def _one_seen(key: tuple[int, str], touches: list[Touched]) -> Seen:
    """The number most touches agree on; the latest when none do, with its rival."""
    values = [touched.value.drop_mv if isinstance(touched.value, Drop) else None for touched in touches]
    groups: list[list[int]] = []
    for place, value in enumerate(values):
        for group in groups:
            first = values[group[0]]
            if (value is None and first is None) or (value is not None and first is not None and abs(value - first) <= DOUBLE_TOUCH_MV):
                group.append(place)
                break
        else:
            groups.append([place])
    best = max(groups, key=lambda group: (len(group), group[-1]))
    told = [value for value in (values[place] for place in best) if value is not None]
    rivals = [group for group in groups if group is not best and len(group) == len(best)]
    last = touches[best[-1]].reading
    return Seen(
        key[0], key[1], last.meter_id, math.fsum(told) / len(told) if told else None, last.steadiness, len(touches), len(best),
        (values[rivals[-1][-1]],) if rivals else None, tuple(touched.reading.id for touched in touches), getattr(last.touch, "contact", ""),
    )


def _fit(prepared: Prepared, seen: dict[tuple[int, str], Seen], bands: dict[tuple[int, str], Healthy], at: Conditions, current_sd: float) -> tuple[SessionFit, dict[tuple[int, str], float]]:
    """The session's common unknowns from contacts whose healthy reading is known from reference boards."""
    points, keys = [], []
    for (contact, lead), one in seen.items():
        band = bands[contact, lead]
        if lead == "red" and one.drop_mv is not None and one.rival is None and band.rests_on == "reference_boards" and band.ol_odds < 0.5 and band.loc > DOUBLE_TOUCH_MV:
            points.append(Point(band.loc, one.drop_mv, band.scale, path_of(prepared.board.contacts[contact])))
            keys.append((contact, lead))
    fit = fit_session(points, at, current_sd, at.air_sd_k)
    return fit, dict(zip(keys, fit.weights, strict=True))


def _views(prepared: Prepared, seen: dict[tuple[int, str], Seen], bands: dict[tuple[int, str], Healthy], fit: SessionFit, weights: dict[tuple[int, str], float], at: Conditions, limit_mv: float) -> dict[tuple[int, str], View]:
    """Each contact's healthy distribution moved by the session fit without the contact itself, and its neighbours."""
    to_ma, to_c = at.current_ma * math.exp(fit.log_current), at.air_c + fit.kelvin
    moved = {key: _moved(prepared, key, seen.get(key), band, fit, weights.get(key, 0.0), at, to_ma, to_c) for key, band in bands.items()}
    junction = VT_MV_PER_K * (KELVIN + to_c)
    views = {}
    for (contact, lead), (loc, scale) in moved.items():
        band = bands[contact, lead]
        path = path_of(prepared.board.contacts[contact])
        beside = [other for other in prepared.scene.neighbours[contact] if (other, lead) in moved]
        views[contact, lead] = View(
            loc, scale, band.df, band.ol_odds, band.climb_odds, junction * (path.ideality if path is not None else 1.0),
            path.series_ohm if path is not None else 0.0, to_ma, limit_mv,
            tuple(moved[other, lead] for other in beside if bands[other, lead].ol_odds < 0.5),
            tuple(_meets(prepared, contact, other, lead, seen, bands, moved, junction, to_ma) for other in prepared.scene.neighbours[contact]),
        )
    return views


def _moved(prepared: Prepared, key: tuple[int, str], seen: Seen | None, band: Healthy, fit: SessionFit, weight: float, at: Conditions, to_ma: float, to_c: float) -> tuple[float, float]:
    """(centre, scale) of a healthy reading in this session, by the fit without this contact."""
    path = path_of(prepared.board.contacts[key[0]])
    if band.rests_on == "siblings":
        return band.loc, band.scale  # siblings were read in this very session
    if path is None:
        return band.loc + (fit.offset_mv if band.loc > DOUBLE_TOUCH_MV else 0.0), math.hypot(band.scale, fit.offset_sd_mv)
    loc = carry(band.loc, path, at.current_ma, at.air_c, to_ma, to_c)
    per_log, per_k = slopes(band.loc, path, at.current_ma, at.air_c)
    aa, bb, ab = fit.covariance
    variance = per_log * per_log * aa + per_k * per_k * bb + 2 * per_log * per_k * ab
    spread = band.scale * band.scale + carry_sd(path, at.current_ma, to_ma, to_c) * carry_sd(path, at.current_ma, to_ma, to_c)
    if weight > 0 and seen is not None and seen.drop_mv is not None:
        # leave this contact out of the fit it helped to make (hat value of weighted least squares)
        pull = min(weight * variance / spread, 1 - SELF_SHARE_LEFT)
        loc -= pull / (1 - pull) * (seen.drop_mv - loc)
        variance /= 1 - pull
    return loc, math.sqrt(spread + variance)


def _meets(prepared: Prepared, contact: int, other: int, lead: str, seen: dict[tuple[int, str], Seen], bands: dict[tuple[int, str], Healthy], moved: dict[tuple[int, str], tuple[float, float]], vt: float, current_ma: float) -> tuple[float, float] | None:
    """What a contact reads bridged to a neighbour: the other's number where OL is healthy, else the parallel value.

    Two junctions in parallel share the current: V = -n Vt ln(exp(-Va/nVt) + exp(-Vb/nVt)) for their
    junction shares, plus half the drop in the path. Whoever was read first tells what the other reads.
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
    path, path_beside = path_of(prepared.board.contacts[contact]), path_of(prepared.board.contacts[other])
    if path is None or path_beside is None:
        return min(moved[contact, lead], moved[other, lead])
    a = moved[contact, lead][0] - path.series_ohm * current_ma
    b = moved[other, lead][0] - path_beside.series_ohm * current_ma
    n_vt = vt * path.ideality
    least = min(a, b)
    shared = least - n_vt * math.log(math.exp((least - a) / n_vt) + math.exp((least - b) / n_vt))
    loc = shared + 0.5 * min(path.series_ohm, path_beside.series_ohm) * current_ma
    return loc, math.hypot(BRIDGE_N_SD_MV, 0.5 * moved[contact, lead][1], 0.5 * moved[other, lead][1])


def _infer(sheet: BenchSheet, prepared: Prepared, facts: Facts, at: Conditions, counting: Counting, fit: SessionFit, seen: dict[tuple[int, str], Seen], bands: dict[tuple[int, str], Healthy], views: dict[tuple[int, str], View]) -> Judged:
    densities, failing = _variable_densities(prepared, seen, views)
    log_likelihoods: list[list[float] | None] = []
    for variable, row in enumerate(densities):
        fail = failing[variable]
        if row is None or fail is None:
            log_likelihoods.append(None)
            continue
        chance, density = fail
        log_likelihoods.append([
            math.log((1 - chance) * _mixed(mixture, row) + chance * density + TINY) for mixture in prepared.mixtures[variable]
        ])
    sweep = {contact: one.drop_mv for (contact, lead), one in seen.items() if lead == "red" and one.drop_mv is not None}
    further = [_as_drawn(prepared, touched, counting, seen) for touched in facts.further]
    findings = findings_of(prepared.board, further, sweep, lambda contact: _shifted(bands, views, contact))
    observations = tuple(_drawn_observation(prepared, one, counting) for one in sheet.observations if one.id not in sheet.removed_ids)
    factors = log_factors(prepared.stories, prepared.board, findings, observations)
    for story, extra in _lone_over_range(prepared, seen, views).items():
        factors[story] += extra
    scores = [score + factor for score, factor in zip(story_scores(prepared.model, log_likelihoods), factors, strict=True)]
    pairs, pair_scores = _pairs(prepared, log_likelihoods, scores, factors)
    both = with_pairs(prepared.model, pairs, pair_scores, _pair_decisions(prepared, pairs)) if pairs else prepared.model
    return Judged(
        prepared, facts, at, counting, fit, seen, bands, views, findings, log_likelihoods, densities, failing, both, scores,
        posterior(scores + pair_scores), posterior(scores), pairs,
    )


def _as_drawn(prepared: Prepared, touched: Touched, counting: Counting, seen: dict[tuple[int, str], Seen]) -> Touched:
    """A reading at another place of a contact, with the contact's number as drawn.

    It carries the technician's own count unless it was pointed out on the drawing; a tail is looked at
    because its spring showed OL, which tells the two apart when nobody said.
    """
    touch, board = touched.reading.touch, prepared.board
    if touched.reading.numbered_as_drawn or counting.best.name == AS_DRAWN or touched.reading.subject != "board_socket":
        return touched
    if isinstance(touch, AtContact):
        written = board.index[touch.contact]
        moved = counting.best.to_drawn[written]
        own, other = seen.get((written, "red")), seen.get((moved, "red"))
        if own is not None and own.drop_mv is None and not (other is not None and other.drop_mv is None):
            return touched
        touch = AtContact(contact=board.contacts[moved].number)
    elif isinstance(touch, BetweenContacts):
        a, b = (board.contacts[counting.best.to_drawn[board.index[one]]].number for one in (touch.contact_a, touch.contact_b))
        touch = BetweenContacts(contact_a=a, contact_b=b)
    return touched._replace(reading=structs.replace(touched.reading, touch=touch))


def _drawn_observation(prepared: Prepared, seen: Observation, counting: Counting) -> Observation:
    """What was seen, with contact numbers as drawn; numbers the socket does not have are left out."""
    board = prepared.board
    numbers = tuple(board.contacts[counting.best.to_drawn[board.index[one]]].number for one in seen.contacts if one in board.index)
    return structs.replace(seen, contacts=numbers)


def _mixed(mixture: tuple[tuple[int, float], ...], row: list[float]) -> float:
    total = 0.0
    for state, weight in mixture:
        total += weight * row[state]
    return total


def _shifted(bands: dict[tuple[int, str], Healthy], views: dict[tuple[int, str], View], contact: int) -> Healthy:
    view = views[contact, "red"]
    return bands[contact, "red"]._replace(loc=view.loc, scale=view.scale)


def _variable_densities(prepared: Prepared, seen: dict[tuple[int, str], Seen], views: dict[tuple[int, str], View]) -> tuple[list[list[float] | None], list[tuple[float, float] | None]]:
    """For each variable the density of what was seen under each state, and (chance, density) of a failed touch."""
    densities: list[list[float] | None] = [None] * len(prepared.members)
    failing: list[tuple[float, float] | None] = [None] * len(prepared.members)
    for (contact, lead), one in seen.items():
        variable = prepared.net_variable[contact]
        own, fail = _own_densities(prepared, one, views[contact, lead])
        if variable == contact:
            _times(densities, failing, contact, own, fail)
            continue
        leader = _leader(prepared, variable, seen, lead)
        if leader == contact:
            _times(densities, failing, variable, own, fail)
            continue
        # another contact of a rail that was read already: it should read what the rail reads
        view = views[contact, lead]._replace(loc=seen[leader, lead].drop_mv or 0.0, scale=NET_FOLLOWER_SD_MV, df=SIBLING_DF, ol_odds=0.0 if seen[leader, lead].drop_mv is not None else 1.0)
        _times(densities, failing, contact, *_own_densities(prepared, one._replace(steadiness=None), view))
    return densities, failing


def _times(densities: list[list[float] | None], failing: list[tuple[float, float] | None], variable: int, row: list[float], fail: tuple[float, float]) -> None:
    """Two leads on one contact look at one state: their densities multiply."""
    before, failed = densities[variable], failing[variable]
    if before is None or failed is None:
        densities[variable], failing[variable] = row, fail
        return
    densities[variable] = [a * b for a, b in zip(before, row, strict=True)]
    failing[variable] = (failed[0] * fail[0], failed[1] * fail[1])


def _leader(prepared: Prepared, variable: int, seen: dict[tuple[int, str], Seen], lead: str) -> int:
    read = [contact for contact in prepared.members[variable] if (contact, lead) in seen]
    told = [contact for contact in read if seen[contact, lead].drop_mv is not None]
    return (told or read)[0]


def _own_densities(prepared: Prepared, one: Seen, view: View) -> tuple[list[float], tuple[float, float]]:
    """Densities of one thing seen, all its touches together."""
    row = state_densities(one.drop_mv, view)
    steady = steadiness_odds(one.steadiness, view, len(row))
    row = [density * odds for density, odds in zip(row, steady, strict=True)]
    density = failed_touch(one.drop_mv, view)
    chance = prepared.touch_fails
    for _ in range(one.agreeing - 1):
        chance *= prepared.touch_fails * RETOUCH_FACTOR
    if one.rival is not None:
        other = state_densities(one.rival[0], view)
        other_fails = failed_touch(one.rival[0], view)
        row = [0.5 * (a * other_fails + b * density) for a, b in zip(row, other, strict=True)]
        density *= other_fails
    return row, (chance, density)


def _lone_over_range(prepared: Prepared, seen: dict[tuple[int, str], Seen], views: dict[tuple[int, str], View]) -> dict[int, float]:
    """The one contact read of a rail shows OL: that may be the net or just this contact; say both."""
    extra: dict[int, float] = {}
    for variable in range(len(prepared.board.contacts), len(prepared.members)):
        read = [contact for contact in prepared.members[variable] if (contact, "red") in seen]
        if len(read) == 1 and seen[read[0], "red"].drop_mv is None:
            row = state_densities(None, views[read[0], "red"])
            for place, story in enumerate(prepared.stories):
                if story.kind == "contact_torn" and story.contacts == (read[0],):
                    extra[place] = math.log(row[OPEN] / ((1 - prepared.touch_fails) * row[BAND] + prepared.touch_fails))
    return extra


def _pairs(prepared: Prepared, log_likelihoods: list[list[float] | None], scores: list[float], factors: list[float]) -> tuple[list[tuple[int, int]], list[float]]:
    """Pairs of independent stories worth keeping, with their scores; a feed's fuse goes with anything live."""
    firsts = sorted(range(len(scores)), key=lambda place: (-scores[place], place))[:FIRSTS_TRIED]
    log_second = [prior + factor for prior, factor in zip(prepared.log_second, factors, strict=True)]
    top = max(scores)
    found = second_story_scores(prepared.model, log_likelihoods, scores, firsts, log_second, top - LOG_WORTH_KEEPING)
    kept = []
    for score, first, second in found:
        kept.append((score + _goes_with(prepared, first, second), first, second))
    kept.sort(key=lambda one: (-one[0], one[1], one[2]))
    kept = [one for one in kept if one[0] > top - LOG_WORTH_KEEPING][:HYPOTHESES_KEPT]
    return [(first, second) for _, first, second in kept], [score for score, _, _ in kept]


def _pair_decisions(prepared: Prepared, pairs: list[tuple[int, int]]) -> list[int]:
    """Two faults mean two things to do: each combination of decisions is a decision of its own."""
    numbers: dict[tuple[int, int], int] = {}
    of = prepared.model.decisions
    told = []
    for first, second in pairs:
        a, b = sorted((of[first], of[second]))
        told.append(a if a == b else numbers.setdefault((a, b), len(prepared.decisions) + len(numbers)))
    return told


def _goes_with(prepared: Prepared, first: int, second: int) -> float:
    """How much likelier the pair is than two unrelated faults: a live event blows the fuse of the feed it touched."""
    for live, fuse in ((prepared.stories[first], prepared.stories[second]), (prepared.stories[second], prepared.stories[first])):
        if live.live and fuse.kind == "series_open" and fuse.contacts:
            if net_key(prepared.board.contacts[fuse.contacts[0]]) in live.feeds:
                odds = FUSE_WITH_LIVE / len(live.feeds)
                place = second if fuse is prepared.stories[second] else first
                return math.log(odds / (1 - odds)) - prepared.log_second[place]
    return 0.0


def probe_at(judged: Judged) -> int | None:
    """The contact touched last."""
    latest, here = -1, None
    for touched in judged.facts.sweep:
        if touched.reading.taken_at_ms >= latest:
            latest = touched.reading.taken_at_ms
            here = judged.counting.best.to_drawn[judged.prepared.board.index[getattr(touched.reading.touch, "contact", "")]]
    return here
