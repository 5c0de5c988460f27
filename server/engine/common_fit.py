"""What the readings of one board have in common: current, temperature, a small offset, and an effect per chip.

Contact i of chip g, whose healthy reading elsewhere is `expected`, reads

    expected carried to (I e^a, T + k)  +  offset  +  chip_mv_i u_g  +  its own scatter,

with Normal priors on a, k, offset and one u ~ Normal(0, 1) for each chip: contacts of one chip come from one
die and lean together. Faults are one-sided, mostly low, and of any depth; their share is not known and is
averaged over. The weighted normal equations are an arrow: three unknowns common to all, one for each chip
that touches only its own contacts, so the chips are eliminated one by one (Schur complement; Golub and Van
Loan, Matrix Computations, 4th ed., section 4.2). Several starts, since with most contacts low there are
several modes; the one with the largest evidence (Laplace) is taken.
"""

import math
from typing import NamedTuple

from server.engine.constants.bench import LOG_2PI_HALF, TINY
from server.engine.constants.sessions import (
    AIR_HIGH_C,
    AIR_LOW_C,
    BANDGAP_MV,
    CURRENT_HIGH_MA,
    CURRENT_LOW_MA,
    CURRENT_TOLD_SHARE,
    EVIDENCE_MARGIN,
    FAULT_ANY_SHARE,
    FAULT_DEPTH_MAX_MV,
    FAULT_DEPTH_MIN_MV,
    FAULT_LOW_SHARE,
    FEW_CONTACTS,
    KELVIN,
    LEAN_MOST,
    SESSION_FAULT_SHARES,
    STRAINED_POINTS,
    STRAINED_SD,
    VT_MV_PER_K,
    XTI,
)
from server.engine.roles import Path


class Point(NamedTuple):
    """One contact's part in a fit: what it should read, what it reads, its own scatter (mV), its path.

    `chip` names the group it leans with ("" for none), `chip_mv` how far one deviation of that lean moves it.
    """

    expected_mv: float
    read_mv: float
    scale_mv: float
    path: Path
    chip: str = ""
    chip_mv: float = 0.0


class Prior(NamedTuple):
    """Where a fit starts from: nominal current and temperature, and one deviation of each common unknown.

    `lean_most`: how many deviations a chip may lean before it is something to be explained, and stays in view.
    """

    current_ma: float
    air_c: float
    current_sd: float
    air_sd_k: float
    offset_sd_mv: float
    lean_most: float = LEAN_MOST


class Chip(NamedTuple):
    """What is known of one chip's lean: its mean, the precision it would have alone, its ties to the common three."""

    lean: float
    precision: float
    tie_log: float
    tie_k: float
    tie_mv: float


NO_CHIP = Chip(0.0, 1.0, 0.0, 0.0, 0.0)


_Row = tuple[float, float, float, float, float, int, float]


class CommonFit(NamedTuple):
    """The common unknowns beside the nominal ones. `covariance`: of (log current, kelvin, mV), rows of the upper half.

    `weights` are the probabilities that each point is healthy, in the order of the points. `evidence`: the
    logarithm of the probability of the readings under this prior, by Laplace's approximation (Bishop, Pattern
    Recognition and Machine Learning, 2006, section 4.4.1): two priors are weighed against each other by it.
    `squares`: the squared deviations of the points from the fit in their own scatter, each by its weight, added up.
    """

    log_current: float
    kelvin: float
    offset_mv: float
    covariance: tuple[float, float, float, float, float, float]
    chips: dict[str, Chip]
    weights: list[float]
    evidence: float
    squares: float = 0.0


def nothing_in_common(prior: Prior) -> CommonFit:
    """The fit of no readings: the priors themselves."""
    a, k, o = prior.current_sd, prior.air_sd_k, prior.offset_sd_mv
    return CommonFit(0.0, 0.0, 0.0, (a * a, 0.0, 0.0, k * k, 0.0, o * o), {}, [], 0.0)


def lean_of(fit: CommonFit, chip: str, chip_mv: float, per_log: float, per_k: float) -> tuple[float, float]:
    """(offset and chip's lean at a contact, mV; variance of everything common there, mV squared)."""
    own = fit.chips.get(chip, NO_CHIP)
    pull = chip_mv / own.precision
    x, y, z = per_log - pull * own.tie_log, per_k - pull * own.tie_k, 1 - pull * own.tie_mv
    aa, ak, ao, kk, ko, oo = fit.covariance
    variance = aa * x * x + kk * y * y + oo * z * z + 2 * (ak * x * y + ao * x * z + ko * y * z)
    return fit.offset_mv + chip_mv * own.lean, max(0.0, variance) + chip_mv * pull


def leaning_less(fit: CommonFit, share: dict[str, float], lean_most: float) -> CommonFit:
    """The same common unknowns, with each chip's lean as it is where one deviation moves it by only that `share`.

    A chip's own row of the equations is linear in how far one deviation moves it: its precision above the prior's
    one goes with the square, its ties and what pulls at it with the share itself.
    """
    chips = {}
    for name, chip in fit.chips.items():
        by = share[name]
        precision = 1 + (chip.precision - 1) * by * by
        lean = min(max(chip.lean * chip.precision * by / precision, -lean_most), lean_most)
        chips[name] = Chip(lean, precision, chip.tie_log * by, chip.tie_k * by, chip.tie_mv * by)
    return fit._replace(chips=chips)


def fit_common(points: list[Point], prior: Prior, starts: list[tuple[float, float]], steps: int) -> CommonFit:
    """The common unknowns of these points, from the best of several (log current, kelvin) starts."""
    if not points:
        return nothing_in_common(prior)
    rows, names = _rows(points, prior)
    level = [0.0] * len(names)
    best = _settle(starts[0], level, rows, names, prior, steps)
    if len(points) >= FEW_CONTACTS and not is_strained(best, prior):
        return best
    others = [(start, level) for start in starts[1:]]
    if len(points) >= FEW_CONTACTS and names:
        others.append((starts[0], _middle_leans(points, names)))
    for start, leans in others:
        tried = _settle(start, leans, rows, names, prior, steps)
        # two starts that reach one optimum differ by what the last step left, and the last bits of that are the
        # machine's: the earlier start stands unless another is better by more than that
        if tried.evidence > best.evidence + EVIDENCE_MARGIN:
            best = tried
    return best


def _rows(points: list[Point], prior: Prior) -> tuple[list[_Row], list[str]]:
    """The points as the steps take them, and the chips' names in their order."""
    names = sorted({point.chip for point in points if point.chip})
    rows = [
        (
            point.expected_mv - point.path.series_ohm * prior.current_ma,
            point.path.ideality,
            point.path.series_ohm,
            point.read_mv,
            point.scale_mv,
            names.index(point.chip) if point.chip else -1,
            point.chip_mv if point.chip else 0.0,
        )
        for point in points
    ]
    return rows, names


def fit_again(points: list[Point], prior: Prior, before: CommonFit, steps: int) -> CommonFit:
    """The common unknowns of these points, from where a fit of nearly the same points stood."""
    rows, names = _rows(points, prior)
    leans = [before.chips[name].lean if name in before.chips else 0.0 for name in names]
    return _settle((before.log_current, before.kelvin), leans, rows, names, prior, steps, before.offset_mv)


def is_strained(fit: CommonFit, prior: Prior) -> bool:
    """Whether a fit had to go far: several points it cannot explain, or unknowns that stand far from where they were
    told. Where it had not, no other explanation of the whole board is worth looking for.
    """
    unexplained = len([weight for weight in fit.weights if weight < 0.5])
    far = max(
        [abs(fit.log_current) / prior.current_sd, abs(fit.kelvin) / prior.air_sd_k]
        + [abs(chip.lean) for chip in fit.chips.values()]
    )
    return unexplained >= STRAINED_POINTS or far > STRAINED_SD


def _middle_leans(points: list[Point], names: list[str]) -> list[float]:
    """Each chip's lean if its middle reading is healthy: a place to start from where a whole chip is far off."""
    leans = []
    for name in names:
        members = [one for one in points if one.chip == name and one.chip_mv]
        told = sorted((one.read_mv - one.expected_mv) / one.chip_mv for one in members)
        leans.append(told[len(told) // 2] if told else 0.0)
    return leans


_Six = tuple[float, float, float, float, float, float]


class _Now(NamedTuple):
    """Where a fit stands: the common three, and the lean of each chip."""

    log_current: float
    kelvin: float
    offset_mv: float
    leans: list[float]


class _Arrow(NamedTuple):
    """Weighted normal equations: the chips' rows, and the common three once the chips are eliminated."""

    precision: list[float]
    tie_log: list[float]
    tie_k: list[float]
    tie_mv: list[float]
    pulled: list[float]
    covariance: _Six
    right: tuple[float, float, float]
    log_determinant: float


def _settle(
    start: tuple[float, float],
    leans: list[float],
    rows: list[_Row],
    names: list[str],
    prior: Prior,
    steps: int,
    offset_mv: float | None = None,
) -> CommonFit:
    """Reweighted least squares from one start; with `offset_mv` it is where a fit stood, chips and all."""
    leans = [min(max(lean, -prior.lean_most), prior.lean_most) for lean in leans]
    now = _Now(*_bounded(start[0], start[1], prior.current_ma, prior.air_c), offset_mv or 0.0, leans)
    fit = nothing_in_common(prior)
    for step in range(steps):
        left, healthy, faulty = _look(rows, now, prior, step == 0 and offset_mv is None)
        weights, likelihood = _healthy_weights(healthy, faulty)
        arrow = _normal_equations(rows, left, weights, now, prior)
        evidence = likelihood - 0.5 * (_prior_cost(now, prior) + arrow.log_determinant)
        now = _solved(arrow, prior)
        chips = {
            name: Chip(lean, *tied)
            for name, lean, *tied in zip(
                names, now.leans, arrow.precision, arrow.tie_log, arrow.tie_k, arrow.tie_mv, strict=True
            )
        }
        squares = 0.0
        for weight, residual, (*_, scale, _chip, _pull) in zip(weights, left, rows, strict=True):
            squares += weight * (residual / scale) * (residual / scale)
        fit = CommonFit(now.log_current, now.kelvin, now.offset_mv, arrow.covariance, chips, weights, evidence, squares)
    return fit


def _look(
    rows: list[_Row], now: _Now, prior: Prior, chips_unknown: bool
) -> tuple[list[float], list[float], list[float]]:
    """What is left of each reading, and its density (per mV) if healthy and if faulty."""
    warm = KELVIN + prior.air_c
    ratio = (warm + now.kelvin) / warm
    vt = VT_MV_PER_K * (warm + now.kelvin)
    to_ma = prior.current_ma * math.exp(now.log_current)
    common = BANDGAP_MV * (1 - ratio) - XTI * vt * math.log(ratio) + now.offset_mv
    by_depth = (1 - FAULT_ANY_SHARE) / math.log(FAULT_DEPTH_MAX_MV / FAULT_DEPTH_MIN_MV)
    depth, height = by_depth * FAULT_LOW_SHARE, by_depth * (1 - FAULT_LOW_SHARE)
    flat = FAULT_ANY_SHARE / (2 * FAULT_DEPTH_MAX_MV)
    norm = math.exp(-LOG_2PI_HALF)
    left: list[float] = []
    healthy: list[float] = []
    faulty: list[float] = []
    for junction, ideality, ohm, read, scale, chip, pull in rows:
        residual = read - (junction * ratio + common + ideality * vt * now.log_current + ohm * to_ma)
        if chip >= 0:
            residual -= pull * now.leans[chip]
        # before the chips are known they are part of the scatter
        wide = math.hypot(scale, pull) if chips_unknown else scale
        z = residual / wide
        apart = max(abs(residual), FAULT_DEPTH_MIN_MV)
        left.append(residual)
        healthy.append(norm * math.exp(-0.5 * z * z) / wide)
        # no step at zero: a start lays the middle reading there, and a machine's last bit would choose its side
        down = min(max(0.5 - 0.5 * residual / FAULT_DEPTH_MIN_MV, 0.0), 1.0)
        sided = down * depth + (1 - down) * height
        faulty.append(flat + (sided / apart if apart < FAULT_DEPTH_MAX_MV else 0.0))
    return left, healthy, faulty


def _normal_equations(rows: list[_Row], left: list[float], weights: list[float], now: _Now, prior: Prior) -> _Arrow:
    """The equations at this point, the chips eliminated from the common three."""
    warm = KELVIN + prior.air_c
    vt = VT_MV_PER_K * (warm + now.kelvin)
    to_ma = prior.current_ma * math.exp(now.log_current)
    aa, kk, oo = (1 / (sd * sd) for sd in (prior.current_sd, prior.air_sd_k, prior.offset_sd_mv))
    ak = ao = ko = ya = yk = yo = 0.0
    count = len(now.leans)
    precision, pulled = [1.0] * count, [0.0] * count
    tie_log, tie_k, tie_mv = [0.0] * count, [0.0] * count, [0.0] * count
    for (junction, ideality, ohm, _read, scale, chip, pull), residual, weight in zip(rows, left, weights, strict=True):
        strength = weight / (scale * scale)
        per_log = ideality * vt + ohm * to_ma
        per_k = -(BANDGAP_MV + XTI * vt - junction) / warm
        linear = residual + per_log * now.log_current + per_k * now.kelvin + now.offset_mv
        if chip >= 0:
            linear += pull * now.leans[chip]
            by = strength * pull
            precision[chip] += by * pull
            tie_log[chip] += by * per_log
            tie_k[chip] += by * per_k
            tie_mv[chip] += by
            pulled[chip] += by * linear
        aa += strength * per_log * per_log
        kk += strength * per_k * per_k
        oo += strength
        ak += strength * per_log * per_k
        ao += strength * per_log
        ko += strength * per_k
        ya += strength * per_log * linear
        yk += strength * per_k * linear
        yo += strength * linear
    log_determinant = 0.0
    for d, a, k, o, y in zip(precision, tie_log, tie_k, tie_mv, pulled, strict=True):
        aa, kk, oo = aa - a * a / d, kk - k * k / d, oo - o * o / d
        ak, ao, ko = ak - a * k / d, ao - a * o / d, ko - k * o / d
        ya, yk, yo = ya - a * y / d, yk - k * y / d, yo - o * y / d
        log_determinant += math.log(d)
    covariance, determinant = symmetric_inverse(aa, ak, ao, kk, ko, oo)
    log_determinant += math.log(max(determinant, TINY))
    return _Arrow(precision, tie_log, tie_k, tie_mv, pulled, covariance, (ya, yk, yo), log_determinant)


def _solved(arrow: _Arrow, prior: Prior) -> _Now:
    caa, cak, cao, ckk, cko, coo = arrow.covariance
    ya, yk, yo = arrow.right
    log_current, kelvin = _bounded(
        caa * ya + cak * yk + cao * yo, cak * ya + ckk * yk + cko * yo, prior.current_ma, prior.air_c
    )
    offset = cao * ya + cko * yk + coo * yo
    leans = [
        min(max((y - a * log_current - k * kelvin - o * offset) / d, -prior.lean_most), prior.lean_most)
        for d, a, k, o, y in zip(arrow.precision, arrow.tie_log, arrow.tie_k, arrow.tie_mv, arrow.pulled, strict=True)
    ]
    return _Now(log_current, kelvin, offset, leans)


def _prior_cost(now: _Now, prior: Prior) -> float:
    """Twice the negative logarithm of the prior density where the fit stands, but for the powers of 2 pi."""
    cost = 2 * math.log(prior.current_sd * prior.air_sd_k * prior.offset_sd_mv)
    for value, sd in (
        (now.log_current, prior.current_sd),
        (now.kelvin, prior.air_sd_k),
        (now.offset_mv, prior.offset_sd_mv),
    ):
        cost += value / sd * (value / sd)
    for lean in now.leans:
        cost += lean * lean
    return cost


def _healthy_weights(healthy: list[float], faulty: list[float]) -> tuple[list[float], float]:
    """Probability that each point is healthy, averaged over the shares of faults by how well each share fits."""
    logs = []
    for share in SESSION_FAULT_SHARES:
        total = 0.0
        for h, f in zip(healthy, faulty, strict=True):
            total += math.log((1 - share) * h + share * f)
        logs.append(total)
    top = max(logs)
    odds = [math.exp(one - top) for one in logs]
    whole = math.fsum(odds)
    weights = [0.0] * len(healthy)
    for share, one in zip(SESSION_FAULT_SHARES, odds, strict=True):
        part, good = one / whole, 1 - share
        weights = [
            weight + part * good * h / (good * h + share * f)
            for weight, h, f in zip(weights, healthy, faulty, strict=True)
        ]
    return weights, top + math.log(whole / len(logs))


def symmetric_inverse(
    aa: float, ak: float, ao: float, kk: float, ko: float, oo: float
) -> tuple[tuple[float, float, float, float, float, float], float]:
    """Inverse (upper half by rows) and determinant of a symmetric 3 x 3 matrix, by cofactors."""
    one, two, three = kk * oo - ko * ko, ao * ko - ak * oo, ak * ko - ao * kk
    determinant = aa * one + ak * two + ao * three
    return (
        one / determinant,
        two / determinant,
        three / determinant,
        (aa * oo - ao * ao) / determinant,
        (ak * ao - aa * ko) / determinant,
        (aa * kk - ak * ak) / determinant,
    ), determinant


def _bounded(log_current: float, kelvin: float, current_ma: float, air_c: float) -> tuple[float, float]:
    """Inside what meters force and where people probe; three contacts far low cannot become a session."""
    # a range that was told to force less than diode tests do may force less still
    least_ma = min(CURRENT_LOW_MA, CURRENT_TOLD_SHARE * current_ma)
    lowest, highest = math.log(least_ma / current_ma), math.log(CURRENT_HIGH_MA / current_ma)
    return (
        min(max(log_current, min(lowest, 0.0)), max(highest, 0.0)),
        min(max(kelvin, min(AIR_LOW_C - air_c, 0.0)), max(AIR_HIGH_C - air_c, 0.0)),
    )
