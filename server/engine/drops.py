"""What one contact's readings say of each state it could be in: a proper density in mV per state.

A state is one of a few *components*; a story gives each contact a mixture of them. Densities are
proper (they integrate to one over the meter's range, OL included), so that a leak which moves the
reading by 1 mV earns almost the healthy density and is not called a fault. What a faulted line reads is `faulted`'s.
"""

import math

from server.engine.constants.overstress import REVISION_SPAN_MV
from server.engine.constants.readings import (
    CLIMB_LOST,
    CLIMB_NOTED,
    CUT_SD_SHARE,
    DIFFUSE_MAX_MV,
    FAIL_ANY,
    FAIL_HIGH,
    FAIL_HIGH_OHM,
    FAIL_NEIGHBOUR,
    FAIL_OL,
    HIGH_OL,
    LEAK_CLIMB,
    LOST_BRANCH_MV,
    LOST_BRANCH_SD_MV,
    LOST_OL,
    OPEN_READS,
    RESIDUAL_MV,
    RESIDUAL_SD_MV,
    SHORT_OHM,
    SHORT_SPREAD_MV,
    SMALL_MASS,
    UNSTEADY_HEALTHY,
    UNSTEADY_RESIDUAL,
    WIDE_BESIDE,
)
from server.engine.constants.sessions import BULK_OHM
from server.engine.faulted import (
    View,
    added_density,
    added_over_range,
    behind,
    evenly,
    leak_density,
    leaks_over_range,
    normal,
)
from server.engine.student import StudentT
from shared_models.reading import Steadiness

STATE_WORDS = (
    "expected",
    "short",
    "low",
    "open",
    "high",
    "high",
    "expected",
    "expected",
    "expected",
    "short",
    "low",
    "expected",
)
"""The outcome each component is counted as: a contact of another revision, read with the leads swapped, or
with voltage left on its rail, is not a wrong contact. The two after those are behind what lies in line before the
chip. The last is hurt on its way to the rail: red on ground it reads as a healthy one, black on ground it does not."""

BAND, SHORT, LEAK, OPEN, HIGH, LOST, SHIFTED, OTHER_LEAD, RESIDUAL, SHORT_BEHIND, LEAK_BEHIND, UPPER, MEETS = range(
    len(STATE_WORDS) + 1
)


def state_densities(drop_mv: float | None, view: View) -> list[float]:
    """Density per mV of a reading under each component; `drop_mv` None is OL (then probabilities)."""
    return _over_range(view) if drop_mv is None else _number(drop_mv, view)


def _over_range(view: View) -> list[float]:
    leak = max(SMALL_MASS, leaks_over_range(view))
    masses = [
        view.ol_odds,
        SMALL_MASS,
        leak,
        1 - SMALL_MASS,
        HIGH_OL + (1 - HIGH_OL) * added_over_range(view),
        LOST_OL,
        view.ol_odds,
        view.ol_odds if view.other_lead is None else view.other_lead[-1],
        view.ol_odds,
        SMALL_MASS,
        leak if view.before_ohm < SHORT_OHM else max(SMALL_MASS, leaks_over_range(behind(view))),
        view.ol_odds,
    ]
    masses.extend(1 - SMALL_MASS if met is None else SMALL_MASS for met in view.meets)
    return masses


def _number(x: float, view: View) -> list[float]:
    band = (1 - view.ol_odds) * math.exp(StudentT(view.df, view.loc, view.scale).logpdf(x))
    spread = SHORT_SPREAD_MV * max(1.0, view.current_ma)
    short = short_behind = _short(x, view, spread)
    leak = leak_behind = leak_density(x, view)
    if view.before_ohm > SHORT_OHM:
        taken = view.before_ohm * view.current_ma
        sd = math.hypot(spread, view.before_sd_ohm * view.current_ma)
        short_behind = _short(x - taken, view, sd)
        leak_behind = leak_density(x - taken, behind(view))
    lost_mv, lost_sd = LOST_BRANCH_MV, LOST_BRANCH_SD_MV
    if view.cut_mv is not None:
        lost_mv, lost_sd = view.cut_mv, CUT_SD_SHARE * view.cut_mv
    lost = (1 - LOST_OL) * normal(x, view.loc + lost_mv, math.hypot(lost_sd, view.scale))
    if view.other_maker is None:
        other_maker = evenly(x, view.loc, REVISION_SPAN_MV, view.scale)
    else:
        other_maker = normal(x, *view.other_maker)
    shifted = (1 - view.ol_odds) * other_maker
    # a charged rail takes its voltage off the number, one to one; a negative rail adds
    residual = (1 - view.ol_odds) * normal(x, view.loc - RESIDUAL_MV, math.hypot(RESIDUAL_SD_MV, view.scale))
    high = (1 - HIGH_OL) * added_density(x, view) + SMALL_MASS / DIFFUSE_MAX_MV
    densities = [band, short, leak, OPEN_READS, high, lost, shifted, _other_lead(x, view, band), residual]
    densities += [short_behind, leak_behind, band]
    densities.extend(OPEN_READS if met is None else normal(x, met[0], met[1]) for met in view.meets)
    return densities


def _short(x: float, view: View, spread: float) -> float:
    """Density of a dead short: across the line, or across the junction, behind what the chip itself has in series."""
    across = normal(x, SHORT_OHM * view.current_ma, spread)
    if view.series_ohm < BULK_OHM:
        return across
    return 0.5 * (across + normal(x, (SHORT_OHM + BULK_OHM) * view.current_ma, spread))


def _other_lead(x: float, view: View, band: float) -> float:
    """Density with the leads swapped; where nothing is known of the other lead, as healthy."""
    if view.other_lead is None:
        return band
    loc, scale, df, ol_odds = view.other_lead
    return (1 - ol_odds) * math.exp(StudentT(df, loc, scale).logpdf(x)) + SMALL_MASS / DIFFUSE_MAX_MV


def failed_touch(drop_mv: float | None, view: View) -> float:
    """Density of what a failed touch gives: OL, a neighbour's number, a number too high, or anything."""
    if drop_mv is None:
        return FAIL_OL
    density = FAIL_ANY / DIFFUSE_MAX_MV
    for loc, scale in view.neighbours:
        density += FAIL_NEIGHBOUR * normal(drop_mv, loc, scale) / len(view.neighbours)
    if view.ol_odds < 0.5:
        density += FAIL_HIGH * _bad_touch(drop_mv - view.loc, view.scale, FAIL_HIGH_OHM * view.current_ma)
    return density


def _bad_touch(above_mv: float, scale: float, mean_mv: float) -> float:
    """Density of a healthy reading with an exponential of mean `mean_mv` on top: the two convolved, per mV."""
    if scale > WIDE_BESIDE * mean_mv:
        return normal(above_mv, mean_mv, math.hypot(scale, mean_mv))
    ratio = scale / mean_mv
    tail = math.erfc((ratio - above_mv / scale) / math.sqrt(2))
    return 0.5 / mean_mv * math.exp(0.5 * ratio * ratio - above_mv / mean_mv) * tail


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
    climbs[SHORT_BEHIND], climbs[LEAK_BEHIND] = climbs[SHORT], climbs[LEAK]
    return climbs if noted == "climbs" else [1 - one for one in climbs]
