"""What closed jobs teach, against scipy: the Dirichlet and beta posteriors, and the mode where intakes differ.

Conjugate posterior means are textbook (Bishop, Pattern Recognition and Machine Learning, 2006, 2.1 and 2.2; from
memory). The weights under different intakes have no closed form: a general optimiser finds the same mode. Does not
prove that twenty jobs is the right worth of the table: that is common practice, no source.
"""

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import beta, dirichlet

from server.engine.constants.learning import PRIOR_JOBS, PRIOR_LINES, PRIOR_TOUCHES
from server.engine.constants.stories import INTAKE_FACTORS, SHARE
from server.engine.exposures import EXPOSURES
from server.engine.learning import KINDS, learnt, story_weights, table_shares
from shared_models.closing import Closing, MetVoltage, WasWrong
from shared_models.learning import LearningQuestion


def closed(number: int, story: Any, **more: Any) -> Closing:
    return Closing(
        id=f"c-{number}", job_id=f"j-{number}", was_wrong=(WasWrong(story=story, how_known="seen"),),
        closed_at_ms=1_700_000_000_000 + number, **more,
    )


def test_shares_without_a_word_at_the_counter_are_the_mean_of_the_dirichlet() -> None:
    counts = {"bridge": 7, "elsewhere": 20, "rail_short": 2, "wet": 1}
    stories = [story for story, many in counts.items() for _ in range(many)]
    told = learnt(LearningQuestion(closings=tuple(closed(n, story) for n, story in enumerate(stories))))
    shares = table_shares()
    mean = dirichlet([PRIOR_JOBS * shares[kind] + counts.get(kind, 0) for kind in KINDS]).mean()
    assert [one.learnt for one in told.stories] == pytest.approx(list(mean), abs=2e-6)
    assert told.jobs == 30


def test_the_worth_of_the_table_is_twenty_jobs() -> None:
    told = learnt(LearningQuestion(closings=tuple(closed(n, "wet") for n in range(20))))
    wet = next(one for one in told.stories if one.story == "wet")
    assert wet.learnt == pytest.approx((wet.in_table + 1) / 2, abs=2e-6)


def test_weights_under_different_intakes_are_the_mode_a_general_optimiser_finds() -> None:
    rng = np.random.default_rng(21)
    shares = table_shares()
    table = np.array([shares[kind] for kind in KINDS])
    expectations = [table * rng.uniform(0.1, 8, size=len(KINDS)) for _ in range(4)]
    jobs = []
    for _ in range(60):
        expected = expectations[int(rng.integers(4))]
        truth = KINDS[int(rng.choice(len(KINDS), p=expected / expected.sum()))]
        jobs.append((tuple(float(one) for one in expected), {truth: 1.0}))

    def minus_log_posterior(logs: np.ndarray) -> float:
        weights = np.exp(logs)
        told = sum(logs[KINDS.index(next(iter(truth)))] - math.log(float(np.dot(weights, expected)))
                   for expected, truth in jobs)
        return -told - float(np.sum(PRIOR_JOBS * table * (logs - weights)))

    best = minimize(minus_log_posterior, np.zeros(len(KINDS)), method="BFGS", options={"gtol": 1e-8})
    found = story_weights(jobs)
    assert [math.log(found[kind]) for kind in KINDS] == pytest.approx(list(best.x), abs=2e-5)


def test_what_was_said_at_the_counter_is_not_learnt_a_second_time() -> None:
    # sixty wet devices, shared out exactly as the table has it of devices that were wet
    factors = {family: INTAKE_FACTORS["liquid"].get(family, 1.0) for family in SHARE}
    total = math.fsum(SHARE[family] * factors[family] for family in SHARE)
    wet = round(60 * SHARE["wet"] * factors["wet"] / total)
    elsewhere = round(60 * SHARE["elsewhere"] * factors["elsewhere"] / total)
    rest = 60 - wet - elsewhere
    others = ["leak", "contact_torn", "series_open", "chip_damaged", "rail_short", "bridge"]
    stories = ["wet"] * wet + ["elsewhere"] * elsewhere + [others[n % len(others)] for n in range(rest)]
    told = learnt(LearningQuestion(
        closings=tuple(closed(n, story, what_happened=("liquid",)) for n, story in enumerate(stories))))
    found = next(one for one in told.stories if one.story == "wet")
    assert found.jobs > 20
    assert found.learnt == pytest.approx(found.in_table, rel=0.15)


def test_what_a_voltage_did_to_lines_is_the_mean_of_the_dirichlet() -> None:
    lines = ["short"] * 3 + ["low"] * 8 + ["expected"] * 4
    met = tuple(MetVoltage(exposure="hit_hard", found=found) for found in lines)  # pyright: ignore[reportArgumentType]
    told = learnt(LearningQuestion(closings=(closed(1, "plug_off_by", met_voltage=met),)))
    [hard] = told.exposures
    table = EXPOSURES["hit_hard"]
    mean = dirichlet([PRIOR_LINES * table[state] + lines.count(state) for state in table]).mean()
    assert [one.learnt for one in hard.states] == pytest.approx(list(mean), abs=2e-6)


def test_failed_touches_are_the_mean_of_the_beta() -> None:
    told = learnt(LearningQuestion(closings=(closed(1, "wet", touches=700, failed_touches=35, pitch_mm=0.35),)))
    [fine] = told.touches
    assert (fine.pitch, fine.touches, fine.failed) == ("fine", 700, 35)
    mean = beta(PRIOR_TOUCHES * 0.04 + 35, PRIOR_TOUCHES * 0.96 + 665).mean()
    assert fine.learnt == pytest.approx(float(mean), abs=1e-6)


def test_the_worth_of_the_touches_covers_what_practice_says() -> None:
    # 1 to 3 of 100 touches fail at half a millimetre: common practice, no source
    prior = beta(PRIOR_TOUCHES * 0.02, PRIOR_TOUCHES * 0.98)
    assert prior.cdf(0.03) - prior.cdf(0.01) == pytest.approx(0.95, abs=0.02)
