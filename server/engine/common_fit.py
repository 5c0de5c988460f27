"""What the readings of one board have in common: current, temperature, a small offset, and how its chips lean.

A contact whose healthy reading elsewhere is `expected` reads

    expected carried to (I e^a, T + k)  +  offset  +  die_mv d  +  chip_mv u  +  its own scatter,

with Normal priors on a, k, offset, one d ~ Normal(0, 1) for each chip and one u ~ Normal(0, 1) for each group of its
lines: contacts of one chip come from one die and lean together, and lines of one role a little more so. Faults are
one-sided, mostly low, and of any depth; their share is not known and is averaged over. `fit_arrow` has the normal
equations. Several starts, since with most contacts low there are several modes; the one with the largest evidence
(Laplace) is taken.
"""

import math
from typing import NamedTuple

from server.engine.constants.bench import LOG_2PI_HALF
from server.engine.constants.sessions import (
    BANDGAP_MV,
    EVIDENCE_MARGIN,
    FAULT_ANY_SHARE,
    FAULT_DEPTH_MAX_MV,
    FAULT_DEPTH_MIN_MV,
    FAULT_LOW_SHARE,
    FEW_CONTACTS,
    KELVIN,
    SESSION_FAULT_SHARES,
    STRAINED_POINTS,
    STRAINED_SD,
    VT_MV_PER_K,
    XTI,
)
from server.engine.fit_arrow import (
    NO_CHIP,
    Arrow,
    Chip,
    Names,
    Now,
    Prior,
    Row,
    Six,
    bounded,
    normal_equations,
    prior_cost,
    solved,
)
from server.engine.roles import Path


class Point(NamedTuple):
    """One contact's part in a fit: what it should read, what it reads, its own scatter (mV), its path.

    `chip` names the group it leans with, "CHIP/ROLE" ("" for none), `chip_mv` how far one deviation of that lean moves
    it; `die_mv`: how far one deviation of what its whole chip leans by moves it (0: no chip is known).
    """

    expected_mv: float
    read_mv: float
    scale_mv: float
    path: Path
    chip: str = ""
    chip_mv: float = 0.0
    die_mv: float = 0.0


class CommonFit(NamedTuple):
    """The common unknowns beside the nominal ones. `covariance`: of (log current, kelvin, mV), rows of the upper half.

    `chips`: the leans of groups and of whole chips by their names.
    `weights` are the probabilities that each point is healthy, in the order of the points. `evidence`: the
    logarithm of the probability of the readings under this prior, by Laplace's approximation (Bishop, Pattern
    Recognition and Machine Learning, 2006, section 4.4.1): two priors are weighed against each other by it.
    `squares`: the squared deviations of the points from the fit in their own scatter, each by its weight, added up.
    """

    log_current: float
    kelvin: float
    offset_mv: float
    covariance: Six
    chips: dict[str, Chip]
    weights: list[float]
    evidence: float
    squares: float = 0.0


def nothing_in_common(prior: Prior) -> CommonFit:
    """The fit of no readings: the priors themselves."""
    a, k, o = prior.current_sd, prior.air_sd_k, prior.offset_sd_mv
    return CommonFit(0.0, 0.0, 0.0, (a * a, 0.0, 0.0, k * k, 0.0, o * o), {}, [], 0.0)


def die_of(group: str) -> str:
    """The name of the chip that a group of lines belongs to; "" where none is known."""
    return group.partition("/")[0]


def lean_of(
    fit: CommonFit, chip: str, chip_mv: float, die_mv: float, per_log: float, per_k: float
) -> tuple[float, float]:
    """(offset and lean at a contact of that group, mV; variance of everything common there, mV squared)."""
    own = fit.chips.get(chip, NO_CHIP)
    pull = chip_mv / own.precision
    x, y, z = per_log - pull * own.tie_log, per_k - pull * own.tie_k, 1 - pull * own.tie_mv
    told, alone = chip_mv * own.lean, chip_mv * pull
    if die_mv:
        die = fit.chips.get(die_of(chip), NO_CHIP)
        left = die_mv - pull * own.tie_die
        pull = left / die.precision
        x, y, z = x - pull * die.tie_log, y - pull * die.tie_k, z - pull * die.tie_mv
        told, alone = told + die_mv * die.lean, alone + left * pull
    aa, ak, ao, kk, ko, oo = fit.covariance
    variance = aa * x * x + kk * y * y + oo * z * z + 2 * (ak * x * y + ao * x * z + ko * y * z)
    return fit.offset_mv + told, max(0.0, variance) + alone


def leaning_less(fit: CommonFit, share: dict[str, float], lean_most: float) -> CommonFit:
    """The same common unknowns, with each group's lean as it is where one deviation moves it by only that `share`.

    A group's own row of the equations is linear in how far one deviation moves it: its precision above the prior's
    one goes with the square, its ties and what pulls at it with the share itself.
    """
    chips = dict(fit.chips)
    for name, by in share.items():
        chip = chips[name]
        precision = 1 + (chip.precision - 1) * by * by
        lean = min(max(chip.lean * chip.precision * by / precision, -lean_most), lean_most)
        ties = (chip.tie_log, chip.tie_k, chip.tie_mv, chip.tie_die)
        chips[name] = Chip(lean, precision, *(tie * by for tie in ties))
    return fit._replace(chips=chips)


def fit_common(points: list[Point], prior: Prior, starts: list[tuple[float, float]], steps: int) -> CommonFit:
    """The common unknowns of these points, from the best of several (log current, kelvin) starts."""
    if not points:
        return nothing_in_common(prior)
    rows, names = _rows(points, prior)
    level = _Leans([0.0] * len(names.groups), [0.0] * len(names.dies))
    best = _settle(starts[0], level, rows, names, prior, steps)
    if len(points) >= FEW_CONTACTS and not is_strained(best, prior):
        return best
    others = [(start, level) for start in starts[1:]]
    if len(points) >= FEW_CONTACTS and names.groups:
        others.append((starts[0], _middle_leans(points, names)))
    for start, leans in others:
        tried = _settle(start, leans, rows, names, prior, steps)
        # two starts that reach one optimum differ by what the last step left, and the last bits of that are the
        # machine's: the earlier start stands unless another is better by more than that
        if tried.evidence > best.evidence + EVIDENCE_MARGIN:
            best = tried
    return best


class _Leans(NamedTuple):
    """Of each group and of each chip, in the order of their places."""

    groups: list[float]
    dies: list[float]


def _rows(points: list[Point], prior: Prior) -> tuple[list[Row], Names]:
    """The points as the steps take them, and the names of groups and chips in their order."""
    groups = sorted({point.chip for point in points if point.chip})
    dies = sorted({die_of(point.chip) for point in points if point.die_mv})
    places = {name: place for place, name in enumerate(dies)}
    rows = [
        Row(
            point.expected_mv - point.path.series_ohm * prior.current_ma,
            point.path.ideality,
            point.path.series_ohm,
            point.read_mv,
            point.scale_mv,
            groups.index(point.chip) if point.chip else -1,
            point.chip_mv if point.chip else 0.0,
            places[die_of(point.chip)] if point.die_mv else -1,
            point.die_mv,
        )
        for point in points
    ]
    return rows, Names(groups, dies, [places.get(die_of(name), -1) for name in groups])


def fit_again(points: list[Point], prior: Prior, before: CommonFit, steps: int) -> CommonFit:
    """The common unknowns of these points, from where a fit of nearly the same points stood."""
    rows, names = _rows(points, prior)
    leans = _Leans(
        [before.chips.get(name, NO_CHIP).lean for name in names.groups],
        [before.chips.get(name, NO_CHIP).lean for name in names.dies],
    )
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


def _middle_leans(points: list[Point], names: Names) -> _Leans:
    """Each chip's lean if its middle reading is healthy, then each group's beside its chip's: a place to start from
    where a whole chip is far off.
    """
    dies: list[float] = []
    for name in names.dies:
        members = [one for one in points if one.die_mv and die_of(one.chip) == name]
        dies.append(_middle([(one.read_mv - one.expected_mv) / one.die_mv for one in members]))
    groups: list[float] = []
    for name, die in zip(names.groups, names.of_each(dies), strict=True):
        members = [one for one in points if one.chip == name and one.chip_mv]
        groups.append(_middle([(one.read_mv - one.expected_mv - one.die_mv * die) / one.chip_mv for one in members]))
    return _Leans(groups, dies)


def _middle(told: list[float]) -> float:
    return sorted(told)[len(told) // 2] if told else 0.0


def _settle(
    start: tuple[float, float],
    leans: _Leans,
    rows: list[Row],
    names: Names,
    prior: Prior,
    steps: int,
    offset_mv: float | None = None,
) -> CommonFit:
    """Reweighted least squares from one start; with `offset_mv` it is where a fit stood, chips and all."""
    most = prior.lean_most
    groups, dies = ([min(max(lean, -most), most) for lean in told] for told in leans)
    now = Now(*bounded(start[0], start[1], prior.current_ma, prior.air_c), offset_mv or 0.0, groups, dies)
    fit = nothing_in_common(prior)
    for step in range(steps):
        left, healthy, faulty = _look(rows, now, prior, step == 0 and offset_mv is None)
        weights, likelihood = _healthy_weights(healthy, faulty)
        arrow = normal_equations(rows, names, left, weights, now, prior)
        evidence = likelihood - 0.5 * (prior_cost(now, prior) + arrow.log_determinant)
        now = solved(arrow, names, prior)
        squares = 0.0
        for weight, residual, row in zip(weights, left, rows, strict=True):
            squares += weight * (residual / row.scale_mv) * (residual / row.scale_mv)
        told = (now.log_current, now.kelvin, now.offset_mv, arrow.covariance)
        fit = CommonFit(*told, _chips(names, now, arrow), weights, evidence, squares)
    return fit


def _chips(names: Names, now: Now, arrow: Arrow) -> dict[str, Chip]:
    """Every lean with its ties, by name; what pulled at it is in the lean already."""
    chips: dict[str, Chip] = {}
    for called, leans, rows in ((names.groups, now.groups, arrow.groups), (names.dies, now.dies, arrow.dies)):
        for name, lean, *ties in zip(called, leans, *rows[:-1], strict=True):
            chips[name] = Chip(lean, *ties)
    return chips


def _look(
    rows: list[Row], now: Now, prior: Prior, chips_unknown: bool
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
    for junction, ideality, ohm, read, scale, group, pull, die, die_mv in rows:
        residual = read - (junction * ratio + common + ideality * vt * now.log_current + ohm * to_ma)
        if group >= 0:
            residual -= pull * now.groups[group]
        if die >= 0:
            residual -= die_mv * now.dies[die]
        # before the chips are known they are part of the scatter
        wide = math.hypot(math.hypot(scale, pull), die_mv) if chips_unknown else scale
        z = residual / wide
        apart = max(abs(residual), FAULT_DEPTH_MIN_MV)
        left.append(residual)
        healthy.append(norm * math.exp(-0.5 * z * z) / wide)
        # no step at zero: a start lays the middle reading there, and a machine's last bit would choose its side
        down = min(max(0.5 - 0.5 * residual / FAULT_DEPTH_MIN_MV, 0.0), 1.0)
        sided = down * depth + (1 - down) * height
        faulty.append(flat + (sided / apart if apart < FAULT_DEPTH_MAX_MV else 0.0))
    return left, healthy, faulty


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
