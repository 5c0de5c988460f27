"""The shop that has learnt the rates of the bench's world: the weights that tell it, by hand and in a sheet."""

import math
import random

import pytest
from msgspec.structs import replace

from server.engine.prepared import prepare
from shared_models.sheet import BenchSheet
from tests.support.bench.engine_says import class_of
from tests.support.bench.jobs import Job, make_jobs
from tests.support.bench.sheets import sheet
from tests.support.bench.story_world import stories
from tests.support.bench.taught import shares_that_tell, shop_of


def test_kinds_that_share_no_class_get_what_their_classes_happen() -> None:
    within = {"one": {"a": 0.75, "b": 0.25}, "other": {"c": 1.0}}
    shares = shares_that_tell(within, {"a": 0.4, "b": 0.2, "c": 0.4})
    assert shares == {"one": pytest.approx(0.6), "other": pytest.approx(0.4)}


def test_a_class_that_two_kinds_tell_is_shared_so_that_what_happens_is_most_probable() -> None:
    within = {"one": {"a": 1.0}, "other": {"a": 0.5, "b": 0.5}}
    # b happens in three of ten, so `other` is twice that: 0.6 (by hand: 0.5 x = 0.3)
    shares = shares_that_tell(within, {"a": 0.7, "b": 0.3})
    assert shares["other"] == pytest.approx(0.6, abs=1e-6)


def test_no_other_shares_make_what_happens_more_probable() -> None:
    rng = random.Random(3)
    within = {kind: normal({name: rng.random() for name in "abcde"}) for kind in ("x", "y", "z")}
    happens = normal({name: rng.random() for name in "abcde"})

    def told(shares: dict[str, float]) -> float:
        return math.fsum(
            often * math.log(math.fsum(shares[kind] * within[kind][name] for kind in within))
            for name, often in happens.items()
        )

    best = told(shares_that_tell(within, happens))
    for _ in range(2000):
        assert told(normal({kind: rng.random() for kind in within})) <= best + 1e-9


def test_with_its_weights_the_engine_expects_what_happens_in_that_world(ngspice_path: str) -> None:
    """Of classes that happen in one job of fifty and more: less than half as far off as by the trade's table."""
    for job in make_jobs(ngspice_path, 1, "plain", range(5)):
        happens: dict[str, float] = {}
        for story in stories(job.plan.name):
            happens[story.merged] = happens.get(story.merged, 0.0) + story.share
        page = sheet(job, job.contacts, references=0, order=[])
        before, after = (classes(job, page) for page in (page, replace(page, shop=shop_of(job))))
        apart = [[abs(math.log(told.get(name, 1e-6) / often)) for name, often in happens.items() if often > 0.02
                  and name != "counted"] for told in (before, after)]
        assert sum(apart[1]) < 0.5 * sum(apart[0]), job.plan.name
        assert after["healthy"] == pytest.approx(happens["healthy"] / (1 - happens["counted"]), rel=0.05)


def classes(job: Job, page: BenchSheet) -> dict[str, float]:
    told: dict[str, float] = {}
    for story in prepare(page).stories:
        name = class_of(story, job.plan)
        told[name] = told.get(name, 0.0) + story.weight
    return normal(told)


def normal(parts: dict[str, float]) -> dict[str, float]:
    whole = math.fsum(parts.values())
    return {name: part / whole for name, part in parts.items()}
