"""The broken line beside scipy and statsmodels on the same data: place, sums of squares, interval, coverage.

scipy's least squares finds the break by its own search; statsmodels' ordinary least squares, at a given break, gives
the sum of squares that the F test inverts. The definition of the interval (F test on one parameter, profile
likelihood) is Seber and Wild, Nonlinear Regression, section 5.6; from memory.

Does not prove: that millivolts along a rail are Normal about such a line.
"""

import random

import numpy as np
import pytest
import statsmodels.api as sm
from pytest import approx
from scipy import optimize, stats

from server.engine.broken_line import best_place, fit, left_over, line_at, second_slope, sums_at

X = (0.0, 12.0, 20.0, 31.0, 45.0, 60.0, 78.0, 90.0)


def drawn(seed: int, at: float = 38.0, noise: float = 0.4, x: tuple[float, ...] = X) -> list[tuple[float, float]]:
    """A rail that falls half a millivolt a square to `at`, read with noise."""
    rng = random.Random(seed)
    return [(each, 50 - 0.5 * min(each, at) + rng.gauss(0, noise)) for each in x]


def statsmodels_left(points: list[tuple[float, float]], at: float) -> float:
    """The sum of squares left at a break, by ordinary least squares."""
    x, y = np.array(points).T
    return float(sm.OLS(y, sm.add_constant(np.minimum(x, at), has_constant="add")).fit().ssr)


@pytest.mark.parametrize("seed", range(12))
def test_the_place_and_the_sum_of_squares_are_scipys(seed: int) -> None:
    points = drawn(seed)
    x, y = np.array(points).T

    def off(p: np.ndarray) -> np.ndarray:
        return p[0] - p[1] * np.minimum(x, p[2]) - y

    starts = (15.0, 25.0, 38.0, 50.0, 70.0)
    tried = [optimize.least_squares(off, (50, 0.5, start), xtol=1e-14, ftol=1e-14) for start in starts]
    best = min(tried, key=lambda one: one.cost)
    at, left = best_place(points)
    assert left == approx(2 * best.cost, rel=1e-6)
    assert at == approx(best.x[2], abs=1e-3)
    level, slope = line_at(points, at)
    assert (level, slope) == approx((best.x[0] - best.x[1] * at, best.x[1]), abs=1e-4)


@pytest.mark.parametrize("seed", range(6))
def test_the_interval_is_where_statsmodels_f_test_stops_refusing(seed: int) -> None:
    points = drawn(seed)
    found = fit(points, prior_sd=1.0, prior_worth=0.0)  # nothing but the points
    df = len(points) - 3
    least = statsmodels_left(points, found.at)
    assert left_over(sums_at(points, found.at)) == approx(least, rel=1e-9)
    bar = least * (1 + stats.f.ppf(0.95, 1, df) / df)
    low = optimize.brentq(lambda at: statsmodels_left(points, at) - bar, X[0] + 1, found.at)
    high = optimize.brentq(lambda at: statsmodels_left(points, at) - bar, found.at, X[-1])
    assert (found.low, found.high) == approx((low, high), abs=1e-6)


def test_a_second_slope_is_what_statsmodels_fits() -> None:
    rng = random.Random(5)
    points = [(x, 50 - 0.5 * min(x, 38) - 0.2 * max(x - 38, 0) + rng.gauss(0, 0.3)) for x in X]
    x, y = np.array(points).T
    told = sm.OLS(y, sm.add_constant(np.column_stack([np.minimum(x, 31), np.maximum(x - 31, 0)]))).fit()
    first, beyond, left = second_slope(points, 31)
    assert (-first, -beyond, left) == approx((told.params[1], told.params[2], told.ssr), rel=1e-9)


def test_the_interval_holds_the_place_as_often_as_it_says() -> None:
    held = 0
    for seed in range(400):
        found = fit(drawn(seed, noise=0.25, x=(0.0, 15.0, 30.0, 45.0, 60.0, 75.0)), prior_sd=0.2, prior_worth=4.0)
        held += found.low <= 38.0 <= (found.high or 1e9)
    # 95 of 100 by its word; 380 of 400, less three deviations of the count
    assert held >= 367
