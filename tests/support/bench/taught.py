"""What a shop would know that had closed endlessly many jobs of the bench's world: its rates, as a sheet carries them.

The engine's tables are the trade's and differ from the world's on purpose; a shop's own jobs replace some of them
(`shared_models.sheet.Shop`): how often each kind of story happens, what a voltage does to a line, how often a first
touch fails. What else the tables say (the lines of a hurt chip, two faults at once) stays the trade's.
"""

import math
from functools import cache

from server.engine.prepared import prepare
from shared_models.sheet import BenchSheet, ExposureOdds, Shop, ShopWeight
from tests.support.bench import tables as t
from tests.support.bench.engine_says import class_of
from tests.support.bench.jobs import Job
from tests.support.bench.sheets import sheet
from tests.support.bench.sockets import SocketPlan
from tests.support.bench.story_world import States, stories

ROUNDS = 400
LEAST = 1e-6
"""The factor on a kind that never happens there: a sheet holds none of nothing."""
MANY = 1_000_000

IN_A_SHEET = {"healthy": "expected", "short": "short", "leak": "low", "raised": "high"}
EXPOSED: dict[str, States] = {
    "hit_hard": t.SLIP_STATES,
    "hit_hard_softened": t.SLIP_STATES,
    "hit_hard_protected": t.SLIP_STATES,
    "hit_little": t.SLIP_SOFT_STATES,
    "slip_rail_grounded": t.SLIP_RAIL_STATES,
    "plugged_live": t.CHIP_STATES,
    "tilted_live": t.TILT_STATES,
}
"""What that world does to a line, by the engine's class of what it met; a part in series softens nothing there."""

_taught: dict[str, Shop] = {}


def shop_of(job: Job) -> Shop:
    """The shop on a job's socket; the same for every job on it."""
    plan = job.plan
    if plan.name not in _taught:
        _taught[plan.name] = _shop(sheet(job, job.contacts, references=0, order=[]), plan)
    return _taught[plan.name]


def _shop(page: BenchSheet, plan: SocketPlan) -> Shop:
    tells: dict[str, dict[str, float]] = {}
    for story in prepare(page).stories:
        classes = tells.setdefault(story.kind, {})
        name = class_of(story, plan)
        classes[name] = classes.get(name, 0.0) + story.weight
    before = {kind: math.fsum(classes.values()) for kind, classes in tells.items()}
    whole = math.fsum(before.values())
    within = {kind: {name: part / before[kind] for name, part in tells[kind].items()} for kind in tells if before[kind]}
    shares = shares_that_tell(within, _happens(plan.name))
    fails = t.FAILS_HIGH + t.FAILS_OPEN + t.FAILS_NEIGHBOUR
    return Shop(
        weights=tuple(
            ShopWeight(story=kind, factor=max(LEAST, share * whole / before[kind])) for kind, share in shares.items()
        ),
        exposures=tuple(
            ExposureOdds(exposure=name, lines=MANY, odds={IN_A_SHEET[one]: share for one, share in states.items()})
            for name, states in EXPOSED.items()
        ),
        touch_fails_wide=fails,
        touch_fails_fine=fails,
    )


@cache
def _happens(plan_name: str) -> dict[str, float]:
    """How often each class happens in the world, counting from the wrong end left out: a shop has no weight for it."""
    told: dict[str, float] = {}
    for story in stories(plan_name):
        if story.merged != "counted":
            told[story.merged] = told.get(story.merged, 0.0) + story.share
    whole = math.fsum(told.values())
    return {name: share / whole for name, share in told.items()}


def shares_that_tell(within: dict[str, dict[str, float]], happens: dict[str, float]) -> dict[str, float]:
    """The shares of kinds, each of which tells classes in its own proportions (`within`), that make what happens most
    probable: EM for the weights of a mixture of known parts (Bishop, Pattern Recognition and Machine Learning, 9.3).
    """
    shares = dict.fromkeys(within, 1 / len(within))
    for _ in range(ROUNDS):
        fresh = dict.fromkeys(within, 0.0)
        for name, often in happens.items():
            parts = {kind: shares[kind] * classes.get(name, 0.0) for kind, classes in within.items()}
            total = math.fsum(parts.values())
            for kind, part in parts.items():
                fresh[kind] += often * part / total if total > 0 else 0.0
        whole = math.fsum(fresh.values())
        shares = {kind: share / whole for kind, share in fresh.items()}
    return shares
