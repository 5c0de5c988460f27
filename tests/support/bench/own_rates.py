"""The near-ideal judge with the engine's own rates: what of the engine's misses is the price of its tables.

Where a healthy contact reads, how well that is known and what each fault reads stay the world's. How often contacts of
this kind are hurt, in which way, and how often and how a touch fails are what the engine holds, asked of it before
anything was read. Only first touches are judged so, those that showed a number.
"""

import math

import numpy as np
from scipy import stats

from server.engine.constants.readings import DIFFUSE_MAX_MV, FAIL_ANY, FAIL_HIGH, FAIL_HIGH_OHM, FAIL_NEIGHBOUR
from server.engine.over_range import touch_fails
from tests.support.bench import engine_says
from tests.support.bench import tables as t
from tests.support.bench.ideal import STATES, TINY, Judged
from tests.support.bench.ideal_fit import Array, told_of
from tests.support.bench.jobs import Job, OnBench
from tests.support.bench.sheets import sheet

GROUND_SD_MV = 1.5


def odds_on_own_rates(
    job: Job, one: OnBench, judged: Judged, references: int, *, told: bool = True
) -> dict[int, float]:
    """The chance that a contact is not healthy, of each contact whose first touch showed a number."""
    rates = engine_says.rates_before(sheet(job, one, references=references, told=told, order=[]), job.plan)
    ma = told_of(one.session, sheet=told).current_ma
    fails = touch_fails(job.plan.board.sockets[0].pitch_mm, None)
    odds = {}
    for contact, logs in judged.log_states.items():
        shown = one.first[contact]
        if shown is None:
            continue
        densities = np.exp(logs)
        densities[STATES.index("healthy")] = _healthy(judged, contact, shown, ma)
        failed = _failed(job, judged, contact, shown, ma)
        weights = _shares(job, rates, contact) * ((1 - fails) * densities + fails * failed)
        odds[contact] = float(1 - weights[0] / max(weights.sum(), TINY))
    return odds


def _shares(job: Job, rates: list[list[float]], contact: int) -> Array:
    """By `STATES`. What befalls a whole rail is left out: its contacts are judged beside one another here."""
    shares = np.array(rates[contact])
    if job.plan.lines[contact].is_rail:
        shares[[STATES.index(state) for state in ("short", "leak", "raised")]] = 0.0
    shares[0] = 1 - shares[1:].sum()
    return shares


def _spread(judged: Judged, contact: int, ma: float) -> float:
    return math.sqrt(judged.var[contact] + t.NOISE_MV**2 + 1 / 12 + (t.PROBE_SD_OHM * ma) ** 2)


def _healthy(judged: Judged, contact: int, shown: float, ma: float) -> float:
    """Density of a good touch of a healthy contact, per mV."""
    at, spread = judged.mean[contact] + t.PROBE_OHM * ma, _spread(judged, contact, ma)
    return float(stats.norm.pdf(shown, at, spread))


def _failed(job: Job, judged: Judged, contact: int, shown: float, ma: float) -> float:
    """Density of a failed touch that shows a number: a neighbour's, one too high, or any."""
    at, spread = judged.mean[contact] + t.PROBE_OHM * ma, _spread(judged, contact, ma)
    beside = [
        (judged.mean[other] + t.PROBE_OHM * ma, _spread(judged, other, ma))
        if other in judged.mean
        else (t.PROBE_OHM * ma, GROUND_SD_MV)
        for other in job.plan.neighbours(contact)
        if other in judged.mean or job.plan.lines[other].role == "ground"
    ]
    neighbour = sum(float(stats.norm.pdf(shown, *one)) for one in beside) / max(len(beside), 1)
    added = FAIL_HIGH_OHM * ma
    high = float(stats.exponnorm.pdf(shown, added / spread, at, spread))
    return FAIL_NEIGHBOUR * neighbour + FAIL_HIGH * high + FAIL_ANY / DIFFUSE_MAX_MV
