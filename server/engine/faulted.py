"""What the line behind a contact reads when something is wrong with it, and how likely each reading then is.

A `View` is a contact as it stands in this session: what a healthy one reads, and the line behind it as a junction with
a resistance in series, part of it before the chip. A fault lies at the contact or behind that part: what is behind
reads higher by what the whole test current drops before it, and is the same line from there (`behind`).

Leak: R even in its logarithm between two limits, across a junction and its series resistance that alone
read `loc`: V/R + Id = I and V - loc = n Vt ln(Id/I) + Rs (Id - I), so R(V) = V / (I - Id(V)) and the
distribution function of V is that of ln R. An added resistance: R even in its logarithm too, and reads loc + I R. Both
are smoothed with the band's scale by E[F(x + sZ) Z]/s (Stein's identity).
"""

import math
from typing import NamedTuple

from server.engine.constants.bench import LOG_2PI_HALF, TINY
from server.engine.constants.readings import (
    ADDED_HIGH_OHM,
    ADDED_LOW_OHM,
    BRIDGE_STEPS,
    LEAK_HIGH_OHM,
    LEAK_LOW_OHM,
    LEAK_STEPS,
    NET_FOLLOWER_SD_MV,
    SMOOTHING,
)


class View(NamedTuple):
    """All that is needed to judge one contact under one lead, with this meter, now.

    `loc, scale, df`: the healthy distribution, shifted to the session (mV). `ol_odds`: a healthy one
    shows OL. `junction_mv`: n Vt. `series_ohm`: between the contact and the junction, `before_ohm` of it in line before
    the chip, known within `before_sd_ohm`. `meets`: what the contact would read bridged to each of its neighbours,
    (loc, sd) in mV, None for OL. `net_sd`: how far it may be from the other contacts of its rail, mV. `other_lead`: the
    healthy distribution with the leads the other way round (loc, scale, df, ol_odds). Of a line that branches,
    `shares` of the current by how far it is below healthy, and how much higher it reads with its part in line open
    (`branches`). `other_maker`: where it stands if its chip is another maker's, given the chip's other lines (loc, sd).
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
    before_ohm: float = 0.0
    before_sd_ohm: float = 0.0
    shares: tuple[tuple[float, float], ...] = ()
    cut_mv: float | None = None
    other_maker: tuple[float, float] | None = None


def normal(x: float, loc: float, sd: float) -> float:
    """Normal density, per mV."""
    z = (x - loc) / sd
    return math.exp(-0.5 * z * z - LOG_2PI_HALF) / sd


def evenly(x: float, loc: float, span: float, sd: float) -> float:
    """Density of what lies anywhere within `span` of `loc`, seen with a normal scatter of `sd`, per mV."""
    root = sd * math.sqrt(2)
    return 0.5 * (math.erf((x - loc + span) / root) - math.erf((x - loc - span) / root)) / (2 * span)


def behind(view: View) -> View:
    """The same line seen from behind what lies in line before the chip."""
    taken = view.before_ohm * view.current_ma
    return view._replace(
        loc=view.loc - taken,
        limit_mv=view.limit_mv - taken,
        scale=math.hypot(view.scale, view.before_sd_ohm * view.current_ma),
        series_ohm=max(0.0, view.series_ohm - view.before_ohm),
        before_ohm=0.0,
        before_sd_ohm=0.0,
        shares=(),
    )


def leak_density(x: float, view: View) -> float:
    """Density of a leak of unknown size across the contact, per mV."""
    low, high = math.log(LEAK_LOW_OHM), math.log(LEAK_HIGH_OHM)
    total = 0.0
    for place, weight in SMOOTHING:
        step = place * view.scale
        total += weight * (_share_below(x + step, view, low, high) - _share_below(x - step, view, low, high))
    return total / view.scale


def leaks_over_range(view: View) -> float:
    """The share of leaks too small to bring the reading under the meter's limit, where nothing else conducts."""
    return 1 - _share_below(view.limit_mv, view, math.log(LEAK_LOW_OHM), math.log(LEAK_HIGH_OHM))


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
    """The share of the test current that the line still takes at a reading below its own.

    By its circuit where it branches; else of one junction, by Newton's steps in the logarithm of the share, from
    above, where the equation is convex.
    """
    if view.ol_odds >= 0.5:
        return 0.0  # a contact that healthily shows OL has no junction to share the current with
    off = drop_mv - view.loc
    if view.shares:
        return _share_of(off, view.shares)
    series_mv = view.series_ohm * view.current_ma
    log_share = min(off / (view.junction_mv + series_mv), (off + series_mv) / view.junction_mv)
    for _ in range(LEAK_STEPS):
        behind_mv = series_mv * math.exp(log_share)
        log_share -= (view.junction_mv * log_share + behind_mv - series_mv - off) / (view.junction_mv + behind_mv)
    return math.exp(log_share)


def _share_of(off: float, shares: tuple[tuple[float, float], ...]) -> float:
    """The share that stands beside `off` in a table, its logarithm even between two entries; the last one beyond."""
    above = shares[0]
    for below in shares[1:]:
        if off >= below[0]:
            part = (off - below[0]) / (above[0] - below[0])
            return math.exp(below[1] + part * (above[1] - below[1]))
        above = below
    return math.exp(above[1])


_ADDED_WHOLE = math.log(ADDED_HIGH_OHM / ADDED_LOW_OHM)


def added_density(x: float, view: View) -> float:
    """Density of a resistance of unknown size added in line (a joint, a part), per mV."""
    total = 0.0
    for place, weight in SMOOTHING:
        step = place * view.scale
        total += weight * (_added_below(x + step, view) - _added_below(x - step, view))
    return total / view.scale


def added_over_range(view: View) -> float:
    """The share of added resistances that bring the reading above the meter's limit."""
    return 1 - _added_below(view.limit_mv, view)


def _added_below(drop_mv: float, view: View) -> float:
    """The share of added resistances that read below `drop_mv`."""
    least_mv = ADDED_LOW_OHM * view.current_ma
    return min(1.0, math.log(max(drop_mv - view.loc, least_mv) / least_mv) / _ADDED_WHOLE)


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
        share = _first_of_two(u)
        error = junction_mv * u + (series_mv + other_series_mv) * share - series_mv - apart
        low, high = (low, u) if error > 0 else (u, high)
        after = u - error / (junction_mv + (series_mv + other_series_mv) * share * (1 - share))
        after = low if after < low else high if after > high else after
        if after == u:
            break
        u = after
    left = max(0.0, -u) + math.log1p(math.exp(-abs(u)))
    return one_mv - junction_mv * left + series_mv * (math.exp(-left) - 1)


def _first_of_two(u: float) -> float:
    """x of u = ln(x / (1 - x)); without overflow, since a hundred kilohm in line puts u at minus thousands."""
    less = math.exp(-abs(u))
    return (1.0 if u >= 0 else less) / (1 + less)
