"""The odd one out against the Grubbs test as NIST and printed tables give it.

Sources:
- Uranium data, 8 mass-spectrometer values: Tietjen and Moore 1972 (Technometrics 14:583-597), as NIST/
  SEMATECH e-Handbook section 1.3.5.17.1 uses them (G = 2.4687646, one-sided 5 % critical value 2.031652
  for n = 8). Typed; G and critical value confirmed in the documentation of an R package that quotes the
  page, the data's source named there as NIST eda35h1. Public domain.
- Two-sided 5 % critical values for n = 5 to 10 (1.715 1.887 2.020 2.126 2.215 2.290) as printed in common
  tables of the test; typed from a public test file that quotes the table.
- One-sided 5 % critical values for other n: *computed* from the formula of Grubbs and Beck 1972.

The finder judges a value by the t prediction made from the others. With the improper prior that is the
Grubbs test: G^2 = (n-1)^2 t^2 / (n (n - 2 + t^2)), t on n - 2 degrees of freedom.

Does not prove: that a board set aside was bad, only that it does not belong with the others.
"""

import math
from statistics import NormalDist

import pytest
from pytest import approx

from server.engine.student import NigPrior, mean_and_sd, odd_ones_out
from server.engine.t_tail import t_tail

IMPROPER = NigPrior(0, 0, -1, 0)
URANIUM = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
TWO_SIDED_5 = {5: 1.715, 6: 1.887, 7: 2.020, 8: 2.126, 9: 2.215, 10: 2.290}
ONE_SIDED_5 = {3: 1.1531, 4: 1.4625, 5: 1.6714, 6: 1.8221, 7: 1.9381, 8: 2.0317, 9: 2.1096, 10: 2.1761,
               12: 2.2850, 15: 2.4090, 20: 2.5566, 25: 2.6629, 30: 2.7451}  # fmt: skip


def t_of_grubbs(g: float, n: int) -> float:
    return math.sqrt(g * g * n * (n - 2) / ((n - 1) ** 2 - n * g * g))


def set_with_grubbs(g: float, n: int) -> list[float]:
    """n values whose last one lies g standard deviations above the mean of all."""
    others = [NormalDist().inv_cdf((i + 0.5) / (n - 1)) for i in range(n - 1)]
    mean, sd = mean_and_sd(others)
    t = t_of_grubbs(g, n)
    return [*others, mean + t * sd * math.sqrt(1 + 1 / (n - 1))]


def test_the_uranium_value_is_the_odd_one() -> None:
    mean, sd = mean_and_sd(URANIUM)
    assert mean == approx(206.43375, abs=1e-9)
    assert sd == approx(15.8525644, abs=1e-6)
    assert (max(URANIUM) - mean) / sd == approx(2.4687646, abs=1e-6)
    assert odd_ones_out(IMPROPER, URANIUM, false_alarm=0.05) == [7]
    assert odd_ones_out(IMPROPER, URANIUM, false_alarm=1e-4) == [7]
    assert odd_ones_out(IMPROPER, URANIUM[:7], false_alarm=0.05) == []


def test_the_nist_critical_value_is_where_our_tail_says_5_percent_one_sided() -> None:
    assert t_tail(6, t_of_grubbs(2.031652, 8)) * 8 == approx(0.05, rel=1e-5)


@pytest.mark.parametrize(("n", "critical"), TWO_SIDED_5.items())
def test_a_value_is_set_aside_from_the_printed_critical_value_on(n: int, critical: float) -> None:
    # The table has three decimals, some cut off and not rounded: one unit to either side is decided.
    assert odd_ones_out(IMPROPER, set_with_grubbs(critical + 1e-3, n), false_alarm=0.05) == [n - 1]
    assert odd_ones_out(IMPROPER, set_with_grubbs(critical - 1e-3, n), false_alarm=0.05) == []


@pytest.mark.parametrize(("n", "critical"), ONE_SIDED_5.items())
def test_one_sided_critical_values_belong_to_twice_the_share(n: int, critical: float) -> None:
    assert 2 * n * t_tail(n - 2, t_of_grubbs(critical, n)) == approx(0.10, rel=3e-2 if n == 3 else 3e-3)
    largest_possible = (n - 1) / math.sqrt(n)
    step = min(6e-4, (largest_possible - critical) / 2)
    assert odd_ones_out(IMPROPER, set_with_grubbs(critical + step, n), false_alarm=0.10) == [n - 1]
    assert odd_ones_out(IMPROPER, set_with_grubbs(critical - step, n), false_alarm=0.10) == []
