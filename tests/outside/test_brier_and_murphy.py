"""Scores of forecasts against worked examples that others published, and distributions against scipy.

The single Brier scores: the encyclopaedia article on the Brier score (as at en-academic.com). Four forecasts with
their log loss: tutoraspire.com's page on the Brier score (its last line was cut off in the copy; recomputed). The
scikit-learn example: `brier_score_loss`'s documentation, from memory. Murphy's decomposition of ten and ten forecasts:
our own arithmetic on his formula. Does not prove that a page's binning is the only sensible one.
"""

import math

import numpy as np
import pytest
from scipy.stats import binom

from server.engine.scores import hits_of, honest_hits, log_score, murphy

RAIN = [(0.7, 1, 0.09), (0.3, 1, 0.49), (0.5, 1, 0.25), (0.5, 0, 0.25)]


@pytest.mark.parametrize(("odds", "came_true", "score"), RAIN)
def test_single_forecasts_of_rain(odds: float, came_true: int, score: float) -> None:
    assert murphy([(odds, 1, came_true)]).brier == pytest.approx(score, abs=1e-12)


def test_four_forecasts_and_their_log_loss() -> None:
    forecasts = [(0.27, 1), (0.67, 1), (0.83, 0), (0.90, 1)]
    found = murphy([(odds, 1, true) for odds, true in forecasts])
    assert found.brier == pytest.approx(0.335175, abs=1e-6)
    came_true = [odds if true else 1 - odds for odds, true in forecasts]
    assert log_score(came_true, 1e-6) == pytest.approx(0.896782, abs=1e-6)


def test_the_example_of_a_library_for_learning() -> None:
    assert murphy([(0.1, 1, 0), (0.9, 1, 1), (0.8, 1, 1), (0.3, 1, 0)]).brier == pytest.approx(0.0375, abs=1e-12)


def test_ten_of_one_tenth_and_ten_of_nine_tenths() -> None:
    found = murphy([(0.1, 10, 1), (0.9, 10, 8)])
    assert found == pytest.approx((0.13, 0.005, 0.1225, 0.2475), abs=1e-12)


def test_the_parts_add_up_to_the_score_of_the_forecasts_one_by_one() -> None:
    rng = np.random.default_rng(11)
    for _ in range(50):
        bins = [(tens / 10, int(rng.integers(0, 30)), 0) for tens in range(11)]
        bins = [(odds, many, int(rng.integers(0, many + 1))) for odds, many, _ in bins]
        if not any(many for _, many, _ in bins):
            continue
        found = murphy(bins)
        one_by_one = [(odds - (n < true)) ** 2 for odds, many, true in bins for n in range(many)]
        assert found.brier == pytest.approx(float(np.mean(one_by_one)), abs=1e-12)
        assert found.reliability - found.resolution + found.uncertainty == pytest.approx(found.brier, abs=1e-12)


def test_hits_of_equal_odds_are_binomial() -> None:
    for many, odds in ((1, 0.3), (12, 0.05), (40, 0.9), (200, 0.5)):
        assert hits_of([odds] * many) == pytest.approx(list(binom.pmf(range(many + 1), many, odds)), abs=1e-12)


def test_hits_of_unequal_odds_against_the_product_of_their_polynomials() -> None:
    odds = np.random.default_rng(12).uniform(size=25)
    product = np.poly1d([1.0])
    for one in odds:
        product *= np.poly1d([one, 1 - one])
    assert hits_of(list(odds)) == pytest.approx(product.coeffs[::-1], abs=1e-12)


def test_the_range_and_the_distance_of_honest_odds_against_draws() -> None:
    rng = np.random.default_rng(13)
    odds = rng.uniform(0.55, 0.65, size=30)
    hits = (rng.uniform(size=(200_000, 30)) < odds).sum(axis=1)
    found = honest_hits(list(odds), 0.025)
    distance = np.abs(hits - odds.sum())
    assert found.distance == pytest.approx(distance.mean(), abs=0.02)
    assert math.sqrt(found.variance) == pytest.approx(distance.std(), abs=0.02)
    assert (hits < found.low).mean() <= 0.027
    assert (hits > found.high).mean() <= 0.027
    assert (hits <= found.low).mean() > 0.024, "a narrower range would leave out more than was asked"
