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
from collections.abc import Sequence
from functools import lru_cache
from itertools import islice
from typing import NamedTuple

from server.engine.constants.bench import FACTORS_AT_ONCE, LOG_2PI_HALF
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
    Alike,
    Arrow,
    Chip,
    Laid,
    Names,
    Now,
    Prior,
    Row,
    Six,
    bounded,
    log_determinant,
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


_BY_DEPTH = (1 - FAULT_ANY_SHARE) / math.log(FAULT_DEPTH_MAX_MV / FAULT_DEPTH_MIN_MV)
FAULT_LOW, FAULT_HIGH = _BY_DEPTH * FAULT_LOW_SHARE, _BY_DEPTH * (1 - FAULT_LOW_SHARE)
FAULT_FLAT = FAULT_ANY_SHARE / (2 * FAULT_DEPTH_MAX_MV)
"""Densities of faults: by the logarithm of their depth, low and high; and of any depth, per mV."""


class CommonFit(NamedTuple):
    """The common unknowns beside the nominal ones. `covariance`: of (log current, kelvin, mV), rows of the upper half.

    `chips`: the leans of groups and of whole chips by their names.
    `weights` are the probabilities that each point is healthy, in the order of the points. `evidence`: the
    logarithm of the probability of the readings under this prior, by Laplace's approximation (Bishop, Pattern
    Recognition and Machine Learning, 2006, section 4.4.1): two priors are weighed against each other by it.
    """

    log_current: float
    kelvin: float
    offset_mv: float
    covariance: Six
    chips: dict[str, Chip]
    weights: list[float]
    evidence: float


def nothing_in_common(prior: Prior) -> CommonFit:
    """The fit of no readings: the priors themselves."""
    a, k, o = prior.current_sd, prior.air_sd_k, prior.offset_sd_mv
    return CommonFit(0.0, 0.0, 0.0, (a * a, 0.0, 0.0, k * k, 0.0, o * o), {}, [], 0.0)


@lru_cache
def die_of(group: str) -> str:
    """The name of the chip that a group of lines belongs to; "" where none is known."""
    return group.partition("/")[0]


def leaning_mv(fit: CommonFit, chip: str, chip_mv: float, die_mv: float) -> float:
    """Offset and lean at a contact of that group, mV."""
    told = chip_mv * fit.chips.get(chip, NO_CHIP).lean
    if die_mv:
        told += die_mv * fit.chips.get(die_of(chip), NO_CHIP).lean
    return fit.offset_mv + told


def lean_of(
    fit: CommonFit, chip: str, chip_mv: float, die_mv: float, per_log: float, per_k: float
) -> tuple[float, float]:
    """(offset and lean at a contact of that group, mV; variance of everything common there, mV squared)."""
    own = fit.chips.get(chip, NO_CHIP)
    pull = chip_mv / own.precision
    x, y, z = per_log - pull * own.tie_log, per_k - pull * own.tie_k, 1 - pull * own.tie_mv
    alone = chip_mv * pull
    if die_mv:
        die = fit.chips.get(die_of(chip), NO_CHIP)
        left = die_mv - pull * own.tie_die
        pull = left / die.precision
        x, y, z = x - pull * die.tie_log, y - pull * die.tie_k, z - pull * die.tie_mv
        alone += left * pull
    aa, ak, ao, kk, ko, oo = fit.covariance
    variance = aa * x * x + kk * y * y + oo * z * z + 2 * (ak * x * y + ao * x * z + ko * y * z)
    return leaning_mv(fit, chip, chip_mv, die_mv), max(0.0, variance) + alone


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
    frame, laid = _laid(points, prior)
    level = _Leans([0.0] * len(laid.names.groups), [0.0] * len(laid.names.dies))
    best = _told(frame, laid, _settle(starts[0], level, laid, prior, steps), prior)
    if len(points) >= FEW_CONTACTS and not is_strained(best, prior):
        return best
    others = [(start, level) for start in starts[1:]]
    if len(points) >= FEW_CONTACTS and laid.names.groups:
        others.append((starts[0], _middle_leans(points, laid.names)))
    for start, leans in others:
        tried = _told(frame, laid, _settle(start, leans, laid, prior, steps), prior)
        # two starts that reach one optimum differ by what the last step left, and the last bits of that are the
        # machine's: the earlier start stands unless another is better by more than that
        if tried.evidence > best.evidence + EVIDENCE_MARGIN:
            best = tried
    return best


class _Leans(NamedTuple):
    """Of each group and of each chip, in the order of their places."""

    groups: list[float]
    dies: list[float]


class Frame(NamedTuple):
    """How contacts lie in a fit, whatever they read: which lean alike, the names of groups and chips in their order,
    and which contact stands at each place.
    """

    bundles: list[Alike]
    names: Names
    order: list[int]


def framed(leans: Sequence[tuple[str, float, float]]) -> Frame:
    """From what each contact leans with: (chip, chip_mv, die_mv) of a `Point`."""
    together: dict[tuple[str, float, float], list[int]] = {}
    for place, one in enumerate(leans):
        together.setdefault(one, []).append(place)
    groups = sorted({chip for chip, _, _ in together if chip})
    dies = sorted({die_of(chip) for chip, _, die_mv in together if die_mv})
    group_at = {name: place for place, name in enumerate(groups)}
    die_at = {name: place for place, name in enumerate(dies)}
    bundles = [
        Alike(
            group_at.get(chip, -1),
            chip_mv if chip else 0.0,
            die_at[die_of(chip)] if die_mv else -1,
            die_mv,
            len(places),
        )
        for (chip, chip_mv, die_mv), places in together.items()
    ]
    names = Names(groups, dies, [die_at.get(die_of(name), -1) for name in groups])
    return Frame(bundles, names, [place for places in together.values() for place in places])


def row_of(expected_mv: float, path: Path, scale_mv: float, current_ma: float) -> Row:
    """A contact as the steps take it."""
    ohm = path.series_ohm
    return expected_mv - ohm * current_ma, path.ideality, ohm, scale_mv


def _laid(points: list[Point], prior: Prior) -> tuple[Frame, Laid]:
    frame = framed([(point.chip, point.chip_mv, point.die_mv) for point in points])
    placed = [points[place] for place in frame.order]
    rows = [row_of(point.expected_mv, point.path, point.scale_mv, prior.current_ma) for point in placed]
    return frame, Laid(frame.bundles, frame.names, rows, [point.read_mv for point in placed])


class Settled(NamedTuple):
    """Where a fit came to rest, without what it was told by: the names say whose leans stand in `now`."""

    now: Now
    names: Names


def at_rest(fit: CommonFit, names: Names) -> Settled:
    """Where a whole fit came to rest."""
    leans = ([fit.chips[name].lean for name in called] for called in (names.groups, names.dies))
    return Settled(Now(fit.log_current, fit.kelvin, fit.offset_mv, *leans), names)


def settled(laid: Laid, prior: Prior, before: Settled, steps: int) -> Settled:
    """Where the fit of contacts as laid comes to rest, from where that of nearly the same ones did."""
    now, names = before
    groups = dict(zip(names.groups, now.groups, strict=True))
    dies = dict(zip(names.dies, now.dies, strict=True))
    leans = _Leans(
        [groups.get(name, 0.0) for name in laid.names.groups], [dies.get(name, 0.0) for name in laid.names.dies]
    )
    step = _settle((now.log_current, now.kelvin), leans, laid, prior, steps, now.offset_mv)
    return Settled(step.to, laid.names)


def fit_again(points: list[Point], prior: Prior, before: CommonFit, steps: int) -> CommonFit:
    """The common unknowns of these points, from where a fit of nearly the same points stood."""
    frame, laid = _laid(points, prior)
    leans = _Leans(
        [before.chips.get(name, NO_CHIP).lean for name in laid.names.groups],
        [before.chips.get(name, NO_CHIP).lean for name in laid.names.dies],
    )
    start = (before.log_current, before.kelvin)
    return _told(frame, laid, _settle(start, leans, laid, prior, steps, before.offset_mv), prior)


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


class _Step(NamedTuple):
    """One step of the reweighting: from where to where, what was `left` of each reading there, the probability that
    each is healthy, the logarithm of their likelihood, and the equations.
    """

    at: Now
    to: Now
    left: list[float]
    weights: list[float]
    likelihood: float
    arrow: Arrow


def _settle(
    start: tuple[float, float],
    leans: _Leans,
    laid: Laid,
    prior: Prior,
    steps: int,
    offset_mv: float | None = None,
) -> _Step:
    """Reweighted least squares from one start, its last step; with `offset_mv` it is where a fit stood, chips and all.
    """
    most = prior.lean_most
    groups, dies = ([min(max(lean, -most), most) for lean in told] for told in leans)
    now = Now(*bounded(start[0], start[1], prior.current_ma, prior.air_c), offset_mv or 0.0, groups, dies)
    step = _step(laid, now, prior, chips_unknown=offset_mv is None)
    for _ in range(1, steps):
        step = _step(laid, step.to, prior, chips_unknown=False)
    return step


def _step(laid: Laid, now: Now, prior: Prior, *, chips_unknown: bool) -> _Step:
    left, healthy, faulty = _look(laid, now, prior, chips_unknown)
    weights, likelihood = _healthy_weights(healthy, faulty)
    arrow = normal_equations(laid, left, weights, now, prior)
    return _Step(now, solved(arrow, laid.names, now, prior), left, weights, likelihood, arrow)


def _told(frame: Frame, laid: Laid, step: _Step, prior: Prior) -> CommonFit:
    """The fit that a step ends with; its weights and evidence are those of where the step began."""
    evidence = step.likelihood - 0.5 * (prior_cost(step.at, prior) + log_determinant(step.arrow))
    weights = [0.0] * len(step.weights)
    for place, weight in zip(frame.order, step.weights, strict=True):
        weights[place] = weight
    to = step.to
    chips = _chips(laid.names, to, step.arrow)
    return CommonFit(
        to.log_current, to.kelvin, to.offset_mv, step.arrow.covariance, chips, weights, evidence
    )


def _chips(names: Names, now: Now, arrow: Arrow) -> dict[str, Chip]:
    """Every lean with its ties, by name; what pulled at it is in the lean already."""
    chips: dict[str, Chip] = {}
    for called, leans, rows in ((names.groups, now.groups, arrow.groups), (names.dies, now.dies, arrow.dies)):
        for name, lean, (precision, log, kelvin, mv, die, _) in zip(called, leans, rows, strict=True):
            chips[name] = Chip(lean, precision, log, kelvin, mv, die)
    return chips


def _look(
    laid: Laid, now: Now, prior: Prior, chips_unknown: bool
) -> tuple[list[float], list[float], list[float]]:
    """What is left of each reading, and its density (per mV) if healthy and if faulty."""
    warm = KELVIN + prior.air_c
    ratio = (warm + now.kelvin) / warm
    vt = VT_MV_PER_K * (warm + now.kelvin)
    to_ma = prior.current_ma * math.exp(now.log_current)
    common = BANDGAP_MV * (1 - ratio) - XTI * vt * math.log(ratio) + now.offset_mv
    per_ideality = vt * now.log_current
    norm, exp = math.exp(-LOG_2PI_HALF), math.exp
    left: list[float] = []
    healthy: list[float] = []
    contacts = zip(laid.rows, laid.reads, strict=True)
    for alike in laid.bundles:
        leaning = common + now.lean_mv(alike)
        # before the chips are known they are part of the scatter
        more = math.hypot(alike.pull_mv, alike.die_mv) if chips_unknown else 0.0
        for (junction, ideality, ohm, scale), read in islice(contacts, alike.members):
            residual = read - (junction * ratio + leaning + ideality * per_ideality + ohm * to_ma)
            wide = math.hypot(scale, more) if more else scale
            z = residual / wide
            left.append(residual)
            healthy.append(norm * exp(-0.5 * z * z) / wide)
    return left, healthy, _if_faulty(left)


def _if_faulty(left: list[float]) -> list[float]:
    """The density (per mV) of what is left of each reading if its contact is faulty: one-sided, even in the logarithm
    of how deep the fault is, and a little of anything.
    """
    told: list[float] = []
    for residual in left:
        density = FAULT_FLAT
        if -FAULT_DEPTH_MIN_MV < residual < FAULT_DEPTH_MIN_MV:
            # no step at zero: a start lays the middle reading there, and a machine's last bit would choose its side
            down = 0.5 - 0.5 * residual / FAULT_DEPTH_MIN_MV
            density += (down * FAULT_LOW + (1 - down) * FAULT_HIGH) / FAULT_DEPTH_MIN_MV
        elif 0 < residual < FAULT_DEPTH_MAX_MV:
            density += FAULT_HIGH / residual
        elif -FAULT_DEPTH_MAX_MV < residual < 0:
            density -= FAULT_LOW / residual
        told.append(density)
    return told


def _healthy_weights(healthy: list[float], faulty: list[float]) -> tuple[list[float], float]:
    """Probability that each point is healthy, averaged over the shares of faults by how well each share fits; and the
    logarithm of the readings' likelihood.
    """
    mixes = [_mix(1 - share, healthy, share, faulty) for share in SESSION_FAULT_SHARES]
    logs = [_log_product(mix) for mix in mixes]
    top = max(logs)
    odds = [math.exp(one - top) for one in logs]
    whole = math.fsum(odds)
    # the four shares in one sum: this is the innermost of all fits
    a, b, c, d = (one / whole * (1 - share) for one, share in zip(odds, SESSION_FAULT_SHARES, strict=True))
    weights = [
        h * (a / of_a + b / of_b + c / of_c + d / of_d)
        for h, of_a, of_b, of_c, of_d in zip(healthy, *mixes, strict=True)
    ]
    return weights, top + math.log(whole / len(logs))


def _mix(good: float, healthy: list[float], bad: float, faulty: list[float]) -> list[float]:
    return [good * h + bad * f for h, f in zip(healthy, faulty, strict=True)]


def _log_product(densities: list[float]) -> float:
    """The logarithm of their product, some at once: a logarithm costs as much as twenty products."""
    starts = range(0, len(densities), FACTORS_AT_ONCE)
    return math.fsum([math.log(math.prod(densities[start : start + FACTORS_AT_ONCE])) for start in starts])
