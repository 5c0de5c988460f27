"""The Student t distribution's numbers: tail, quantile and the constant of its density.

Own code because the phone has no library for it; good to 1e-9 relative for df up to 100,000, which
tests hold against published tables and an independent library.
"""

import math
import sys
from functools import lru_cache
from statistics import NormalDist

_EPSILON = sys.float_info.epsilon
_TINY = sys.float_info.min
_LEAST_TAIL = math.sqrt(sys.float_info.min)


def t_tail(df: float, t: float) -> float:
    """Probability that a Student t is above ``t`` >= 0.

    Half the regularised incomplete beta function I_x(df / 2, 1 / 2) at x = df / (df + t^2)
    (Abramowitz and Stegun 26.5.27 and 26.7.1).
    """
    if not (0 < df < math.inf and t >= 0):
        raise ValueError(f"df is {df} and t is {t}, expected a finite df above 0 and t not below 0")
    if math.isinf(t):
        return 0.0
    whole = df + t * t
    return 0.5 * regularised_beta(df / whole, t * t / whole, 0.5 * df, 0.5)


def regularised_beta(x: float, y: float, a: float, b: float) -> float:
    """I_x(a, b) with y = 1 - x given apart, so that neither end loses digits.

    The continued fraction (DLMF 8.17.22, by the modified Lentz method) converges fast below its
    turning point; above it the complement is evaluated.
    """
    if y == 0:
        return 1.0
    if x == 0:
        return 0.0
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log(y)
    front = math.exp(log_front)
    if x * (a + b + 2) < a + 1:
        return front * _beta_fraction(x, a, b) / a
    return 1 - front * _beta_fraction(y, b, a) / b


def _beta_fraction(x: float, a: float, b: float) -> float:
    c = 1.0
    d = 1 / (1 - (a + b) * x / (a + 1) or _TINY)
    fraction = d
    m = 0
    while True:
        m += 1
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        d = 1 / (1 + even * d or _TINY)
        c = 1 + even / c or _TINY
        fraction *= d * c
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        d = 1 / (1 + odd * d or _TINY)
        c = 1 + odd / c or _TINY
        step = d * c
        fraction *= step
        if abs(step - 1) <= _EPSILON:
            return fraction


# The same few df and coverages come back for every contact of a socket; the answer depends on them
# alone, so keeping it changes no number.
@lru_cache
def t_upper_quantile(df: float, tail: float) -> float:
    """The t >= 0 that a Student t exceeds with probability ``tail``.

    Halley's method on log(tail), started from the Normal quantile widened by
    t = sqrt(df (exp(z^2 / df) - 1)); kept inside a bracket that shrinks with every step.

    Raises:
        ValueError: ``df`` below 1, or ``tail`` above 0.5 or so small that t squared is no float.
    """
    if not (1 <= df < math.inf and _LEAST_TAIL <= tail <= 0.5):
        raise ValueError(
            f"df is {df} and tail is {tail}, expected df from 1 and tail from {_LEAST_TAIL} to 0.5, e.g. 0.025"
        )
    if tail == 0.5:
        return 0.0
    low, high = 0.0, math.inf
    t = _first_guess(df, tail)
    while True:
        at_t = t_tail(df, t)
        if at_t == tail:
            return t
        if at_t > tail:
            low = t
        else:
            high = t
        following = _halley_step(df, tail, t, at_t)
        if not low < following < high:
            following = 2 * t if math.isinf(high) else 0.5 * (low + high)
        if abs(following - t) <= 2 * _EPSILON * t:
            return following
        t = following


def _first_guess(df: float, tail: float) -> float:
    z = NormalDist().inv_cdf(1 - tail) if tail > _EPSILON else math.sqrt(-2 * math.log(tail))
    grown = z * z / df
    return math.sqrt(df * math.expm1(grown)) if grown < 1 else math.sqrt(df) * math.exp(-math.log(2 * tail) / df)


def _halley_step(df: float, tail: float, t: float, at_t: float) -> float:
    density = math.exp(log_norm(df) - 0.5 * (df + 1) * math.log1p(t * t / df))
    if not (density > 0 and at_t > 0):
        return t
    # f(t) = log(tail at t / tail), f' = -r, f'' = r (df + 1) t / (df + t^2) - r^2 with r = density / tail at t
    rate = density / at_t
    miss = math.log(at_t / tail)
    curve = rate * (df + 1) * t / (df + t * t) - rate * rate
    return t + 2 * miss * rate / (2 * rate * rate - miss * curve)


@lru_cache
def log_norm(df: float) -> float:
    """Natural log of the density of a Student t at 0."""
    return math.lgamma(0.5 * (df + 1)) - math.lgamma(0.5 * df) - 0.5 * math.log(df * math.pi)
