"""The weighted normal equations of what the readings of one board have in common, solved from the leaves in.

Contact i of group g (lines of one role) of chip c stands away from what it should read by

    per_log_i a + per_k_i k + o  +  die_mv_i d_c  +  pull_i u_g  +  its own scatter,

with Normal priors on a, k and o, and Normal(0, 1) on each d and u. A group touches only its own contacts, a chip only
its own groups, so groups and then chips are eliminated one by one (Schur complement; Golub and Van Loan, Matrix
Computations, 4th ed., section 4.2) and three equations are left.
"""

import math
from typing import NamedTuple

from server.engine.constants.bench import TINY
from server.engine.constants.sessions import (
    AIR_HIGH_C,
    AIR_LOW_C,
    BANDGAP_MV,
    CURRENT_HIGH_MA,
    CURRENT_LOW_MA,
    CURRENT_TOLD_SHARE,
    KELVIN,
    LEAN_MOST,
    VT_MV_PER_K,
    XTI,
)


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
    """What is known of the lean of a chip, or of one group of its lines beside the chip's: its mean, the precision it
    would have alone, its ties to the common three, and a group's to its chip.
    """

    lean: float
    precision: float
    tie_log: float
    tie_k: float
    tie_mv: float
    tie_die: float = 0.0


NO_CHIP = Chip(0.0, 1.0, 0.0, 0.0, 0.0)

Six = tuple[float, float, float, float, float, float]


class Row(NamedTuple):
    """A contact as the steps take it (mV, ohm): what its junction should read, its path, what it reads, its scatter,
    its group's place and how far one deviation of that moves it, its chip's place (-1: none) and the same of that.
    """

    junction_mv: float
    ideality: float
    series_ohm: float
    read_mv: float
    scale_mv: float
    group: int
    pull_mv: float
    die: int
    die_mv: float


class Names(NamedTuple):
    """Groups and chips in the order of their places; `die_of`: the place of each group's chip, -1 without one."""

    groups: list[str]
    dies: list[str]
    die_of: list[int]

    def of_each(self, leans: list[float]) -> list[float]:
        """Of each group the lean of its chip, 0 without one."""
        return [leans[die] if die >= 0 else 0.0 for die in self.die_of]


class Now(NamedTuple):
    """Where a fit stands: the common three, the lean of each group, and of each chip."""

    log_current: float
    kelvin: float
    offset_mv: float
    groups: list[float]
    dies: list[float]


class Rows(NamedTuple):
    """The equations of all groups, or of all chips: own precision, ties, and what pulls at each."""

    precision: list[float]
    tie_log: list[float]
    tie_k: list[float]
    tie_mv: list[float]
    tie_die: list[float]
    pulled: list[float]


class Arrow(NamedTuple):
    """Groups as they are, chips once the groups are eliminated, and the common three once both are."""

    groups: Rows
    dies: Rows
    covariance: Six
    right: tuple[float, float, float]
    log_determinant: float


def normal_equations(
    rows: list[Row], names: Names, left: list[float], weights: list[float], now: Now, prior: Prior
) -> Arrow:
    """The equations at this point: `left` of each reading, by the probability that the contact is healthy."""
    warm = KELVIN + prior.air_c
    vt = VT_MV_PER_K * (warm + now.kelvin)
    to_ma = prior.current_ma * math.exp(now.log_current)
    aa, kk, oo = (1 / (sd * sd) for sd in (prior.current_sd, prior.air_sd_k, prior.offset_sd_mv))
    ak = ao = ko = ya = yk = yo = 0.0
    groups, dies = _unread(len(names.groups)), _unread(len(names.dies))
    for row, residual, weight in zip(rows, left, weights, strict=True):
        junction, ideality, ohm, _read, scale, group, pull, die, die_mv = row
        strength = weight / (scale * scale)
        per_log = ideality * vt + ohm * to_ma
        per_k = -(BANDGAP_MV + XTI * vt - junction) / warm
        linear = residual + per_log * now.log_current + per_k * now.kelvin + now.offset_mv
        if group >= 0:
            linear += pull * now.groups[group] + (die_mv * now.dies[die] if die >= 0 else 0.0)
            by = strength * pull
            groups.precision[group] += by * pull
            groups.tie_log[group] += by * per_log
            groups.tie_k[group] += by * per_k
            groups.tie_mv[group] += by
            groups.tie_die[group] += by * die_mv
            groups.pulled[group] += by * linear
        if die >= 0:
            by = strength * die_mv
            dies.precision[die] += by * die_mv
            dies.tie_log[die] += by * per_log
            dies.tie_k[die] += by * per_k
            dies.tie_mv[die] += by
            dies.pulled[die] += by * linear
        aa += strength * per_log * per_log
        kk += strength * per_k * per_k
        oo += strength
        ak += strength * per_log * per_k
        ao += strength * per_log
        ko += strength * per_k
        ya += strength * per_log * linear
        yk += strength * per_k * linear
        yo += strength * linear
    _without_groups(dies, groups, names)
    log_determinant = 0.0
    for told in (groups, dies):
        for d, a, k, o, _, y in zip(*told, strict=True):
            aa, kk, oo = aa - a * a / d, kk - k * k / d, oo - o * o / d
            ak, ao, ko = ak - a * k / d, ao - a * o / d, ko - k * o / d
            ya, yk, yo = ya - a * y / d, yk - k * y / d, yo - o * y / d
            log_determinant += math.log(d)
    covariance, determinant = symmetric_inverse(aa, ak, ao, kk, ko, oo)
    log_determinant += math.log(max(determinant, TINY))
    return Arrow(groups, dies, covariance, (ya, yk, yo), log_determinant)


def _unread(count: int) -> Rows:
    """The priors alone."""
    return Rows([1.0] * count, *([0.0] * count for _ in Rows._fields[1:]))


def _without_groups(dies: Rows, groups: Rows, names: Names) -> None:
    """The chips' rows once their groups are eliminated from them."""
    for (d, a, k, o, tie, y), die in zip(zip(*groups, strict=True), names.die_of, strict=True):
        if die >= 0:
            by = tie / d
            dies.precision[die] -= by * tie
            dies.tie_log[die] -= by * a
            dies.tie_k[die] -= by * k
            dies.tie_mv[die] -= by * o
            dies.pulled[die] -= by * y


def solved(arrow: Arrow, names: Names, prior: Prior) -> Now:
    """The unknowns, inside their bounds: the common three, then the chips given those, then the groups given both."""
    caa, cak, cao, ckk, cko, coo = arrow.covariance
    ya, yk, yo = arrow.right
    log_current, kelvin = bounded(
        caa * ya + cak * yk + cao * yo, cak * ya + ckk * yk + cko * yo, prior.current_ma, prior.air_c
    )
    offset = cao * ya + cko * yk + coo * yo

    least, most = -prior.lean_most, prior.lean_most
    dies: list[float] = []
    for d, a, k, o, _, y in zip(*arrow.dies, strict=True):
        dies.append(min(max((y - a * log_current - k * kelvin - o * offset) / d, least), most))
    groups: list[float] = []
    for (d, a, k, o, tie, y), die in zip(zip(*arrow.groups, strict=True), names.of_each(dies), strict=True):
        groups.append(min(max((y - a * log_current - k * kelvin - o * offset - tie * die) / d, least), most))
    return Now(log_current, kelvin, offset, groups, dies)


def prior_cost(now: Now, prior: Prior) -> float:
    """Twice the negative logarithm of the prior density where the fit stands, but for the powers of 2 pi."""
    cost = 2 * math.log(prior.current_sd * prior.air_sd_k * prior.offset_sd_mv)
    for value, sd in (
        (now.log_current, prior.current_sd),
        (now.kelvin, prior.air_sd_k),
        (now.offset_mv, prior.offset_sd_mv),
    ):
        cost += value / sd * (value / sd)
    for lean in (*now.groups, *now.dies):
        cost += lean * lean
    return cost


def symmetric_inverse(
    aa: float, ak: float, ao: float, kk: float, ko: float, oo: float
) -> tuple[Six, float]:
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


def bounded(log_current: float, kelvin: float, current_ma: float, air_c: float) -> tuple[float, float]:
    """Inside what meters force and where people probe; three contacts far low cannot become a session."""
    # a range that was told to force less than diode tests do may force less still
    least_ma = min(CURRENT_LOW_MA, CURRENT_TOLD_SHARE * current_ma)
    lowest, highest = math.log(least_ma / current_ma), math.log(CURRENT_HIGH_MA / current_ma)
    return (
        min(max(log_current, min(lowest, 0.0)), max(highest, 0.0)),
        min(max(kelvin, min(AIR_LOW_C - air_c, 0.0)), max(AIR_HIGH_C - air_c, 0.0)),
    )
