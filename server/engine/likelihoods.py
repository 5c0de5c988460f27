"""What was seen at each variable under each state, failed touches and rails of several contacts included."""

import math

from server.engine.both_leads import added_factor, leak_behind_factor, leak_factor
from server.engine.constants.readings import DOUBLE_TOUCH_MV, OPEN_READS, RESIDUAL_AGREES, RESIDUAL_FED, RETOUCH_FACTOR
from server.engine.drops import (
    BAND,
    HIGH,
    LEAK,
    LEAK_BEHIND,
    OPEN,
    RESIDUAL,
    UPPER,
    failed_touch,
    state_densities,
    steadiness_odds,
)
from server.engine.faulted import View, normal
from server.engine.prepared import Prepared
from server.engine.rail_bands import Leaders, as_the_rail
from server.engine.second_current import Second, second_factors
from server.engine.seen import Seen
from server.engine.stories.kinds import Mixture


def mixed(mixture: tuple[tuple[int, float], ...], row: list[float]) -> float:
    """The density of what was seen under a mixture of states, from its density `row` under each state."""
    total = 0.0
    for state, weight in mixture:
        total += weight * row[state]
    return total


def variable_densities(
    prepared: Prepared,
    seen: dict[tuple[int, str], Seen],
    views: dict[tuple[int, str], View],
    seconds: dict[tuple[int, str], Second],
    leaders: Leaders,
) -> tuple[list[list[float] | None], list[tuple[float, float] | None]]:
    """For each variable the density of what was seen under each state, and (chance, density) of a failed touch.

    `seconds`: contacts that were looked at with another current too; `leaders`: who speaks for each rail.
    """
    densities: list[list[float] | None] = [None] * len(prepared.members)
    failing: list[tuple[float, float] | None] = [None] * len(prepared.members)
    for (contact, lead), one in seen.items():
        variable = prepared.net_variable[contact]
        leader = leaders.get((variable, lead), contact)
        if leader == contact:
            view = _of_the_net(prepared, variable, contact, lead, views)
            own, fail = _own_densities(prepared, _with_its_net(prepared, one, variable, seen), view)
            if (contact, lead) in seconds:
                own, fail = _and_second(prepared, one, view, seconds[contact, lead], own, fail)
            _times(densities, failing, variable, own, fail, _one_size(prepared, contact, lead, seen, views))
            continue
        # another contact of a rail that was read already: it should read what the rail reads
        view = as_the_rail(views[contact, lead], views[leader, lead], seen[leader, lead].drop_mv)
        _times(densities, failing, contact, *_own_densities(prepared, one._replace(steadiness=None), view), {})
    return densities, failing


def _one_size(
    prepared: Prepared,
    contact: int,
    lead: str,
    seen: dict[tuple[int, str], Seen],
    views: dict[tuple[int, str], View],
) -> dict[int, float]:
    """By state what both leads' numbers say together beyond each alone: a leak or an added resistance is of one size,
    whichever lead lay on ground. Red comes second.
    """
    one, other = seen[contact, lead], seen.get((contact, "black"))
    if lead != "red" or other is None or prepared.net_variable[contact] != contact:
        return {}
    if one.drop_mv is None or other.drop_mv is None or one.rival is not None or other.rival is not None:
        return {}
    red, black = (one.drop_mv, views[contact, "red"]), (other.drop_mv, views[contact, "black"])
    return {
        LEAK: leak_factor(red, black), LEAK_BEHIND: leak_behind_factor(red, black), HIGH: added_factor(red, black),
    }


def _and_second(
    prepared: Prepared, one: Seen, view: View, second: Second, own: list[float], fail: tuple[float, float]
) -> tuple[list[float], tuple[float, float]]:
    """The first reading's densities times the second's, given the first; after a failed one it stands alone."""
    factors = second_factors(one.drop_mv, view, second, prepared.touch_fails)
    alone = OPEN_READS
    if second.drop_mv is not None and one.drop_mv is not None:
        healthy = view.loc + second.healthy_mv - one.drop_mv
        alone = normal(second.drop_mv, healthy, math.hypot(view.scale, second.sd_mv))
    return [a * b for a, b in zip(own, factors, strict=True)], (fail[0], fail[1] * alone)


def _of_the_net(
    prepared: Prepared, variable: int, contact: int, lead: str, views: dict[tuple[int, str], View]
) -> View:
    """The contact that speaks for its rail meets whatever the rail's contacts are bridged to; any other its own."""
    view = views[contact, lead]
    if variable == contact:
        return view
    met: list[tuple[float, float] | None] = []
    for member, place in prepared.joins[variable]:
        beside = views.get((member, lead))
        # of a contact that was not looked at under this lead nothing is known
        there = beside.meets[place] if beside is not None else (view.loc, view.scale)
        met.append(there if there is None or member == contact else (there[0], math.hypot(there[1], view.net_sd)))
    return view._replace(meets=tuple(met))


def chance_it_failed(mixture: Mixture, row: list[float], fail: tuple[float, float]) -> float:
    """How likely the touches at a variable failed, if the contact is in that mixture of states."""
    failed = fail[0] * fail[1]
    total = (1 - fail[0]) * mixed(mixture, row) + failed
    return failed / total if total > 0 else 1.0


def _with_its_net(prepared: Prepared, one: Seen, variable: int, seen: dict[tuple[int, str], Seen]) -> Seen:
    """The same at several contacts of one rail: each is a touch that agrees, so they did not all fail."""
    if variable == one.contact:
        return one
    agreeing = 0
    for other in prepared.members[variable]:
        beside = seen.get((other, one.lead))
        if beside is not None and _same(one.drop_mv, beside.drop_mv):
            agreeing += beside.agreeing
    return one._replace(agreeing=agreeing)


def _same(one_mv: float | None, other_mv: float | None) -> bool:
    """Whether two touches say the same: OL both, or two numbers close together."""
    if one_mv is None or other_mv is None:
        return one_mv is other_mv
    return abs(one_mv - other_mv) <= DOUBLE_TOUCH_MV


def _times(
    densities: list[list[float] | None],
    failing: list[tuple[float, float] | None],
    variable: int,
    row: list[float],
    fail: tuple[float, float],
    together: dict[int, float],
) -> None:
    """Two leads on one contact look at one state: their densities multiply, times what they say `together`.

    Either touch may have failed by itself; then the other stands alone. What is left is that both failed.
    """
    before, failed = densities[variable], failing[variable]
    if before is None or failed is None:
        densities[variable], failing[variable] = row, fail
        return
    (chance_a, density_a), (chance_b, density_b) = failed, fail
    neither, only_a, only_b = (1 - chance_a) * (1 - chance_b), chance_a * (1 - chance_b), (1 - chance_a) * chance_b
    both = chance_a * chance_b
    densities[variable] = [
        (neither * a * b * together.get(state, 1.0) + only_a * density_a * b + only_b * a * density_b) / (1 - both)
        for state, (a, b) in enumerate(zip(before, row, strict=True))
    ]
    failing[variable] = (both, density_a * density_b)


def _own_densities(prepared: Prepared, one: Seen, view: View) -> tuple[list[float], tuple[float, float]]:
    """Densities of one thing seen, all its touches together."""
    row = _densities(one.drop_mv, view, one.lead)
    steady = steadiness_odds(one.steadiness, view, len(row))
    row = [density * odds for density, odds in zip(row, steady, strict=True)]
    density = failed_touch(one.drop_mv, view)
    row[RESIDUAL] *= _charge_agrees(one.agreeing)
    chance = prepared.touch_fails
    for _ in range(one.agreeing - 1):
        chance *= prepared.touch_fails * RETOUCH_FACTOR
    if one.rival is not None:
        other = _densities(one.rival[0], view, one.lead)
        other_fails = failed_touch(one.rival[0], view)
        row = [0.5 * (a * other_fails + b * density) for a, b in zip(row, other, strict=True)]
        density *= other_fails
    return row, (chance, density)


def _charge_agrees(touches: int) -> float:
    """How likely so many touches of a rail that holds voltage say the same: the meter's own current moves a charge."""
    agrees = 1.0
    for _ in range(touches - 1):
        agrees *= RESIDUAL_AGREES
    return RESIDUAL_FED + (1 - RESIDUAL_FED) * agrees


def _densities(drop_mv: float | None, view: View, lead: str) -> list[float]:
    """With black on ground the way to the rail is looked at: its clamp open reads OL, a leak to the rail low."""
    row = state_densities(drop_mv, view)
    if lead == "black":
        row[UPPER] = 0.5 * (row[OPEN] + row[LEAK])
    return row


def lone_over_range(
    prepared: Prepared, seen: dict[tuple[int, str], Seen], views: dict[tuple[int, str], View]
) -> dict[int, float]:
    """The one contact read of a rail shows OL: that may be the net or just this contact; say both."""
    extra: dict[int, float] = {}
    for variable in range(len(prepared.board.contacts), len(prepared.members)):
        read = [contact for contact in prepared.members[variable] if (contact, "red") in seen]
        if len(read) == 1 and seen[read[0], "red"].drop_mv is None:
            row = state_densities(None, views[read[0], "red"])
            for place, story in enumerate(prepared.stories):
                if story.kind == "contact_torn" and story.contacts == (read[0],):
                    extra[place] = math.log(row[OPEN] / ((1 - prepared.touch_fails) * row[BAND] + prepared.touch_fails))
    return extra
