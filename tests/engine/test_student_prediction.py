"""The healthy prediction: one reference gives a wide band, twenty a narrow one, an odd one is set aside."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from server.engine.student import (
    NigPrior,
    StudentT,
    mean_and_sd,
    mean_and_square_sum,
    odd_ones_out,
    predictive,
    update,
)
from server.engine.t_tail import t_tail, t_upper_quantile

IMPROPER = NigPrior(0, 0, -1, 0)
ROLE = NigPrior(mean=450, kappa=0.1, df=4, scale=5)
READINGS = st.lists(st.floats(1, 3000), min_size=1, max_size=12)


def test_update_by_hand() -> None:
    # Prior worth 1 board at 440 and 4 of spread 6; readings 450, 452, 454: mean 452, squares 8.
    after = update(NigPrior(440, 1, 4, 6), [450, 452, 454])
    assert after.kappa == 4
    assert after.df == 7
    assert after.mean == approx((440 + 3 * 452) / 4)
    # 4 * 36 + 8 + 1 * 3 / 4 * 12^2 = 260
    assert after.scale == approx(math.sqrt(260 / 7))
    told = predictive(after)
    assert (told.df, told.loc, told.scale) == (7, approx(449), approx(math.sqrt(260 / 7 * 1.25)))
    low, high = told.limits(0.95)
    assert (high - low) / 2 == approx(2.364624 * math.sqrt(260 / 7 * 1.25), rel=1e-6)


@given(READINGS, READINGS)
def test_portions_and_order_do_not_matter(first: list[float], second: list[float]) -> None:
    whole = update(ROLE, [*first, *second])
    backwards = update(update(ROLE, second[::-1]), first[::-1])
    for name in ("mean", "kappa", "df", "scale"):
        assert getattr(whole, name) == approx(getattr(backwards, name), rel=1e-9)
    assert update(ROLE, []) is ROLE


@given(st.lists(st.integers(0, 3000).map(float), min_size=2, max_size=12).filter(lambda v: len(set(v)) > 1))
def test_with_nothing_known_beforehand_it_is_the_sample_alone(readings: list[float]) -> None:
    mean, sd = mean_and_sd(readings)
    n = len(readings)
    told = predictive(update(IMPROPER, readings))
    assert told.df == n - 1
    assert told.loc == approx(mean, rel=1e-12)
    assert told.scale == approx(sd * math.sqrt(1 + 1 / n), rel=1e-9)


def test_more_reference_boards_make_a_narrower_band() -> None:
    rng = random.Random(4)
    readings = [450 + rng.gauss(0, 5) for _ in range(20)]
    widths = []
    for n in (1, 3, 8, 20):
        low, high = predictive(update(ROLE, readings[:n])).limits(0.95)
        widths.append(high - low)
    assert widths == sorted(widths, reverse=True)
    assert widths[0] > 1.5 * widths[-1]


def test_limits_cover_what_they_say_when_the_model_is_true() -> None:
    # Spread and mean drawn from the prior, n readings and one more: 95 % limits hold it in 95 %.
    rng = random.Random(8)
    worlds, inside = 4000, 0
    prior = NigPrior(450, 0.5, 6, 5)
    for _ in range(worlds):
        sd = math.sqrt(6 * 25 / rng.gammavariate(3, 2))
        mean = rng.gauss(450, sd / math.sqrt(0.5))
        readings = [rng.gauss(mean, sd) for _ in range(rng.randint(1, 6))]
        low, high = predictive(update(prior, readings)).limits(0.95)
        inside += low <= rng.gauss(mean, sd) <= high
    assert inside / worlds == approx(0.95, abs=5 * math.sqrt(0.95 * 0.05 / worlds))


@given(st.floats(1, 60), st.floats(0.001, 0.999))
def test_quantile_and_probability_are_inverses(df: float, p: float) -> None:
    told = StudentT(df, 452, 4)
    assert told.cdf(told.quantile(p)) == approx(p, abs=1e-10)
    assert told.two_sided_tail(told.quantile(p)) == approx(2 * min(p, 1 - p), abs=1e-10)


@given(st.floats(1, 60), st.floats(-40, 40))
def test_the_density_is_the_slope_of_the_probability(df: float, z: float) -> None:
    told, step = StudentT(df, 0, 1), 1e-4
    slope = (told.cdf(z + step) - told.cdf(z - step)) / (2 * step)
    assert slope == approx(math.exp(told.logpdf(z)), rel=1e-4, abs=1e-11)


def test_the_odd_board_is_found_among_its_peers() -> None:
    boards = [449, 452, 455, 447, 451, 312, 450, 453, 448]
    assert odd_ones_out(ROLE, boards, false_alarm=0.01) == [5]
    assert odd_ones_out(IMPROPER, boards, false_alarm=0.01) == [5]


def test_two_odd_ones_do_not_hide_each_other() -> None:
    assert odd_ones_out(IMPROPER, [449, 452, 455, 447, 451, 312, 310, 453, 448], false_alarm=0.01) == [5, 6]
    assert odd_ones_out(IMPROPER, [449, 452, 455, 447, 451, 312, 590, 453, 448], false_alarm=0.01) == [5, 6]


def test_of_two_that_disagree_neither_is_odd_and_the_band_is_wide() -> None:
    assert odd_ones_out(ROLE, [450, 312], false_alarm=0.05) == []
    assert odd_ones_out(ROLE, [450, 450, 312, 312], false_alarm=0.05) == []
    low, high = predictive(update(ROLE, [450, 312])).limits(0.95)
    assert low < 312
    assert high > 450


@pytest.mark.parametrize("readings", [[], [450.0], [450.0] * 5, [450.0, 450.0, 450.0, 451.0, 449.0]])
def test_nothing_is_odd_among_few_or_equal_or_close(readings: list[float]) -> None:
    assert odd_ones_out(ROLE, readings, false_alarm=0.05) == []


def test_among_equal_readings_any_other_is_odd() -> None:
    assert odd_ones_out(IMPROPER, [450.0, 450.0, 450.0, 450.0, 451.0], false_alarm=0.05) == [4]


@given(st.integers(0, 2**32 - 1))
def test_the_finder_judges_each_value_by_the_others_alone(seed: int) -> None:
    rng = random.Random(seed)
    values = [450 + rng.gauss(0, 4) for _ in range(rng.randint(3, 12))]
    for _ in range(rng.randint(0, 3)):
        values[rng.randrange(len(values))] += rng.choice((-1, 1)) * rng.choice((10, 20, 80, 300))
    for prior in (IMPROPER, ROLE, NigPrior(430, 2, 6, 5)):
        assert odd_ones_out(prior, values, false_alarm=0.05) == odd_by_leaving_out(prior, values, 0.05)


def odd_by_leaving_out(prior: NigPrior, values: list[float], false_alarm: float) -> list[int]:
    """The same rule in plain words: predict each from the others, take the farthest, look on."""
    left, taken, n_odd = list(range(len(values))), [], 0
    while len(left) > 2 and 2 * (len(left) - 1) > len(values):
        tails = []
        for i in left:
            others = predictive(update(prior, [values[j] for j in left if j != i]))
            tails.append((others.two_sided_tail(values[i]), i))
        tail, farthest = min(tails)
        if tail < false_alarm / len(left) / 2 ** len(taken):
            n_odd = len(taken) + 1
        left.remove(farthest)
        taken.append(farthest)
    return sorted(taken[:n_odd])


@pytest.mark.parametrize(("prior", "times"), [(IMPROPER, 2.0), (NigPrior(0, 0.02, 4, 1), 1.2)])
def test_clean_sets_seldom_lose_a_value(prior: NigPrior, times: float) -> None:
    rng = random.Random(9)
    sets = 2000
    for n in (3, 5, 8, 15):
        lost = sum(bool(odd_ones_out(prior, [rng.gauss(0, 1) for _ in range(n)], 0.05)) for _ in range(sets))
        assert lost / sets <= times * 0.05 + 3 * math.sqrt(0.05 * 0.95 / sets)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: mean_and_square_sum([]), "no values were given"),
        (lambda: mean_and_sd([450.0]), "1 value was given, expected at least two"),
        (lambda: predictive(update(IMPROPER, [450.0])), "no prediction from kappa 1, df 0"),
        (lambda: predictive(update(IMPROPER, [450.0, 450.0])), "two unequal readings"),
        (lambda: StudentT(5, 0, 1).quantile(1.0), "p is 1.0, expected a probability above 0 and below 1"),
        (lambda: StudentT(5, 0, 1).limits(0.0), "coverage is 0.0"),
        (lambda: t_tail(math.inf, 1.0), "df is inf and t is 1.0"),
        (lambda: t_tail(5, math.nan), "df is 5 and t is nan"),
        (lambda: t_upper_quantile(0.5, 0.025), "df is 0.5 and tail is 0.025"),
        (lambda: t_upper_quantile(5, 0.7), "df is 5 and tail is 0.7"),
    ],
)
def test_what_cannot_be_answered_is_refused_with_what_was_given(call: object, says: str) -> None:
    assert callable(call)
    with pytest.raises(ValueError) as refused:
        call()
    assert says in str(refused.value)
