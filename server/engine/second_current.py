"""The same contact at another current: what the pair of readings says that neither says alone.

What a board strays by from other boards is in both readings alike and cancels in their difference; a leak does
not, since it takes a share of the test current that grows as the current gets smaller. So p(second reading |
first reading, state) is narrow where p(first reading | state) is wide. Everything here is conditional on the
first reading; the first one's density is `drops`' own.

For a leak R across a junction of n Vt and Rs in series, with U the reading without the leak:
V = R (I - Id),  V = U + n Vt ln(Id / I) - Rs (I - Id). From V at the first current follows U; the step from one
current to the other is a healthy contact's; then V at the second current by Newton's steps.
"""

import math
from typing import NamedTuple

from server.engine.constants.readings import (
    DIFFUSE_MAX_MV,
    FAIL_OL,
    LEAK_HIGH_OHM,
    LEAK_LOW_OHM,
    LOST_BRANCH_SD_MV,
    OPEN_READS,
    SHORT_SPREAD_MV,
    SMALL_MASS,
)
from server.engine.constants.sessions import LEAK_TAIL, SECOND_BINS, SECOND_BRIDGE_SD_MV, SECOND_REACH_SD, SECOND_STEPS
from server.engine.drops import (
    HIGH,
    LEAK,
    LEAK_BEHIND,
    LOST,
    MEETS,
    OPEN,
    OTHER_LEAD,
    RESIDUAL,
    SHORT,
    SHORT_BEHIND,
)
from server.engine.faulted import View, behind, junction_share, normal
from server.engine.student import StudentT


class Second(NamedTuple):
    """A contact's reading at another current. `drop_mv` None is OL.

    `healthy_mv`: what a healthy contact that read what this one read first would read here; `sd_mv` how well
    that is known; `noise_mv` the part of it that is this touch's own. `junction_mv` is n Vt, `first_ma` the
    current of the first reading.
    """

    meter_id: str
    drop_mv: float | None
    healthy_mv: float
    sd_mv: float
    noise_mv: float
    current_ma: float
    junction_mv: float
    first_ma: float


class Leak(NamedTuple):
    """A range of leaks, `ohm` its middle: its weight given the first reading, what its two ends read second (mV),
    and the deviation of that.
    """

    ohm: float
    weight: float
    low_mv: float
    high_mv: float
    sd_mv: float


def second_factors(drop_mv: float | None, view: View, second: Second, fails: float) -> list[float]:
    """Density (per mV; a probability for OL) of the second reading given the first, under each state.

    `fails` is the chance that the second touch failed; then it gives OL or anything.
    """
    states = MEETS + len(view.meets)
    if drop_mv is None or second.drop_mv is None:
        same = drop_mv is None and second.drop_mv is None
        return [1 - fails if same else fails * FAIL_OL + SMALL_MASS] * states
    x = second.drop_mv
    healthy = normal(x, second.healthy_mv, second.sd_mv)
    row = [healthy] * states
    row[SHORT] = normal(x, drop_mv * second.current_ma / second.first_ma, SHORT_SPREAD_MV)
    row[LEAK] = _leak_density(x, leaks_given(drop_mv, view, second), healthy)
    row[SHORT_BEHIND], row[LEAK_BEHIND] = row[SHORT], row[LEAK]
    if view.before_ohm > 0:
        first_mv, second_mv = view.before_ohm * second.first_ma, view.before_ohm * second.current_ma
        there = second._replace(healthy_mv=second.healthy_mv - second_mv)
        leaks = leaks_given(drop_mv - first_mv, behind(view), there)
        row[LEAK_BEHIND] = _leak_density(x - second_mv, leaks, normal(x, second.healthy_mv, second.sd_mv))
    row[OPEN] = OPEN_READS
    # an added resistance takes its share with the current, a lost branch does not
    added = (drop_mv - view.loc) * (1 - second.current_ma / second.first_ma)
    row[HIGH] = 0.5 * (healthy + normal(x, second.healthy_mv - added, second.sd_mv))
    row[LOST] = normal(x, second.healthy_mv, math.hypot(second.sd_mv, 0.5 * LOST_BRANCH_SD_MV))
    row[OTHER_LEAD] = row[RESIDUAL] = 1 / DIFFUSE_MAX_MV
    joined = normal(x, second.healthy_mv, math.hypot(second.sd_mv, SECOND_BRIDGE_SD_MV))
    for state in range(MEETS, states):
        row[state] = joined
    anything = fails * (1 - FAIL_OL) / DIFFUSE_MAX_MV
    return [(1 - fails) * one + anything for one in row]


def leaks_given(drop_mv: float, view: View, second: Second) -> list[Leak]:
    """Every size of leak that the first reading allows, as likely as it leaves them, and what each reads second.

    Laid out along what the contact would read without the leak, since that is where the band is narrow: the leak
    follows from it. A range's weight is the band there times the ranges' share of ln R, even between its limits.
    """
    band = StudentT(view.df, view.loc, view.scale)
    lowest = _unleaked(drop_mv, LEAK_HIGH_OHM, view, second.first_ma)
    highest = view.loc + SECOND_REACH_SD * view.scale
    if lowest is None or highest <= lowest:
        return []
    step = (highest - lowest) / SECOND_BINS
    found: list[Leak] = []
    before: tuple[float, float, float] | None = None
    for place in range(SECOND_BINS + 1):
        unleaked = lowest + step * place
        left = 1 - junction_share(drop_mv, view._replace(loc=unleaked, ol_odds=0.0, current_ma=second.first_ma))
        ohm = max(drop_mv / (second.first_ma * max(left, SMALL_MASS)), LEAK_LOW_OHM)
        there = unleaked + second.healthy_mv - drop_mv
        reads, share = leaked_mv(there, ohm, view.series_ohm, second)
        sd = math.hypot(second.noise_mv, share * second.sd_mv)
        if before is not None:
            middle = math.sqrt(ohm * before[0])
            through = max(second.first_ma - drop_mv / middle, SMALL_MASS * second.first_ma)
            slope = 1 + view.junction_mv / (through * middle) + view.series_ohm / middle
            weight = math.exp(band.logpdf(unleaked - 0.5 * step)) * slope * math.log(before[0] / ohm)
            found.append(Leak(middle, weight, before[1], reads, 0.5 * (sd + before[-1])))
        before = (ohm, reads, sd)
    return found


def _unleaked(drop_mv: float, ohm: float, view: View, first_ma: float) -> float | None:
    """What a contact that reads `drop_mv` across a leak would read without it; None if the leak alone reads less."""
    left_ma = first_ma - drop_mv / ohm
    if left_ma <= 0:
        return None
    return drop_mv - view.junction_mv * math.log(left_ma / first_ma) + view.series_ohm * (first_ma - left_ma)


def leaked_mv(unleaked_mv: float, ohm: float, series_ohm: float, second: Second) -> tuple[float, float]:
    """(what a contact that would read `unleaked_mv` reads across a leak, how far a millivolt there moves it)."""
    whole = (ohm + series_ohm) * second.current_ma
    log_share = 0.0
    for _ in range(SECOND_STEPS):
        taken = whole * math.exp(log_share)
        log_share -= (unleaked_mv + second.junction_mv * log_share - whole + taken) / (second.junction_mv + taken)
        log_share = min(log_share, 0.0)
    share = math.exp(log_share)
    own = ohm * second.current_ma
    return own * (1 - share), own * share / (second.junction_mv + whole * share)


def _leak_density(x: float, leaks: list[Leak], healthy: float) -> float:
    total = density = 0.0
    for one in leaks:
        total += one.weight
        density += one.weight * _between(x, one)
    return density / total if total > 0 else healthy


def _between(x: float, one: Leak) -> float:
    """Density at `x` of a reading even between the two ends of a range of leaks, smoothed by its deviation."""
    width = abs(one.high_mv - one.low_mv)
    if width < SMALL_MASS * one.sd_mv:
        return normal(x, one.low_mv, one.sd_mv)
    root = one.sd_mv * math.sqrt(2)
    low, high = min(one.low_mv, one.high_mv), max(one.low_mv, one.high_mv)
    return 0.5 * (math.erf((x - low) / root) - math.erf((x - high) / root)) / width


def leak_found(drop_mv: float, view: View, second: Second) -> tuple[float, float, float] | None:
    """(middle, low, high) of the leak that explains both readings, in ohms, the middle nine tenths of it.

    None where the second reading is OL or no leak explains the first.
    """
    if second.drop_mv is None:
        return None
    leaks = leaks_given(drop_mv, view, second)[::-1]  # from the heaviest leak to the lightest
    weights = [one.weight * _between(second.drop_mv, one) for one in leaks]
    total = math.fsum(weights)
    if total <= 0:
        return None
    limits = []
    for share in (LEAK_TAIL, 0.5, 1 - LEAK_TAIL):
        so_far, place = 0.0, 0
        while place < len(leaks) - 1 and so_far + weights[place] < share * total:
            so_far += weights[place]
            place += 1
        limits.append(leaks[place].ohm)
    return limits[1], limits[0], limits[-1]


def smallest_leak_shown(drop_mv: float, view: View, second: Second, deviations: float) -> float | None:
    """The lightest leak, in ohms, that would pull the second reading so many deviations below a healthy one's.

    Given the first reading: a leak that made it shows the more at the smaller current. By halving the leak's
    logarithm. None where the heaviest leak that could have made the first reading would not show.
    """
    target = second.healthy_mv - deviations * second.sd_mv
    heaviest, lightest = max(LEAK_LOW_OHM, drop_mv / second.first_ma * (1 + SMALL_MASS)), LEAK_HIGH_OHM
    if heaviest >= lightest or _second_of(drop_mv, heaviest, view, second) > target:
        return None
    low, high = math.log(heaviest), math.log(lightest)
    for _ in range(SECOND_BINS):
        middle = 0.5 * (low + high)
        shows = _second_of(drop_mv, math.exp(middle), view, second) < target
        low, high = (middle, high) if shows else (low, middle)
    return math.exp(low)


def _second_of(drop_mv: float, ohm: float, view: View, second: Second) -> float:
    """What the second reading is with this leak, if the first is what it is."""
    unleaked = _unleaked(drop_mv, ohm, view, second.first_ma)
    if unleaked is None:
        return 0.0
    return leaked_mv(unleaked + second.healthy_mv - drop_mv, ohm, view.series_ohm, second)[0]
