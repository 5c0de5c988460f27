"""A clamp from known-good readings at known currents: its drop at the table's current, n and RS, by priors.

Unknown are the junction's drop at `REFERENCE_CURRENT_MA` and the nominal temperature (wide prior: it stands for
IS, which alone would hang on n), n and RS. The posterior is the usual Gauss-Newton maximum with its covariance; one
reading moves the drop and leaves n and RS at their priors, a second current of the same board speaks of n.
What readings of one board share (the board's own spread) is taken out of their weight (Sherman and Morrison 1950).

Source: Bayesian nonlinear least squares (D. M. Bates, D. G. Watts, Nonlinear Regression Analysis and Its
Applications, 1988); the law is `junction`'s.
"""

import math
from typing import NamedTuple

from server.engine.circuit.junction import at, carried, drop_at, saturation_for
from server.engine.circuit.parts import Junction, check_junction, check_temperature
from server.engine.constants.circuit import (
    CLAMP_OHM_SD,
    FIT_STEPS,
    FIT_STOP,
    HALVINGS,
    LEAST_IDEALITY,
    LINE_MV,
    LINE_MV_SD,
    MOST_IDEALITY,
    NOMINAL_C,
    SLOPE_SHARE,
)
from server.engine.constants.sessions import BULK_OHM, IDEALITY, IDEALITY_SD, KELVIN, REFERENCE_CURRENT_MA, VT_MV_PER_K
from server.engine.errors import SheetError

Three = tuple[float, float, float]


class HealthyReading(NamedTuple):
    """A drop of a healthy contact. `current_ma` None: nobody knows the meter's current. `sd_mv`: hand and meter."""

    drop_mv: float
    current_ma: float | None
    celsius: float
    sd_mv: float
    board: str = ""


class ClampPrior(NamedTuple):
    """What is believed before any reading: (drop in mV, n, RS in ohm) and their deviations."""

    mean: Three = (LINE_MV, IDEALITY, BULK_OHM)
    sd: Three = (LINE_MV_SD, IDEALITY_SD, CLAMP_OHM_SD)


class ClampFit(NamedTuple):
    """A fitted clamp: `mean` (drop at the table's current in mV, n, RS in ohm), their covariance, what it rests on.

    `used` readings went in; `not_used` are the places of those whose current is not known. `worst`: the largest
    distance of a reading from the fit, in its own deviations (the board's spread with it).
    """

    junction: Junction
    mean: Three
    covariance: tuple[Three, Three, Three]
    used: int
    not_used: tuple[int, ...]
    worst: float


def junction_of(mean: Three) -> Junction:
    """The junction of a drop at the table's current (without RS), n and RS."""
    drop_mv, ideality, series_ohm = mean
    nvt = ideality * VT_MV_PER_K * (KELVIN + NOMINAL_C)
    return Junction(saturation_for(drop_mv, nvt, REFERENCE_CURRENT_MA), ideality, series_ohm)


def _predicted(mean: Three, current_ma: float, celsius: float, before_ohm: float) -> float:
    return drop_at(at(junction_of(mean), celsius), current_ma) + before_ohm * current_ma


def _slopes(mean: Three, current_ma: float, celsius: float, before_ohm: float, prior: ClampPrior) -> Three:
    """How the prediction moves with each unknown, numerically, by a small share of its prior deviation."""
    told = []
    for place in range(len(mean)):
        step = SLOPE_SHARE * prior.sd[place]
        up, down = list(mean), list(mean)
        up[place] += step
        down[place] -= step
        above = _predicted((up[0], up[1], up[2]), current_ma, celsius, before_ohm)
        below = _predicted((down[0], down[1], down[2]), current_ma, celsius, before_ohm)
        told.append((above - below) / (2 * step))
    return told[0], told[1], told[2]


def _kept(mean: list[float], prior: ClampPrior) -> Three:
    """Inside what a junction can be."""
    least_mv = SLOPE_SHARE * prior.sd[0] * 2
    return (
        max(mean[0], least_mv),
        min(max(mean[1], LEAST_IDEALITY), MOST_IDEALITY),
        max(mean[2], 0.0),
    )


def inverse(rows: tuple[Three, Three, Three]) -> tuple[Three, Three, Three]:
    """The inverse of a symmetric positive 3 x 3 matrix, by its adjugate."""
    (a, b, c), (_, d, e), (_, _, f) = rows
    aa, bb, cc = d * f - e * e, c * e - b * f, b * e - c * d
    whole = a * aa + b * bb + c * cc
    dd, ee, ff = a * f - c * c, b * c - a * e, a * d - b * b
    return (
        (aa / whole, bb / whole, cc / whole),
        (bb / whole, dd / whole, ee / whole),
        (cc / whole, ee / whole, ff / whole),
    )


def fit_clamp(
    readings: list[HealthyReading],
    *,
    before_ohm: float = 0.0,
    board_sd_mv: float = 0.0,
    prior: ClampPrior | None = None,
) -> ClampFit:
    """The clamp behind `before_ohm`, from healthy readings; with none at all, the prior.

    Raises SheetError for a reading that is no number, without a deviation, at no possible current or temperature.
    """
    prior = prior or ClampPrior()
    usable = [one for place, one in enumerate(readings) if _usable(one, place)]
    mean = _kept(list(prior.mean), prior)
    weights = tuple(1 / (sd * sd) for sd in prior.sd)
    covariance: tuple[Three, Three, Three] | None = None
    best = _badness(mean, usable, before_ohm, board_sd_mv, prior)
    for _ in range(FIT_STEPS):
        normal = [[weights[i] if i == j else 0.0 for j in range(len(weights))] for i in range(len(weights))]
        right = [weights[i] * (prior.mean[i] - mean[i]) for i in range(len(weights))]
        for group in _by_board(usable):
            _add_board(normal, right, group, mean, before_ohm, board_sd_mv, prior)
        covariance = inverse(
            (
                (normal[0][0], normal[0][1], normal[0][2]),
                (normal[1][0], normal[1][1], normal[1][2]),
                (normal[2][0], normal[2][1], normal[2][2]),
            )
        )
        step = [math.fsum([row[j] * right[j] for j in range(len(right))]) for row in covariance]
        share = 1.0
        after = mean
        for _ in range(HALVINGS):
            after = _kept([mean[i] + share * step[i] for i in range(len(step))], prior)
            badness = _badness(after, usable, before_ohm, board_sd_mv, prior)
            if badness <= best:
                best = badness
                break
            share *= 0.5
        else:
            after = mean
        moved = max(abs(after[i] - mean[i]) / prior.sd[i] for i in range(len(step)))
        mean = after
        if moved < FIT_STOP:
            break
    if covariance is None:
        raise AssertionError("at least one step is taken")
    junction = junction_of(mean)
    check_junction(junction, "$.junction")
    worst = max((abs(stray) for stray in _strays(mean, usable, before_ohm, board_sd_mv)), default=0.0)
    unknown = tuple(place for place, one in enumerate(readings) if one.current_ma is None)
    return ClampFit(junction, mean, covariance, len(usable), unknown, worst)


def _usable(one: HealthyReading, place: int) -> bool:
    """Whether a reading tells something; raises SheetError for one that cannot be."""
    where = f"$.readings[{place}]"
    if not (math.isfinite(one.drop_mv) and math.isfinite(one.sd_mv) and one.sd_mv > 0):
        raise SheetError(
            "no_such_reading",
            "a reading is millivolts with a deviation above zero",
            where=where,
            given=f"{one.drop_mv} mV, deviation {one.sd_mv} mV",
            expected="a drop and how well it is known",
            example="HealthyReading(452.0, 1.02, 23.0, 1.0)",
        )
    check_temperature(one.celsius)
    if one.current_ma is None:
        return False
    if not (math.isfinite(one.current_ma) and one.current_ma > 0):
        raise SheetError(
            "no_such_current",
            "no meter reads at this current",
            where=f"{where}.current_ma",
            given=f"{one.current_ma}",
            expected="milliamperes, more than 0; none where it is not known",
            example="1.02",
        )
    return True


def _by_board(readings: list[HealthyReading]) -> list[list[HealthyReading]]:
    groups: dict[str, list[HealthyReading]] = {}
    for one in readings:
        groups.setdefault(one.board, []).append(one)
    return list(groups.values())


def _strays(mean: Three, readings: list[HealthyReading], before_ohm: float, board_sd_mv: float) -> list[float]:
    return [
        (one.drop_mv - _predicted(mean, one.current_ma or 1.0, one.celsius, before_ohm))
        / math.hypot(one.sd_mv, board_sd_mv)
        for one in readings
    ]


def _badness(
    mean: Three, readings: list[HealthyReading], before_ohm: float, board_sd_mv: float, prior: ClampPrior
) -> float:
    """Twice the negative logarithm of the posterior, but for a constant."""
    terms = [(mean[i] - prior.mean[i]) / prior.sd[i] for i in range(len(mean))]
    total = math.fsum([term * term for term in terms])
    for group in _by_board(readings):
        own = own_square = strength = 0.0
        for one in group:
            stray = one.drop_mv - _predicted(mean, one.current_ma or 1.0, one.celsius, before_ohm)
            weight = 1 / (one.sd_mv * one.sd_mv)
            own += weight * stray
            own_square += weight * stray * stray
            strength += weight
        total += own_square - own * own * _shared(strength, board_sd_mv)
    return total


def _shared(strength: float, board_sd_mv: float) -> float:
    """Sherman and Morrison's factor for what one board's readings have in common."""
    return board_sd_mv * board_sd_mv / (1 + strength * board_sd_mv * board_sd_mv)


def _add_board(
    normal: list[list[float]],
    right: list[float],
    group: list[HealthyReading],
    mean: Three,
    before_ohm: float,
    board_sd_mv: float,
    prior: ClampPrior,
) -> None:
    """One board's readings into the normal equations."""
    size = range(len(right))
    slope_sum, stray_sum, strength = [0.0] * len(right), 0.0, 0.0
    for one in group:
        current_ma = one.current_ma or 1.0
        slopes = _slopes(mean, current_ma, one.celsius, before_ohm, prior)
        stray = one.drop_mv - _predicted(mean, current_ma, one.celsius, before_ohm)
        weight = 1 / (one.sd_mv * one.sd_mv)
        for i in size:
            for j in size:
                normal[i][j] += weight * slopes[i] * slopes[j]
            right[i] += weight * slopes[i] * stray
            slope_sum[i] += weight * slopes[i]
        stray_sum += weight * stray
        strength += weight
    shared = _shared(strength, board_sd_mv)
    for i in size:
        for j in size:
            normal[i][j] -= shared * slope_sum[i] * slope_sum[j]
        right[i] -= shared * slope_sum[i] * stray_sum


def predicted(fit: ClampFit, current_ma: float, celsius: float, before_ohm: float = 0.0) -> tuple[float, float]:
    """What a healthy contact of this clamp reads there, and the fit's deviation of it, mV."""
    check_temperature(celsius)
    slopes = _slopes(fit.mean, current_ma, celsius, before_ohm, ClampPrior())
    return _predicted(fit.mean, current_ma, celsius, before_ohm), _sd(slopes, fit)


def carried_by(
    fit: ClampFit,
    drop_mv: float,
    from_ma: float,
    from_c: float,
    to_ma: float,
    to_c: float,
    before_ohm: float = 0.0,
) -> tuple[float, float]:
    """One reading carried to another current and temperature through the fitted n and RS, and what the carrying adds.

    The reading keeps its own board: only n and RS come from the fit. The deviation is theirs, mV.
    """

    def moved(ideality: float, series_ohm: float) -> float:
        return carried(drop_mv, ideality, series_ohm + before_ohm, from_ma, from_c, to_ma, to_c)

    _, ideality, series_ohm = fit.mean
    prior = ClampPrior()
    n_step, ohm_step = SLOPE_SHARE * prior.sd[1], SLOPE_SHARE * prior.sd[2]
    by_n = (moved(ideality + n_step, series_ohm) - moved(ideality - n_step, series_ohm)) / (2 * n_step)
    by_ohm = (moved(ideality, series_ohm + ohm_step) - moved(ideality, series_ohm - ohm_step)) / (2 * ohm_step)
    return moved(ideality, series_ohm), _sd((0.0, by_n, by_ohm), fit)


def _sd(slopes: Three, fit: ClampFit) -> float:
    terms = [slopes[i] * slopes[j] * fit.covariance[i][j] for i in range(len(slopes)) for j in range(len(slopes))]
    return math.sqrt(max(0.0, math.fsum(terms)))
