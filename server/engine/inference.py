"""From facts to the posterior: session, views, likelihoods, stories, pairs of stories."""

import math
from collections.abc import Iterator
from typing import NamedTuple

import msgspec

from server.engine.accept import Facts
from server.engine.bands import Healthy
from server.engine.blunders import blunder_factors, last_read
from server.engine.constants.answers import SPEAKS_FOR
from server.engine.constants.bench import TINY
from server.engine.constants.next_touch import FIRSTS_TRIED, HYPOTHESES_KEPT, LOG_WORTH_KEEPING
from server.engine.evidence import claimed_twice, log_factors
from server.engine.faulted import View
from server.engine.findings import Bench, Finding, findings_of
from server.engine.latent import posterior, second_story_scores, story_scores, with_pairs
from server.engine.latent.model import LatentModel
from server.engine.likelihoods import lone_over_range, mixed, variable_densities
from server.engine.meters import (
    AboveLimit,
    Conditions,
    SessionFit,
    above_their_limit,
)
from server.engine.numbering import Counting, count
from server.engine.other_maker import freed_of_leaning, shifted_together
from server.engine.prepared import Prepared
from server.engine.rail_bands import Leaders, leaders_of
from server.engine.second_current import Second
from server.engine.second_meter import one_meters_sweep, second_looks
from server.engine.seen import Seen, as_drawn, drawn_observation, gather
from server.engine.session import (
    known_bands,
    open_circuit_of,
    session_conditions,
    session_slack,
)
from server.engine.session_fit import fit_from_references
from server.engine.sibling_bands import sibling_bands
from server.engine.views import views_of
from shared_models.job import Observation
from shared_models.reading import Drop, Meter
from shared_models.sheet import BenchSheet


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
    seconds: dict[tuple[int, str], Second]
    leaders: Leaders
    meters: dict[str, Meter]
    above_limit: dict[str, AboveLimit]
    findings: list[Finding]
    observations: tuple[Observation, ...]
    log_likelihoods: list[list[float] | None]
    densities: list[list[float] | None]
    failing: list[tuple[float, float] | None]
    model: LatentModel
    scores: list[float]
    post: list[float]
    pairs: list[tuple[int, int]]


def judge(sheet: BenchSheet, prepared: Prepared, facts: Facts) -> Judged:
    """The whole inference for one sheet."""
    meters = {meter.id: meter for meter in sorted(sheet.meters, key=msgspec.json.encode)}
    above_limit = above_their_limit(sheet.meters, _drops_shown(facts), prepared.known.above_limit)
    for meter_id, above in above_limit.items():
        if above.limit_is_wrong:  # asked about at the door
            meters[meter_id] = msgspec.structs.replace(meters[meter_id], open_circuit_mv=None)
    at = session_conditions(sheet, facts, meters)
    known = known_bands(prepared, meters, at)
    red = [known.bands[contact, "red"] for contact in range(len(prepared.board.contacts))]
    facts, again, carried_sd = one_meters_sweep(facts, prepared.board, at, meters)
    counting = count(prepared.board, known.ways, facts.sweep, red, session_slack(at, known.current_sd))
    seen = gather(prepared, facts, counting.best.to_drawn)
    bands = known.with_branches(seen)
    fit, wrongly = fit_from_references(prepared, seen, bands, at, known.current_sd, at.air_sd_k)
    read = {
        contact: one.drop_mv
        for (contact, lead), one in seen.items()
        if lead == "red" and one.drop_mv is not None and one.rival is None
    }
    for contact, band in sibling_bands(
        prepared.board, read, {contact: band for (contact, lead), band in bands.items() if lead == "red"}
    ).items():
        bands[contact, "red"] = band
    less_sure = {(counting.best.to_drawn[written], lead): sd for (written, lead), sd in carried_sd.items()}
    views = views_of(prepared, seen, bands, fit, at, open_circuit_of(at.meter_id, meters), less_sure)
    views = shifted_together(prepared.board, seen, views)
    seconds = second_looks(prepared, seen, bands, views, again, counting.best.to_drawn, at, meters, known.ideality_sd)
    return _infer(sheet, prepared, facts, at, counting, fit, seen, bands, views, seconds, meters, above_limit, wrongly)


def _drops_shown(facts: Facts) -> Iterator[tuple[str, float]]:
    """(meter, mV) of every drop of this job."""
    for touched in facts.sweep:
        if isinstance(touched.value, Drop):
            yield touched.reading.meter_id, touched.value.drop_mv


def _infer(
    sheet: BenchSheet,
    prepared: Prepared,
    facts: Facts,
    at: Conditions,
    counting: Counting,
    fit: SessionFit,
    seen: dict[tuple[int, str], Seen],
    bands: dict[tuple[int, str], Healthy],
    views: dict[tuple[int, str], View],
    seconds: dict[tuple[int, str], Second],
    meters: dict[str, Meter],
    above_limit: dict[str, AboveLimit],
    wrongly: float,
) -> Judged:
    leaders = leaders_of(prepared, seen, views)
    densities, failing = variable_densities(prepared, seen, views, seconds, leaders)
    log_likelihoods: list[list[float] | None] = []
    for variable, row in enumerate(densities):
        fail = failing[variable]
        if row is None or fail is None:
            log_likelihoods.append(None)
            continue
        chance, density = fail
        log_likelihoods.append(
            [
                math.log((1 - chance) * mixed(mixture, row) + chance * density + TINY)
                for mixture in prepared.mixtures[variable]
            ]
        )
    sweep = {contact: one.drop_mv for (contact, lead), one in seen.items() if lead == "red" and one.drop_mv is not None}
    further = [as_drawn(prepared, touched, counting, seen) for touched in facts.further]
    bench = Bench(prepared.board, sweep, lambda contact: _shifted(bands, views, contact), at, prepared.known.ohms)
    findings = findings_of(bench, further)
    observations = tuple(
        drawn_observation(prepared, one, counting) for one in sheet.observations if one.id not in sheet.removed_ids
    )
    rows = log_factors(prepared.stories, prepared.board, findings, observations, last_read(prepared, facts, counting))
    rows.extend(blunder_factors(prepared.stories, sheet, facts, observations, wrongly))
    factors = [math.fsum(of_one) for of_one in zip([0.0] * len(prepared.stories), *rows, strict=True)]
    factors = [one + alone for one, alone in zip(factors, prepared.companions.log_alone, strict=True)]
    for story, extra in lone_over_range(prepared, seen, views).items():
        factors[story] += extra
    for story, extra in freed_of_leaning(prepared.stories, fit.common).items():
        factors[story] += extra
    scores = [
        score + factor for score, factor in zip(story_scores(prepared.model, log_likelihoods), factors, strict=True)
    ]
    pairs, pair_scores = _pairs(prepared, log_likelihoods, scores, factors, rows)
    both = with_pairs(prepared.model, pairs, pair_scores, _pair_decisions(prepared, pairs)) if pairs else prepared.model
    return Judged(
        prepared,
        facts,
        at,
        counting,
        fit,
        seen,
        bands,
        views,
        seconds,
        leaders,
        meters,
        above_limit,
        findings,
        observations,
        log_likelihoods,
        densities,
        failing,
        both,
        scores,
        posterior(scores + pair_scores),
        pairs,
    )


def _shifted(bands: dict[tuple[int, str], Healthy], views: dict[tuple[int, str], View], contact: int) -> Healthy:
    view = views[contact, "red"]
    return bands[contact, "red"]._replace(loc=view.loc, scale=view.scale)


def _pairs(
    prepared: Prepared,
    log_likelihoods: list[list[float] | None],
    scores: list[float],
    factors: list[float],
    rows: list[list[float]],
) -> tuple[list[tuple[int, int]], list[float]]:
    """Pairs of independent stories worth keeping, with their scores; a feed's fuse goes with anything live."""
    firsts = sorted(range(len(scores)), key=scores.__getitem__, reverse=True)[:FIRSTS_TRIED]
    log_second = [prior + factor for prior, factor in zip(prepared.log_second, factors, strict=True)]
    top = max(scores)
    found = second_story_scores(prepared.model, log_likelihoods, scores, firsts, log_second, top - LOG_WORTH_KEEPING)
    marks = {first: [row for row in rows if row[first] > 0] for first in firsts}
    paired = prepared.companions.log_beside
    kept = []
    for score, first, second in found:
        together = 0.0
        if (first, second) in paired or (second, first) in paired:
            together = _goes_with(prepared, first, second)
        if marks[first]:
            together += claimed_twice(marks[first], first, second)
        # negative scores, so that a plain sort goes by them and then by the places
        kept.append((-(score + together), first, second))
    for kind, told in (("meter_differs", 0.0), ("elsewhere", math.log(SPEAKS_FOR))):
        kept.extend(_beside(prepared, scores, factors, firsts, rows, kind, told))
    kept.sort()
    kept = [one for one in kept if -one[0] > top - LOG_WORTH_KEEPING][:HYPOTHESES_KEPT]
    return [(first, second) for _, first, second in kept], [-negative for negative, _, _ in kept]


def _beside(
    prepared: Prepared, scores: list[float], factors: list[float], firsts: list[int], rows: list[list[float]],
    kind: str, told: float,
) -> list[tuple[float, int, int]]:
    """A meter that differs, or a module that is sick, is as likely beside any fault as alone: a screen that is short
    takes the fuse of its feed with it. Neither changes what the board's contacts read, so each is put beside a fault
    only where something said more than `told` (a natural logarithm) for it. Scores are negative, as `_pairs` sorts
    them."""
    other = next((place for place, story in enumerate(prepared.stories) if story.kind == kind), None)
    if other is None or factors[other] <= told:
        return []
    beside = prepared.model.log_priors[other] + factors[other]
    return [
        (-(scores[first] + beside + (claimed_twice(rows, first, other) if kind == "elsewhere" else 0.0)), first, other)
        for first in firsts
        if prepared.model.footprints[first]
    ]


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
    """How much likelier the pair is than two unrelated faults, where one comes with the other."""
    log_alone, log_beside = prepared.companions
    more = 0.0
    for one, other in ((first, second), (second, first)):
        if (one, other) in log_beside:
            more = max(more, log_beside[one, other] - log_alone[one] - prepared.log_second[other])
    return more


def probe_at(judged: Judged) -> int | None:
    """The contact touched last."""
    latest, here = -1, None
    for touched in judged.facts.sweep:
        if touched.reading.taken_at_ms >= latest:
            latest = touched.reading.taken_at_ms
            here = judged.counting.best.to_drawn[
                judged.prepared.board.places[getattr(touched.reading.touch, "contact", "")]
            ]
    return here
