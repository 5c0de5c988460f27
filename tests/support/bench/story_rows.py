"""The stories' part of one job: what each judge gives the class that is true, and how its odds lie."""

import math
from dataclasses import replace
from typing import Any

import msgspec

from tests.support.bench import engine_says, ideal_stories
from tests.support.bench import tables as t
from tests.support.bench.contact_rows import asked_again
from tests.support.bench.ideal import Ideal
from tests.support.bench.jobs import Job
from tests.support.bench.sheets import sheet
from tests.support.bench.story_scores import AGAIN, TAUGHT
from tests.support.bench.story_world import stories
from tests.support.bench.taught import shop_of

FLOOR = 1e-6
"""The least probability a class is scored with."""
SET = 0.9
BRIDGED = "1.2"


def story_row(job: Job, ideal: Ideal, references: int, *, told: bool = True) -> dict[str, Any]:
    """One row: the prior, the near-ideal judge on true and on the engine's tables, and the engine; with eight healthy
    boards also the engine as a shop would have it that has learnt the world's rates.
    """
    one = job.story
    assert one.story is not None
    known = stories(job.plan.name)
    prior: dict[str, float] = {}
    for story in known:
        prior[story.merged] = prior.get(story.merged, 0.0) + story.share
    page = sheet(job, one, references=references, told=told)
    best, on_engines = ideal_stories.class_odds(ideal, one, engine_says.stories_told(page, job.plan))
    scores = {
        "ideal": _score(best, one.story.merged),
        "ideal_tables": _score(on_engines, one.story.merged),
        "engine": _score(engine_says.class_odds(page, job.plan), one.story.merged),
    }
    row: dict[str, Any] = {
        "weather": job.weather, "job": job.index, "references": references, "sheet": told,
        "current_ma": round(one.session.current_ma, 4), "socket": job.plan.name,
        "kind": one.story.kind, "class": one.story.merged,
        "damage": bool(one.condition.wrong(job.plan)),
        "classes": len(prior),
        "prior": _score(prior, one.story.merged),
        **scores,
        **_again(job, ideal, references, scores, told=told),
    }  # fmt: skip
    if references == t.REFERENCE_BOARDS and told:
        page = msgspec.structs.replace(page, shop=shop_of(job))
        row[TAUGHT] = _score(engine_says.class_odds(page, job.plan), one.story.merged)
    row["hurt as told"] = is_hurt(job, row["engine"]["top"])
    row[f"hurt as told{AGAIN}"] = is_hurt(job, row[f"engine{AGAIN}"]["top"])
    if one.story.bridge is not None and one.story.merged.startswith("bridge"):
        row["bridge"] = _bridge(job, ideal, references, told=told)
    return row


def is_hurt(job: Job, named: str) -> bool:
    """Whether the rail, line or chip that a class names is hurt on the job's board, whatever it was that happened."""
    plan, condition = job.plan, job.story.condition
    kind, _, name = named.partition(" ")
    named_by = {
        "rail": [one.net == name for one in plan.lines],
        "line": [one.number == name for one in plan.lines],
        "chip": [one.chip == name for one in plan.lines],
    }.get(kind, [])
    wrong = condition.wrong(plan)
    return any(is_named and contact in wrong for contact, is_named in enumerate(named_by))


def _again(job: Job, ideal: Ideal, references: int, first: dict[str, Any], *, told: bool) -> dict[str, Any]:
    """The same once more when the touches that the engine asks for again were made.

    The near-ideal judge gets the second touch in place of the first: a little less than the engine, which has both.
    """
    one = job.story
    assert one.story is not None
    page = sheet(job, one, references=references, told=told)
    asked = asked_again(job, one, engine_says.of_contacts(engine_says.opinion_of(page), job.plan))
    if not asked:
        return {f"{judge}{AGAIN}": score for judge, score in first.items()}
    page = sheet(job, one, references=references, told=told, again=asked)
    later = replace(one, first=[one.second[n] if n in asked else mv for n, mv in enumerate(one.first)])
    best, on_engines = ideal_stories.class_odds(ideal, later, engine_says.stories_told(page, job.plan))
    engine = engine_says.class_odds(page, job.plan)
    found = {"ideal": best, "ideal_tables": on_engines, "engine": engine}
    return {f"{judge}{AGAIN}": _score(odds, one.story.merged) for judge, odds in found.items()}


def _score(odds: dict[str, float], true: str) -> dict[str, Any]:
    """Of one judge's odds: the true class's, the leader, Brier, and the least set that holds nine tenths."""
    ranked = sorted(odds.items(), key=lambda one: (-one[1], one[0]))
    given = odds.get(true, 0.0)
    held, size, covered = 0.0, 0, False
    for name, weight in ranked:
        if held >= SET:
            break
        held, size, covered = held + weight, size + 1, covered or name == true
    return {
        "log": round(-math.log(max(given, FLOOR)), 5),
        "true": round(given, 6),
        "top": ranked[0][0],
        "top_p": round(ranked[0][1], 6),
        "rank": next((n for n, (name, _) in enumerate(ranked) if name == true), len(ranked)),
        "brier": round(math.fsum((weight - (name == true)) ** 2 for name, weight in ranked) + (true not in odds), 6),
        "set": size,
        "covered": covered,
    }


def _bridge(job: Job, ideal: Ideal, references: int, *, told: bool) -> dict[str, Any]:
    """How far the joined contacts stand from their bands, and what the engine says before and after touching both."""
    one = job.story
    assert one.story is not None
    assert one.story.bridge is not None
    judged = ideal.judge(one, ideal_stories.state_priors(job))
    far = 0.0
    for contact in one.story.bridge:
        true = one.true_mv[contact]
        if contact in judged.mean and true is not None:
            at = one.session.gain * true + one.session.offset_mv
            spread = math.sqrt(judged.var[contact] + t.NOISE_MV**2)
            far = max(far, abs(at - judged.mean[contact]) / spread)
        elif not job.plan.lines[contact].conducts and true is not None:
            far = 99.0  # a number where nothing conducts
    page = sheet(job, one, references=references, told=told)
    said = engine_says.of_contacts(engine_says.opinion_of(page), job.plan)
    a, b = one.story.bridge
    touched = sheet(job, one, references=references, told=told, between=[(a, b, BRIDGED)])
    name = one.story.merged
    return {
        "deviations": round(far, 2),
        "odd": round(max(said.odd[a], said.odd[b]), 6),
        "story": round(engine_says.class_odds(page, job.plan).get(name, 0.0), 6),
        "story_after_between": round(engine_says.class_odds(touched, job.plan).get(name, 0.0), 6),
    }
