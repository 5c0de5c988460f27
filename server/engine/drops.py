"""What one contact's readings say of each state it could be in: a proper density in mV per state.

A state is one of a few *components*; a story gives each contact a mixture of them. Densities are
proper (they integrate to one over the meter's range, OL included), so that a leak which moves the
reading by 1 mV earns almost the healthy density and is not called a fault.

Leak: R even in its logarithm between two limits, across a junction and its series resistance that alone
read `loc`: V/R + Id = I and V - loc = n Vt ln(Id/I) + Rs (Id - I), so R(V) = V / (I - Id(V)) and the
distribution function of V is that of ln R. Smoothed with the band's scale by E[F(x + sZ) Z]/s (Stein's identity).
"""

import math
from typing import NamedTuple

from server.engine.constants import (
    BRIDGE_STEPS,
    CLIMB_LOST,
    CLIMB_NOTED,
    DIFFUSE_MAX_MV,
    FAIL_ANY,
    FAIL_HIGH,
    FAIL_HIGH_OHM,
    FAIL_NEIGHBOUR,
    FAIL_OL,
    HIGH_MAX_MV,
    HIGH_MIN_MV,
    HIGH_OL,
    LEAK_CLIMB,
    LEAK_HIGH_OHM,
    LEAK_LOW_OHM,
    LEAK_STEPS,
    LOG_2PI_HALF,
    LOST_BRANCH_MV,
    LOST_BRANCH_SD_MV,
    LOST_OL,
    NET_FOLLOWER_SD_MV,
    OPEN_READS,
    RESIDUAL_MV,
    RESIDUAL_SD_MV,
    REVISION_SD_MV,
    SHORT_OHM,
    SHORT_SPREAD_MV,
    SMALL_MASS,
    SMOOTHING,
    TINY,
    UNSTEADY_HEALTHY,
    UNSTEADY_RESIDUAL,
)
from server.engine.student import StudentT
from shared_models.reading import Steadiness

STATE_WORDS = ("expected", "short", "low", "open", "high", "high", "expected", "expected", "expected")
"""The outcome each component is counted as: a contact of another revision, read with the leads swapped, or
with voltage left on its rail, is not a wrong contact."""

BAND, SHORT, LEAK, OPEN, HIGH, LOST, SHIFTED, OTHER_LEAD, RESIDUAL, MEETS = range(len(STATE_WORDS) + 1)


class View(NamedTuple):
    """All that is needed to judge one contact under one lead, with this meter, now.

    `loc, scale, df`: the healthy distribution, shifted to the session (mV). `ol_odds`: a healthy one
    shows OL. `junction_mv`: n Vt. `series_ohm`: between the contact and the junction. `meets`: what the
    contact would read bridged to each of its neighbours, (loc, sd) in mV, None for OL. `net_sd`: how
    far it may be from the other contacts of its rail, mV. `other_lead`: the healthy distribution with the
    leads the other way round (loc, scale, df, ol_odds).
    """

    loc: float
    scale: float
    df: float
    ol_odds: float
    climb_odds: float
    junction_mv: float
    series_ohm: float
    current_ma: float
    limit_mv: float
    neighbours: tuple[tuple[float, float], ...]
    meets: tuple[tuple[float, float] | None, ...]
    net_sd: float = NET_FOLLOWER_SD_MV
    other_lead: tuple[float, float, float, float] | None = None


def normal(x: float, loc: float, sd: float) -> float:
    """Normal density, per mV."""
    z = (x - loc) / sd
    return math.exp(-0.5 * z * z - LOG_2PI_HALF) / sd


def state_densities(drop_mv: float | None, view: View) -> list[float]:
    """Density per mV of a reading under each component; `drop_mv` None is OL (then probabilities)."""
    return _over_range(view) if drop_mv is None else _number(drop_mv, view)


_HIGH_WHOLE = math.log(HIGH_MAX_MV / HIGH_MIN_MV) + 0.5  # even in the logarithm, and the ramp up to HIGH_MIN_MV


def _over_range(view: View) -> list[float]:
    beyond = max(0.0, math.log(HIGH_MAX_MV / max(view.limit_mv - view.loc, HIGH_MIN_MV)) / _HIGH_WHOLE)
    # a leak too small to bring the reading under the meter's limit, where nothing else conducts
    leak = 1 - _share_below(view.limit_mv, view, math.log(LEAK_LOW_OHM), math.log(LEAK_HIGH_OHM))
    masses = [
        view.ol_odds,
        SMALL_MASS,
        max(SMALL_MASS, leak),
        1 - SMALL_MASS,
        HIGH_OL + (1 - HIGH_OL) * min(1.0, beyond),
        LOST_OL,
        view.ol_odds,
        view.ol_odds if view.other_lead is None else view.other_lead[-1],
        view.ol_odds,
    ]
    masses.extend(1 - SMALL_MASS if met is None else SMALL_MASS for met in view.meets)
    return masses


def _number(x: float, view: View) -> list[float]:
    band = (1 - view.ol_odds) * math.exp(StudentT(view.df, view.loc, view.scale).logpdf(x))
    spread = SHORT_SPREAD_MV * max(1.0, view.current_ma)
    short = normal(x, SHORT_OHM * view.current_ma, spread)
    if view.series_ohm > SHORT_OHM:
        short = 0.5 * (short + normal(x, (SHORT_OHM + view.series_ohm) * view.current_ma, spread))
    lost = (1 - LOST_OL) * normal(x, view.loc + LOST_BRANCH_MV, math.hypot(LOST_BRANCH_SD_MV, view.scale))
    shifted = (1 - view.ol_odds) * normal(x, view.loc, math.hypot(REVISION_SD_MV, view.scale))
    # a charged rail takes its voltage off the number, one to one; a negative rail adds
    residual = (1 - view.ol_odds) * normal(x, view.loc - RESIDUAL_MV, math.hypot(RESIDUAL_SD_MV, view.scale))
    densities = [band, short, _leak(x, view), OPEN_READS, _high(x, view), lost, shifted, _other_lead(x, view, band)]
    densities.append(residual)
    densities.extend(OPEN_READS if met is None else normal(x, met[0], met[1]) for met in view.meets)
    return densities


def _other_lead(x: float, view: View, band: float) -> float:
    """Density with the leads swapped; where nothing is known of the other lead, as healthy."""
    if view.other_lead is None:
        return band
    loc, scale, df, ol_odds = view.other_lead
    return (1 - ol_odds) * math.exp(StudentT(df, loc, scale).logpdf(x)) + SMALL_MASS / DIFFUSE_MAX_MV


def _leak(x: float, view: View) -> float:
    """Density of a leak of unknown size across the contact, smoothed by the band's scale."""
    low, high = math.log(LEAK_LOW_OHM), math.log(LEAK_HIGH_OHM)
    total = 0.0
    for place, weight in SMOOTHING:
        step = place * view.scale
        total += weight * (_share_below(x + step, view, low, high) - _share_below(x - step, view, low, high))
    return total / view.scale


def _share_below(drop_mv: float, view: View, low: float, high: float) -> float:
    """The share of leaks that read below `drop_mv`."""
    if drop_mv <= 0:
        return 0.0
    if drop_mv >= view.loc and view.ol_odds < 0.5:
        return 1.0
    ohm = drop_mv / (view.current_ma * (1 - junction_share(drop_mv, view)) + TINY)
    return min(1.0, max(0.0, (math.log(ohm) - low) / (high - low)))


def leak_ohm(drop_mv: float, view: View) -> float | None:
    """The leak that would explain a reading below its band, in ohms; None where it explains nothing."""
    if not 0 < drop_mv < view.loc:
        return None
    return drop_mv / (view.current_ma * (1 - junction_share(drop_mv, view)))


def junction_share(drop_mv: float, view: View) -> float:
    """The share of the test current that the junction still takes at a reading below its own.

    Newton's steps in the logarithm of the share, from above, where the equation is convex.
    """
    if view.ol_odds >= 0.5:
        return 0.0  # a contact that healthily shows OL has no junction to share the current with
    off = drop_mv - view.loc
    series_mv = view.series_ohm * view.current_ma
    log_share = min(off / (view.junction_mv + series_mv), (off + series_mv) / view.junction_mv)
    for _ in range(LEAK_STEPS):
        behind_mv = series_mv * math.exp(log_share)
        log_share -= (view.junction_mv * log_share + behind_mv - series_mv - off) / (view.junction_mv + behind_mv)
    return math.exp(log_share)


def joined_mv(one_mv: float, other_mv: float, series_mv: float, other_series_mv: float, junction_mv: float) -> float:
    """What two contacts read when they are joined, each a junction behind a resistor, in mV.

    `one_mv` and `other_mv` are what they read alone, `series_mv` what the whole test current drops in each
    resistor, `junction_mv` n Vt of both. With x the share of the first, both branches drop the same:
    one + n Vt ln x + series (x - 1) = other + n Vt ln(1 - x) - other_series x. Solved for u = ln(x / (1 - x)),
    between the two ends that x = 0 and x = 1 give, by Newton's steps that never leave them.
    """
    apart = other_mv - one_mv
    low, high = (apart - other_series_mv) / junction_mv, (apart + series_mv) / junction_mv
    u = 0.5 * (low + high)
    for _ in range(BRIDGE_STEPS):
        share = 1 / (1 + math.exp(-u))
        error = junction_mv * u + (series_mv + other_series_mv) * share - series_mv - apart
        low, high = (low, u) if error > 0 else (u, high)
        u -= error / (junction_mv + (series_mv + other_series_mv) * share * (1 - share))
        u = min(max(u, low), high)
    left = math.log1p(math.exp(-u))
    return one_mv - junction_mv * left + series_mv * (math.exp(-left) - 1)


def _high(x: float, view: View) -> float:
    """A missing branch or an added resistance: even in the logarithm of how far it is high."""
    above = x - view.loc
    if above <= 0 or above > HIGH_MAX_MV:
        return SMALL_MASS / DIFFUSE_MAX_MV
    slope = (1 - HIGH_OL) / _HIGH_WHOLE
    if above < HIGH_MIN_MV:
        return slope * above / (HIGH_MIN_MV * HIGH_MIN_MV)
    return slope / above


def failed_touch(drop_mv: float | None, view: View) -> float:
    """Density of what a failed touch gives: OL, a neighbour's number, a number too high, or anything."""
    if drop_mv is None:
        return FAIL_OL
    density = FAIL_ANY / DIFFUSE_MAX_MV
    for loc, scale in view.neighbours:
        density += FAIL_NEIGHBOUR * normal(drop_mv, loc, scale) / len(view.neighbours)
    if drop_mv > view.loc and view.ol_odds < 0.5:
        mean = FAIL_HIGH_OHM * view.current_ma
        density += FAIL_HIGH * math.exp(-(drop_mv - view.loc) / mean) / mean
    return density


def steadiness_odds(noted: Steadiness | None, view: View, states: int) -> list[float]:
    """How likely each state is to be noted as it was: a climb that is missing has lost its capacitors."""
    if noted is None:
        return [1.0] * states
    if noted in ("jumps", "falls"):
        return [UNSTEADY_HEALTHY] + [
            1.0 - UNSTEADY_HEALTHY
            if state == OPEN
            else UNSTEADY_RESIDUAL
            if state == RESIDUAL
            else 2 * UNSTEADY_HEALTHY
            for state in range(1, states)
        ]
    climbs = [
        view.climb_odds * CLIMB_NOTED,
        CLIMB_LOST,
        view.climb_odds * LEAK_CLIMB,
        CLIMB_LOST,
        view.climb_odds * LEAK_CLIMB,
        CLIMB_LOST * view.climb_odds,
    ]
    climbs = [max(one, SMALL_MASS) for one in climbs]
    climbs.extend(climbs[BAND] for _ in range(states - len(climbs)))
    return climbs if noted == "climbs" else [1 - one for one in climbs]
