"""What one more healthy reading would be, from the readings so far: Normal-inverse-gamma and Student t.

Readings of one contact on several boards are taken as Normal with unknown mean and spread. The
conjugate prior (Gelman et al., Bayesian Data Analysis, 3rd edition, section 3.3) is

    spread^2 ~ scaled inverse chi^2(df, scale^2),   mean | spread ~ Normal(mean, spread^2 / kappa)

so ``kappa`` and ``df`` say how many readings the prior's mean and spread are worth. The prediction
of one more reading is a Student t: wide after one board, narrow after twenty. The improper prior
``kappa=0, df=-1`` gives the textbook interval mean +- t(n-1) s sqrt(1 + 1/n) exactly.

Also here: mean and deviation that keep their digits, and the finder of odd ones out. How wide a
prior is for which role, and which share of clean sets may lose a value, are given by the caller.
Units are the caller's; all of one call agree.
"""

import math
from collections.abc import Sequence

from msgspec import Struct

from server.engine.t_tail import log_norm, t_tail, t_upper_quantile


class NigPrior(Struct, frozen=True):
    """Normal-inverse-gamma distribution of an unknown mean and spread; prior and posterior alike.

    ``mean`` and ``scale`` in the readings' unit, ``kappa`` and ``df`` in numbers of readings.
    ``NigPrior(0, 0, -1, 0)`` is the improper prior that adds nothing of its own.
    """

    mean: float
    kappa: float
    df: float
    scale: float


class StudentT(Struct, frozen=True):
    """Student t distribution with ``df`` degrees of freedom, moved to ``loc``, widened by ``scale``."""

    df: float
    loc: float
    scale: float

    def logpdf(self, value: float) -> float:
        """Natural log of the density at ``value``, per unit of the readings."""
        z = (value - self.loc) / self.scale
        return log_norm(self.df) - math.log(self.scale) - 0.5 * (self.df + 1) * math.log1p(z * z / self.df)

    def cdf(self, value: float) -> float:
        """Probability of a reading at or below ``value``."""
        z = (value - self.loc) / self.scale
        tail = t_tail(self.df, abs(z))
        return tail if z < 0 else 1 - tail

    def two_sided_tail(self, value: float) -> float:
        """Probability of a reading at least as far from ``loc`` as ``value``, on either side."""
        return 2 * t_tail(self.df, abs(value - self.loc) / self.scale)

    def quantile(self, p: float) -> float:
        """The value with probability ``p`` (above 0, below 1) at or below it."""
        if not 0 < p < 1:
            raise ValueError(f"p is {p}, expected a probability above 0 and below 1, e.g. 0.975")
        if p < 0.5:
            return self.loc - self.scale * t_upper_quantile(self.df, p)
        return self.loc + self.scale * t_upper_quantile(self.df, 1 - p)

    def limits(self, coverage: float) -> tuple[float, float]:
        """Lower and upper limit of the central interval with probability ``coverage``."""
        if not 0 < coverage < 1:
            raise ValueError(f"coverage is {coverage}, expected a probability above 0 and below 1, e.g. 0.95")
        half = self.scale * t_upper_quantile(self.df, 0.5 * (1 - coverage))
        return self.loc - half, self.loc + half


def mean_and_square_sum(values: Sequence[float]) -> tuple[float, float]:
    """Mean, and sum of squared deviations from it, by the corrected two-pass algorithm.

    The second term takes back what the rounding of the mean cost (Chan, Golub and LeVeque 1983,
    "Algorithms for computing the sample variance", The American Statistician 37:242-247, eq. 1.7).

    Raises:
        ValueError: no values.
    """
    n = len(values)
    if n == 0:
        raise ValueError("no values were given, expected at least one, e.g. [452.0]")
    mean = math.fsum(values) / n
    deviations = [value - mean for value in values]
    rest = math.fsum(deviations)
    return mean, max(0.0, math.fsum([d * d for d in deviations]) - rest * rest / n)


def mean_and_sd(values: Sequence[float]) -> tuple[float, float]:
    """Mean and sample standard deviation (divisor n - 1).

    Raises:
        ValueError: fewer than two values.
    """
    n = len(values)
    if n < 2:
        raise ValueError(f"{n} value was given, expected at least two to speak of a deviation")
    mean, square_sum = mean_and_square_sum(values)
    return mean, math.sqrt(square_sum / (n - 1))


def update(prior: NigPrior, values: Sequence[float]) -> NigPrior:
    """The distribution after ``values`` were seen; the same whatever order or portions they came in."""
    if not values:
        return prior
    n = len(values)
    sample_mean, square_sum = mean_and_square_sum(values)
    kappa = prior.kappa + n
    df = prior.df + n
    gap = sample_mean - prior.mean
    square_sum = prior.df * prior.scale * prior.scale + square_sum + prior.kappa * n / kappa * gap * gap
    mean = sample_mean if prior.kappa == 0 else prior.mean + gap * n / kappa
    return NigPrior(mean, kappa, df, math.sqrt(square_sum / df) if df > 0 else 0.0)


def predictive(posterior: NigPrior) -> StudentT:
    """The distribution of one more reading.

    Raises:
        ValueError: the improper prior with too few values, or a spread of 0: no finite prediction.
    """
    if not (posterior.df > 0 and posterior.kappa > 0 and posterior.scale > 0):
        raise ValueError(
            f"no prediction from kappa {posterior.kappa}, df {posterior.df}, scale {posterior.scale}:"
            " each must be above 0. Give a proper prior, or two unequal readings"
        )
    return StudentT(posterior.df, posterior.mean, posterior.scale * math.sqrt(1 + 1 / posterior.kappa))


def odd_ones_out(prior: NigPrior, values: Sequence[float], false_alarm: float) -> list[int]:
    """Indices of the values that do not belong with the rest, ascending.

    Each value is judged by the prediction made from the others and the prior, never by one it helped
    to make. The farthest is taken out and the rest judged again, so long as more than half stay; then
    everything up to the last step that was beyond its limit is odd. Looking on past a step that shows
    nothing finds two odd ones that hide each other (Rosner 1983, "Percentage points for a generalized
    ESD many-outlier procedure", Technometrics 25:165-172). The limit of a step with m values left is
    the t exceeded, on either side, with probability ``false_alarm / m``, halved with every further
    step, so that all steps together stay near ``false_alarm`` (simulated: at most it with a prior worth
    four readings, at most 1.7 times it, at five values, with the improper prior). With the improper
    prior the first step is the two-sided Grubbs test at level ``false_alarm``.

    Of two values that disagree neither is called odd: nothing says which.

    Args:
        false_alarm: share of sets without an odd one that may lose a value, e.g. 0.05.
    """
    order = sorted(range(len(values)), key=values.__getitem__)
    first, last = 0, len(order) - 1
    all_left = update(prior, values)
    kappa, df, mean = all_left.kappa, all_left.df, all_left.mean
    square_sum = df * all_left.scale * all_left.scale
    taken = []
    n_odd = 0
    while last - first > 1 and 2 * (last - first) > len(values):
        n_left = last - first + 1
        at_low_end = mean - values[order[first]] > values[order[last]] - mean
        i = order[first] if at_low_end else order[last]
        gap = values[i] - mean
        # Taking a value out of a conjugate Normal model leaves kappa - 1, df - 1 and this much less
        # of the square sum; the value's own deviation from what is left follows from the same term.
        share = kappa / (kappa - 1) * gap * gap
        rest = max(0.0, square_sum - share)
        limit = t_upper_quantile(df - 1, 0.5 * false_alarm / (n_left << len(taken)))
        taken.append(i)
        if share * (df - 1) > limit * limit * rest:
            n_odd = len(taken)
        first, last = (first + 1, last) if at_low_end else (first, last - 1)
        if 2 * share > square_sum:
            # The difference above has lost digits: start again from the values themselves.
            others = update(prior, [values[j] for j in order[first : last + 1]])
            kappa, df, mean = others.kappa, others.df, others.mean
            square_sum = df * others.scale * others.scale
        else:
            mean -= gap / (kappa - 1)
            kappa, df, square_sum = kappa - 1, df - 1, rest
    return sorted(taken[:n_odd])
