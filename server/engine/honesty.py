"""How honest the odds of closed jobs were: what the opinions had said, beside what was really wrong.

One job is one forecast: that its leading story is true, with the odds it was given, told in tens as the screens tell
them. A job counts once, and not while its closings differ (`closings`); one that was never found out, or only
believed, cannot judge the odds.
"""

import math

from server.engine.closings import counted, same_subject
from server.engine.constants.learning import AMONG_FIRST, HONEST_TAIL, HONEST_Z, TOO_FEW_FLOOR
from server.engine.constants.next_touch import BOXES, STORY_FLOOR
from server.engine.constants.sessions import PERCENT
from server.engine.honest_chances import honest_chances
from server.engine.learning_words import counted_words, not_counted
from server.engine.rounding import plain, probability
from server.engine.scores import honest_hits, log_score, murphy
from shared_models.closing import Closing, SaidBefore
from shared_models.learning import Honesty, HonestyBin, LearningQuestion


def honesty(question: LearningQuestion) -> Honesty:
    """How honest the odds were, over all closings of a shop; those before a reset of learning count here too."""
    held, disputed = counted(question.closings)
    aside = tuple(
        one
        for one in (
            not_counted("disputed", disputed),
            not_counted("never_found_out", [one.job_id for one in held if not one.was_wrong]),
            not_counted("only_believed", [one.job_id for one in held if one.was_wrong and not _known(one)]),
            not_counted("no_odds", [one.job_id for one in held if _known(one) and not _ranked(one)]),
        )
        if one.job_ids
    )
    jobs = [(_ranked(one), one) for one in held if _known(one) and _ranked(one)]
    timed = [one for one in held if one.reading_s is not None and one.sweep_s is not None]
    seconds = {
        "timed_jobs": len(timed),
        "reading_s": plain(math.fsum(one.reading_s or 0.0 for one in timed)),
        "sweep_s": plain(math.fsum(one.sweep_s or 0.0 for one in timed)),
    }
    chances = honest_chances(held)
    if not jobs:
        sentences = (_few_words(0), *_saved_words(timed))
        return Honesty(
            jobs=0, too_few=True, log_floor=STORY_FLOOR, chances=chances, sentences=sentences, not_counted=aside,
            **seconds,
        )
    led = [(ranked[0].odds, _is_true(ranked[0], one)) for ranked, one in jobs]
    bins, off_by, floor, floor_high = _bins(led)
    parts = murphy([(tens / BOXES, len(inside), _hits(inside)) for tens, inside in _by_tens(led)])
    places = [_place(ranked, one) for ranked, one in jobs]
    first = len([place for place in places if place == 0])
    among = len([place for place in places if place is not None and place < AMONG_FIRST])
    too_few = floor > TOO_FEW_FLOOR
    told = [_few_words(len(jobs))] if too_few else [_honest_words(off_by, floor, floor_high, len(jobs))]
    told.append(
        f"What was really wrong led the list in {first} of {counted_words(len(jobs), 'job')}, and was among its first"
        f" {AMONG_FIRST} in {among}."
    )
    return Honesty(
        jobs=len(jobs),
        too_few=too_few,
        bins=bins,
        off_by=probability(off_by),
        off_by_floor=probability(floor),
        off_by_floor_high=probability(floor_high),
        brier=probability(parts.brier),
        reliability=probability(parts.reliability),
        resolution=probability(parts.resolution),
        uncertainty=probability(parts.uncertainty),
        log_nat=plain(log_score([_odds_of_truth(ranked, one) for ranked, one in jobs], STORY_FLOOR)),
        log_floor=STORY_FLOOR,
        first=first,
        among_three=among,
        chances=chances,
        sentences=(*told, *_saved_words(timed)),
        not_counted=aside,
        **seconds,
    )


def _known(closing: Closing) -> bool:
    return any(one.how_known != "believed" for one in closing.was_wrong)


def _ranked(closing: Closing) -> list[SaidBefore]:
    """What may lead, likeliest first; a second fault beside it is no other answer to the same question."""
    said = [one for one in closing.said_before if not one.beside]
    return sorted(said, key=lambda one: (-one.odds, one.story, one.subject))


def _is_true(said: SaidBefore, closing: Closing) -> bool:
    """Whether a story is one of those that were shown to be true; one without a subject means any of its kind."""
    return any(
        one.story == said.story and (one.subject == "" or same_subject(one.subject, said.subject))
        for one in closing.was_wrong
        if one.how_known != "believed"
    )


def _place(ranked: list[SaidBefore], closing: Closing) -> int | None:
    return next((place for place, said in enumerate(ranked) if _is_true(said, closing)), None)


def _odds_of_truth(ranked: list[SaidBefore], closing: Closing) -> float:
    return min(1.0, math.fsum(said.odds for said in ranked if _is_true(said, closing)))


def _by_tens(led: list[tuple[float, bool]]) -> list[tuple[int, list[tuple[float, bool]]]]:
    """The forecasts by the nearest ten in a hundred, half upwards, as many boxes as the screens fill."""
    tens: dict[int, list[tuple[float, bool]]] = {}
    for odds, came_true in led:
        tens.setdefault(math.floor(odds * BOXES + 0.5), []).append((odds, came_true))
    return sorted(tens.items())


def _hits(inside: list[tuple[float, bool]]) -> int:
    return len([None for _, came_true in inside if came_true])


def _bins(led: list[tuple[float, bool]]) -> tuple[tuple[HonestyBin, ...], float, float, float]:
    """The bins; how far off the odds were over them; what honest odds show on average, and in 1 of 20 sets at most.

    The latter takes the bins' independent distances as normal together.
    """
    told, distances, floors, variances = [], [], [], []
    for tens, inside in _by_tens(led):
        odds = [one for one, _ in inside]
        honest = honest_hits(odds, HONEST_TAIL)
        distances.append(abs(_hits(inside) - math.fsum(odds)))
        floors.append(honest.distance)
        variances.append(honest.variance)
        told.append(
            HonestyBin(
                tens=tens,
                jobs=len(inside),
                said=probability(math.fsum(odds) / len(odds)),
                came_true=_hits(inside),
                honest_low=honest.low,
                honest_high=honest.high,
            )
        )
    jobs, floor = len(led), math.fsum(floors)
    high = floor + HONEST_Z * math.sqrt(math.fsum(variances))
    return tuple(told), math.fsum(distances) / jobs, floor / jobs, high / jobs


def _few_words(jobs: int) -> str:
    return f"{counted_words(jobs, 'closed job')}: too few to tell how honest the odds were."


def _honest_words(off_by: float, floor: float, floor_high: float, jobs: int) -> str:
    said, least, most = (f"{PERCENT * one:.0f}" for one in (off_by, floor, floor_high))
    beside = f"honest odds would show {least} in {jobs} jobs, and more than {most} in 1 of 20 such sets"
    if off_by <= floor_high:
        return f"The odds were off by {said} in 100 on average; {beside}. Nothing speaks against them."
    return f"The odds were off by {said} in 100 on average; {beside}. They were not honest: look where in the table."


def _saved_words(timed: list[Closing]) -> tuple[str, ...]:
    if not timed:
        return ()
    reading = math.fsum(one.reading_s or 0.0 for one in timed)
    sweep = math.fsum(one.sweep_s or 0.0 for one in timed)
    more = "less" if reading <= sweep else "more"
    return (
        f"In {counted_words(len(timed), 'job')} reading took {reading:.0f} s without pauses,"
        f" {abs(sweep - reading):.0f} s {more} than every contact in turn ({sweep:.0f} s).",
    )
