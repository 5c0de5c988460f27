"""The weighted normal equations of what the readings of one board have in common, solved from the leaves in.

Contact i of group g (lines of one role) of chip c stands away from what it should read by

    per_log_i a + per_k_i k + o  +  die_mv_i d_c  +  pull_i u_g  +  its own scatter,

with Normal priors on a, k and o, and Normal(0, 1) on each d and u. A group touches only its own contacts, a chip only
its own groups, so groups and then chips are eliminated one by one (Schur complement; Golub and Van Loan, Matrix
Computations, 4th ed., section 4.2) and three equations are left.
"""

import math
from itertools import islice
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


Row = tuple[float, float, float, float]
"""A contact as the steps take it: what its junction should read (mV), the ideality and series resistance (ohm) of its
path, and its scatter (mV)."""


class Alike(NamedTuple):
    """Contacts that lean alike: the places of their group and of their chip (-1: none), how far one deviation of each
    moves them (mV), and how many they are. What they say of both is summed up once.
    """

    group: int
    pull_mv: float
    die: int
    die_mv: float
    members: int


class Names(NamedTuple):
    """Groups and chips in the order of their places; `die_of`: the place of each group's chip, -1 without one."""

    groups: list[str]
    dies: list[str]
    die_of: list[int]

    def of_each(self, leans: list[float]) -> list[float]:
        """Of each group the lean of its chip, 0 without one."""
        return [leans[die] if die >= 0 else 0.0 for die in self.die_of]


class Laid(NamedTuple):
    """Contacts as the steps take them, those that lean alike side by side: the row of each, and what it reads (mV)."""

    bundles: list[Alike]
    names: Names
    rows: list[Row]
    reads: list[float]


class Now(NamedTuple):
    """Where a fit stands: the common three, the lean of each group, and of each chip."""

    log_current: float
    kelvin: float
    offset_mv: float
    groups: list[float]
    dies: list[float]

    def lean_mv(self, alike: Alike) -> float:
        """How far these contacts stand away by their group and chip."""
        lean = alike.pull_mv * self.groups[alike.group] if alike.group >= 0 else 0.0
        return lean + (alike.die_mv * self.dies[alike.die] if alike.die >= 0 else 0.0)


Equation = list[float]
"""Of a group or of a chip: its own precision, its ties to the common three and (a group's) to its chip, and what pulls
at it. A list, since it is summed up in place."""


class Arrow(NamedTuple):
    """Groups as they are, chips once the groups are eliminated, and the common three once both are; `pulled` and
    `right` are what pulls the unknowns on from where they stand.
    """

    groups: list[Equation]
    dies: list[Equation]
    covariance: Six
    right: tuple[float, float, float]
    determinant: float


def normal_equations(laid: Laid, left: list[float], weights: list[float], now: Now, prior: Prior) -> Arrow:
    """The equations at this point: `left` of each reading, by the probability that the contact is healthy."""
    warm = KELVIN + prior.air_c
    vt = VT_MV_PER_K * (warm + now.kelvin)
    to_ma = prior.current_ma * math.exp(now.log_current)
    gap = BANDGAP_MV + XTI * vt
    aa, kk, oo = (1 / (sd * sd) for sd in (prior.current_sd, prior.air_sd_k, prior.offset_sd_mv))
    ya, yk, yo = -aa * now.log_current, -kk * now.kelvin, -oo * now.offset_mv
    ak = ao = ko = 0.0
    groups, dies = ([[1.0, 0.0, 0.0, 0.0, 0.0, -lean] for lean in leans] for leans in (now.groups, now.dies))
    contacts = zip(laid.rows, left, weights, strict=True)
    for group, pull_mv, die, die_mv, members in laid.bundles:
        sum_one = sum_log = sum_k = sum_left = 0.0
        for (junction, ideality, ohm, scale), residual, weight in islice(contacts, members):
            strength = weight / (scale * scale)
            per_log = ideality * vt + ohm * to_ma
            per_k = (junction - gap) / warm
            by_log, by_k, by_left = strength * per_log, strength * per_k, strength * residual
            aa += by_log * per_log
            kk += by_k * per_k
            ak += by_log * per_k
            ya += by_left * per_log
            yk += by_left * per_k
            sum_one += strength
            sum_log += by_log
            sum_k += by_k
            sum_left += by_left
        oo, ao, ko, yo = oo + sum_one, ao + sum_log, ko + sum_k, yo + sum_left
        if group >= 0:
            _add(groups[group], pull_mv, die_mv, sum_one, sum_log, sum_k, sum_left)
        if die >= 0:
            _add(dies[die], die_mv, 0.0, sum_one, sum_log, sum_k, sum_left)
    _without_groups(dies, groups, laid.names)
    for told in (groups, dies):
        for d, a, k, o, _, y in told:
            by_a, by_k, by_o = a / d, k / d, o / d
            aa, kk, oo = aa - by_a * a, kk - by_k * k, oo - by_o * o
            ak, ao, ko = ak - by_a * k, ao - by_a * o, ko - by_k * o
            ya, yk, yo = ya - by_a * y, yk - by_k * y, yo - by_o * y
    covariance, determinant = symmetric_inverse(aa, ak, ao, kk, ko, oo)
    return Arrow(groups, dies, covariance, (ya, yk, yo), determinant)


def _add(
    equation: Equation, pull_mv: float, die_mv: float, one: float, log: float, kelvin: float, left: float
) -> None:
    """Contacts that lean alike, in the equation of their group or chip, one deviation of which moves them by `pull_mv`
    and one of whose chip by `die_mv`: their strengths summed up, by one, mV per logarithm of the current, mV per kelvin
    and what is left.
    """
    by = pull_mv * one
    d, a, k, o, tie, y = equation
    a, k, y = a + pull_mv * log, k + pull_mv * kelvin, y + pull_mv * left
    equation[:] = d + pull_mv * by, a, k, o + by, tie + die_mv * by, y


def log_determinant(arrow: Arrow) -> float:
    """The logarithm of the determinant of all the equations."""
    groups, dies = ([math.log(precision) for precision, *_ in told] for told in (arrow.groups, arrow.dies))
    return math.fsum(groups) + math.fsum(dies) + math.log(max(arrow.determinant, TINY))


def _without_groups(dies: list[Equation], groups: list[Equation], names: Names) -> None:
    """The chips' equations once their groups are eliminated from them."""
    for (d, a, k, o, tie, y), die in zip(groups, names.die_of, strict=True):
        if die >= 0:
            by = tie / d
            own, log, kelvin, mv, none, pulled = dies[die]
            dies[die][:] = own - by * tie, log - by * a, kelvin - by * k, mv - by * o, none, pulled - by * y


def solved(arrow: Arrow, names: Names, now: Now, prior: Prior) -> Now:
    """The unknowns, inside their bounds: the common three, then the chips given those, then the groups given both."""
    caa, cak, cao, ckk, cko, coo = arrow.covariance
    ya, yk, yo = arrow.right
    log_current, kelvin = bounded(
        now.log_current + caa * ya + cak * yk + cao * yo,
        now.kelvin + cak * ya + ckk * yk + cko * yo,
        prior.current_ma,
        prior.air_c,
    )
    offset = now.offset_mv + cao * ya + cko * yk + coo * yo
    by_log, by_k, by_mv = log_current - now.log_current, kelvin - now.kelvin, offset - now.offset_mv

    least, most = -prior.lean_most, prior.lean_most
    dies: list[float] = []
    for lean, (d, a, k, o, _, y) in zip(now.dies, arrow.dies, strict=True):
        dies.append(min(max(lean + (y - a * by_log - k * by_k - o * by_mv) / d, least), most))
    moved = names.of_each([to - lean for to, lean in zip(dies, now.dies, strict=True)])
    groups: list[float] = []
    for lean, (d, a, k, o, tie, y), die in zip(now.groups, arrow.groups, moved, strict=True):
        groups.append(min(max(lean + (y - a * by_log - k * by_k - o * by_mv - tie * die) / d, least), most))
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
