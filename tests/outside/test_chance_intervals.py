"""Chances and their intervals: products and mixtures of beta rates.

Sources: the regularised incomplete beta function as scipy has it; moments of a beta distribution and the law of total
variance (any textbook); draws of numpy for the mixture itself. One case is worked by hand. Does not prove that the
rates are right: those are the trade's and the shop's (`constants.chances`).
"""

import numpy
import pytest
from scipy import special

from server.engine.constants.chances import MENDS, RESCUES, Rate
from server.engine.rates import Moments, both, else_by, moments, told
from server.engine.t_tail import regularised_beta

DRAWS = 200_000
CLOSE = 0.012
"""Quantiles of a product taken as one beta, and read between steps; chances are told in tens."""


@pytest.mark.parametrize(("a", "b"), [(19.0, 1.0), (0.4, 19.6), (3.0, 17.0), (10.0, 10.0), (2.4, 1.6), (390.0, 12.0)])
def test_the_incomplete_beta_is_what_a_library_has(a: float, b: float) -> None:
    for x in (0.001, 0.02, 0.2, 0.5, 0.8, 0.97, 0.999):
        assert regularised_beta(x, 1 - x, a, b) == pytest.approx(special.betainc(a, b, x), rel=1e-9, abs=1e-14)


def test_a_hand_worked_case() -> None:
    """Beta(3, 1): mean 3/4, mean square 3 * 4 / (4 * 5) = 3/5; two of them 9/16 and 9/25; half it, half one 7/8."""
    one = moments((3.0, 1.0))
    assert one == pytest.approx((0.75, 0.6))
    assert both(one, one) == pytest.approx((0.5625, 0.36))
    # R or else K, both Beta(3, 1): 3/4 + 1/4 * 3/4, and the mean square
    # E[(R + (1 - R) K)^2] = 3/5 + 2 (3/4 - 3/5) 3/4 + (1 - 3/2 + 3/5) 3/5
    assert else_by(one, one) == pytest.approx((0.9375, 0.6 + 0.225 + 0.06))
    assert told([(0.5, one), (0.5, Moments(1.0, 1.0))]).odds == pytest.approx(0.875)


def drawn(rng: numpy.random.Generator, rate: Rate) -> numpy.ndarray:
    return rng.beta(rate[0], rate[1], DRAWS)


@pytest.mark.parametrize(
    "mixture",
    [
        [(1.0, ("small_part",))],
        [(1.0, ("small_part", "data_chip"))],
        [(0.7, ("seat",)), (0.3, ("data_chip", "rail"))],
        [(0.5, ("wet",)), (0.3, ("cracked", "chip")), (0.2, ("data_shorted",))],
        [(0.9, ("module",)), (0.1, ("unread",))],
    ],
)
def test_odds_and_interval_are_those_of_simulated_jobs(mixture: list[tuple[float, tuple[str, ...]]]) -> None:
    rng = numpy.random.default_rng(7)
    which = rng.choice(len(mixture), DRAWS, p=[weight for weight, _ in mixture])
    products = []
    for _, kinds in mixture:
        product = numpy.ones(DRAWS)
        for kind in kinds:
            product *= drawn(rng, MENDS[kind].mended)
        products.append(product)
    simulated = numpy.choose(which, products)
    parts = []
    for weight, kinds in mixture:
        whole = Moments(1.0, 1.0)
        for kind in kinds:
            whole = both(whole, moments(MENDS[kind].mended))
        parts.append((weight, whole))
    chance = told(parts)
    assert chance.odds == pytest.approx(simulated.mean(), abs=0.003)
    low, high = numpy.quantile(simulated, (0.1, 0.9))
    # no interval leaves its own mean out
    assert chance.low == pytest.approx(min(low, simulated.mean()), abs=CLOSE)
    assert chance.high == pytest.approx(max(high, simulated.mean()), abs=CLOSE)


def test_data_had_another_way_are_those_of_simulated_jobs() -> None:
    rng = numpy.random.default_rng(11)
    start, rescue = MENDS["rail"].starts, RESCUES["sealed_to_chip"]
    lives = drawn(rng, MENDS["data_chip"].starts)
    starts, had = drawn(rng, start), drawn(rng, rescue)
    simulated = lives * (starts + (1 - starts) * had)
    chance = told([(1.0, both(moments(MENDS["data_chip"].starts), else_by(moments(start), moments(rescue))))])
    low, high = numpy.quantile(simulated, (0.1, 0.9))
    assert chance == pytest.approx((simulated.mean(), low, high), abs=CLOSE)
