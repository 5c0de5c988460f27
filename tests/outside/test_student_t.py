"""Student t against published tables and an independent library.

Sources: t quantiles as any printed t table has them (0.975, df 1 to 29; typed to six figures, recomputed
with scipy 1.17.1). Prediction interval of one new reading, mean +- t(n-1) s sqrt(1 + 1/n): the formula
is textbook (Hahn and Meeker, Statistical Intervals, section 4.3); its multipliers below are *computed*
(scipy 1.17.1), not printed by a source we read. scipy is the second library (BSD-3-Clause; used, not
copied).

Does not prove: that readings of healthy boards are Normal, nor that the prior's numbers are right.
"""

import math

import pytest
from pytest import approx
from scipy import stats

from server.engine.student import NigPrior, StudentT, mean_and_sd, predictive, update
from server.engine.t_tail import t_tail, t_upper_quantile

IMPROPER = NigPrior(0, 0, -1, 0)

T_975 = {1: 12.7062, 2: 4.30265, 4: 2.77645, 9: 2.26216, 19: 2.09302, 29: 2.04523}
MULTIPLIER_95 = {2: 15.5619, 3: 4.96828, 5: 3.04144, 10: 2.37257, 20: 2.14471, 30: 2.07904}


@pytest.mark.parametrize(("df", "printed"), T_975.items())
def test_quantiles_are_the_printed_ones(df: int, printed: float) -> None:
    assert StudentT(df, 0, 1).quantile(0.975) == approx(printed, abs=5e-5 if printed > 10 else 5e-6)
    assert StudentT(df, 0, 1).quantile(0.025) == approx(-printed, abs=5e-5 if printed > 10 else 5e-6)
    assert StudentT(df, 0, 1).cdf(printed) == approx(0.975, abs=1e-6)


@pytest.mark.parametrize(("n", "multiplier"), MULTIPLIER_95.items())
def test_limits_of_one_more_reading_with_nothing_known_beforehand(n: int, multiplier: float) -> None:
    readings = [450 + 3.7 * math.sin(5 * i) for i in range(n)]
    mean, sd = mean_and_sd(readings)
    low, high = predictive(update(IMPROPER, readings)).limits(0.95)
    assert (high - low) / 2 / sd == approx(multiplier, abs=5e-5 if multiplier > 10 else 5e-6)
    assert (high + low) / 2 == approx(mean, abs=1e-10)


@pytest.mark.parametrize("df", [1, 1.5, 2, 3, 4, 5, 6, 7.3, 9, 12, 19, 29, 60, 100, 333.3, 1000, 100_000])
def test_tail_quantile_and_density_agree_with_scipy(df: float) -> None:
    other = stats.t(df)
    for t in (0.0, 1e-9, 1e-3, 0.1, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 50.0, 1e3, 1e8):
        assert t_tail(df, t) == approx(float(other.sf(t)), rel=2e-9)
        density = float(stats.t.logpdf(t, df))
        assert StudentT(df, 0, 1).logpdf(t) == approx(density, rel=1e-9, abs=2e-9)
    for tail in (0.5, 0.4999, 0.49, 0.4, 0.25, 0.1, 0.05, 0.025, 0.01, 1e-3, 1e-5, 1e-8, 1e-12, 1e-20, 1e-60):
        assert t_upper_quantile(df, tail) == approx(float(other.isf(tail)), rel=2e-9, abs=1e-11)


def test_a_moved_and_widened_one_agrees_with_scipy() -> None:
    ours, other = StudentT(5.0, 452.0, 4.2), stats.t(5.0, loc=452.0, scale=4.2)
    for value in (400.0, 445.0, 452.0, 460.5, 900.0):
        assert ours.cdf(value) == approx(float(other.cdf(value)), rel=1e-9)
        assert ours.logpdf(value) == approx(float(stats.t.logpdf(value, 5.0, 452.0, 4.2)), rel=1e-9)
    assert ours.limits(0.9) == approx([float(v) for v in other.interval(0.9)], rel=1e-9)
