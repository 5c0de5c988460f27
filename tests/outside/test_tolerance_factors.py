"""What the band's 95 % says, held against published factors of tolerance intervals.

A band's limits are *prediction* limits: the next healthy board reads within them 95 times in 100, on average over
sets of boards. No band states a coverage with a confidence (a tolerance interval), which would be far wider from
few boards; the table below shows how much, so that nobody reads the one for the other.

Sources: two-sided factors k for 95 % confidence and 95 % content, normal law, unknown mean and deviation: n = 5, 10,
20, 30 as printed in Berthouex and Brown, Statistics for Environmental Engineers, Table 21.1, read second-hand
(5.08, 3.39, 2.76, 2.55); to four decimals recomputed there from the exact integral. NIST/SEMATECH e-Handbook
7.2.6.3 (n = 43, 90 % content, 99 % confidence): k = 2.217 by Howe's form, 2.2228 exactly.

Does not prove: that healthy boards are Normal, nor that the prior's spread by role is right.
"""

import math
import random
from typing import Any

import pytest
from scipy import integrate, optimize, stats
from scipy.special import ndtr

from server.engine.constants.readings import COVERAGE
from server.engine.student import NigPrior, mean_and_sd, predictive, update

IMPROPER = NigPrior(0, 0, -1, 0)
K_95_95 = {5: 5.0769, 10: 3.3934, 20: 2.7603, 30: 2.5549}
PRINTED = {5: 5.08, 10: 3.39, 20: 2.76, 30: 2.55}
SETS = 4000


def confidence(k: float, n: int, content: float) -> float:
    """How often mean +- k s of n normal values holds `content` of them: the exact integral over the mean."""

    def given_mean(z: float) -> float:
        shift = z / math.sqrt(n)
        # the half-width that holds the content around a mean off by `shift`
        half: Any = optimize.brentq(lambda h: ndtr(shift + h) - ndtr(shift - h) - content, 0.1, 20)
        return float(stats.chi2.sf((n - 1) * (half / k) ** 2, n - 1) * math.exp(-0.5 * z * z) / math.sqrt(2 * math.pi))

    return 2 * float(integrate.quad(given_mean, 0, 8, limit=200)[0])


def factor(n: int) -> float:
    """Half the band over the deviation of its n values, nothing known beforehand."""
    values = [450 + 0.7 * i * i for i in range(n)]
    low, high = predictive(update(IMPROPER, values)).limits(COVERAGE)
    return (high - low) / 2 / mean_and_sd(values)[1]


@pytest.mark.parametrize(("n", "k"), K_95_95.items())
def test_the_published_factors_hold_what_they_say(n: int, k: float) -> None:
    assert k == pytest.approx(PRINTED[n], abs=0.006)
    assert confidence(k, n, 0.95) == pytest.approx(0.95, abs=2e-4)


def test_the_nist_example_is_the_same_integral() -> None:
    assert confidence(2.222825, 43, 0.90) == pytest.approx(0.99, abs=2e-4)


@pytest.mark.parametrize(("n", "k"), K_95_95.items())
def test_a_band_is_no_tolerance_interval_and_holds_95_percent_on_average(n: int, k: float) -> None:
    """Over sets of n boards the band holds 95 % of all boards on average, and in far fewer than 95 % of the sets."""
    assert factor(n) < k
    rng = random.Random(f"bands of {n}")
    held = []
    for _ in range(SETS):
        values = [rng.gauss(450, 4) for _ in range(n)]
        low, high = predictive(update(IMPROPER, values)).limits(COVERAGE)
        held.append(ndtr((high - 450) / 4) - ndtr((low - 450) / 4))
    assert sum(held) / SETS == pytest.approx(0.95, abs=0.005)
    whole = sum(share >= 0.95 for share in held) / SETS
    assert whole == pytest.approx(confidence(factor(n), n, 0.95), abs=0.03)
    assert whole < 0.80
