"""One contact read with either lead on ground: a leak, or a resistance added in line, is one and the same for both.

Judged one lead at a time each reading may have a size of its own, which wastes what the two say together and makes
a fault less likely than it is. So its size R is taken once, even in its logarithm:
p(red, black | fault) = integral of p(red | R) p(black | R) d ln R, over the sizes that the one reading allows.
"""

import math
from collections.abc import Callable

from server.engine.constants.readings import ADDED_HIGH_OHM, ADDED_LOW_OHM, LEAK_HIGH_OHM, LEAK_LOW_OHM, SMALL_MASS
from server.engine.constants.sessions import BOTH_LEADS_REACH, BOTH_LEADS_STEPS
from server.engine.faulted import View, added_density, behind, leak_density, leak_ohm, normal
from server.engine.second_current import Second, leaked_mv

At = tuple[float, View]
"""A reading (mV) under one lead, and the contact as it stands there."""


def leak_factor(one: At, other: At) -> float:
    """By how much the two readings together are likelier under one leak at the contact than under two of any size."""
    alone = leak_density(*one) * leak_density(*other)
    if alone < SMALL_MASS * SMALL_MASS:
        return 1.0
    return _together(one, other, leak_ohm, _leak_reads, (LEAK_LOW_OHM, LEAK_HIGH_OHM)) / alone


def leak_behind_factor(one: At, other: At) -> float:
    """The same of a leak behind what lies in line before the chip."""
    return leak_factor(_behind(one), _behind(other))


def added_factor(one: At, other: At) -> float:
    """The same of one resistance added in line."""
    alone = added_density(*one) * added_density(*other)
    if alone < SMALL_MASS * SMALL_MASS:
        return 1.0
    return _together(one, other, _added_size, _added_reads, (ADDED_LOW_OHM, ADDED_HIGH_OHM)) / alone


def _behind(at: At) -> At:
    drop_mv, view = at
    return drop_mv - view.before_ohm * view.current_ma, behind(view)


def _together(
    one: At,
    other: At,
    size: Callable[[float, View], float | None],
    reads: Callable[[float, View], float],
    limits: tuple[float, float],
) -> float:
    """The integral over ln R. `size`: the R that reads so (None: none does); `reads`: what R reads."""
    (x, view), (y, beside) = one, other
    low, high = math.log(limits[0]), math.log(limits[1])
    reach = BOTH_LEADS_REACH * view.scale
    least, most = size(x - reach, view), size(x + reach, view)
    start = low if least is None else min(max(math.log(least), low), high)
    end = high if most is None else min(max(math.log(most), low), high)
    width = (end - start) / BOTH_LEADS_STEPS
    total = 0.0
    for place in range(BOTH_LEADS_STEPS):
        ohm = math.exp(start + (place + 0.5) * width)
        total += normal(x, reads(ohm, view), view.scale) * normal(y, reads(ohm, beside), beside.scale)
    return total * width / (high - low)


def _leak_reads(ohm: float, view: View) -> float:
    """What the contact reads across that leak: by its circuit where the line branches, else in closed form."""
    if not view.shares:
        there = Second("", None, 0.0, 1.0, 1.0, view.current_ma, view.junction_mv, view.current_ma)
        return leaked_mv(view.loc, ohm, view.series_ohm, there)[0]
    above = view.loc, math.log(LEAK_HIGH_OHM)
    for off, _ in view.shares[1:]:
        at_mv = view.loc + off
        found = leak_ohm(at_mv, view)
        log_ohm = math.log(found) if found else math.log(LEAK_LOW_OHM)
        if log_ohm <= math.log(ohm):
            part = (math.log(ohm) - log_ohm) / max(above[1] - log_ohm, SMALL_MASS)
            return at_mv + min(part, 1.0) * (above[0] - at_mv)
        above = at_mv, log_ohm
    return ohm * view.current_ma


def _added_size(drop_mv: float, view: View) -> float | None:
    above = drop_mv - view.loc
    return above / view.current_ma if above > 0 else None


def _added_reads(ohm: float, view: View) -> float:
    return view.loc + ohm * view.current_ma
