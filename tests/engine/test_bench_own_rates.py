"""The near-ideal judge on the engine's rates: Bayes' rule by hand, and what a ground beside a contact does to it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from server.engine.over_range import touch_fails
from tests.support.bench import engine_says
from tests.support.bench import tables as t
from tests.support.bench.ideal import Judged
from tests.support.bench.jobs import Job, make_jobs
from tests.support.bench.own_rates import odds_on_own_rates
from tests.support.bench.sheets import sheet

SD_MV = 3.0


@pytest.fixture(scope="module")
def job(ngspice_path: str) -> Job:
    return make_jobs(ngspice_path, 1, "plain", range(1))[0]


def judged_at(job: Job, at_mv: float) -> Judged:
    """All lines stand at `at_mv`; each fault's density is 1e-3 per mV, an open's nothing."""
    lines = [n for n, line in enumerate(job.plan.lines) if line.conducts]
    logs = np.log(np.array([1.0, 1e-3, 1e-3, 1e-3, 1e-12]))
    return Judged(
        dict.fromkeys(lines, logs), dict.fromkeys(lines, logs), dict.fromkeys(lines, at_mv),
        dict.fromkeys(lines, SD_MV**2),
    )  # fmt: skip


def odds(job: Job, shown: float) -> dict[int, float]:
    one = replace(job.contacts, first=[shown if line.conducts else None for line in job.plan.lines])
    return odds_on_own_rates(job, one, judged_at(job, 400.0), 8)


def test_a_reading_at_its_place_leaves_little_of_the_engines_own_rate(job: Job) -> None:
    contact = next(n for n, line in enumerate(job.plan.lines) if line.role == "lane")
    told = engine_says.rates_before(sheet(job, job.contacts, order=[]), job.plan)[contact]
    ma, fails = job.contacts.session.told_current_ma, touch_fails(job.plan.board.sockets[0].pitch_mm, None)
    at = 400.0 + t.PROBE_OHM * ma
    spread = math.sqrt(SD_MV**2 + t.NOISE_MV**2 + 1 / 12 + (t.PROBE_SD_OHM * ma) ** 2)
    healthy = 1 / (spread * math.sqrt(2 * math.pi))
    # short, leaky and high lines each read so with 1e-3 per mV; a failed touch here shows a neighbour's number or less
    faulty = sum(told[1:4]) * 1e-3
    at_most = (faulty + sum(told[1:]) * fails * healthy) / ((1 - fails) * healthy * (1 - sum(told[1:])))
    least = 0.9 * faulty / healthy
    assert least < odds(job, at)[contact] < 1.1 * at_most


def test_nought_beside_a_ground_is_rather_a_touch_that_slipped(job: Job) -> None:
    told = odds(job, 1.0)
    lines = job.plan.lines
    lanes = [n for n, line in enumerate(lines) if line.role == "lane"]
    beside = [n for n in lanes if any(lines[other].role == "ground" for other in job.plan.neighbours(n))]
    apart = [n for n in lanes if n not in beside]
    assert beside and apart
    assert max(told[n] for n in beside) < 0.5
    assert min(told[n] for n in apart) > 0.5


def test_of_a_rail_only_its_single_contacts_are_judged(job: Job) -> None:
    rails = {n for n, line in enumerate(job.plan.lines) if line.is_rail}
    told = odds(job, 200.0)
    assert rails
    assert max(told[n] for n in rails) < 0.05, "a rail that is low as a whole is the stories' to tell"
    assert min(odd for n, odd in told.items() if n not in rails) > 0.5
