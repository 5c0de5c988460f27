"""What a further contact of a rail should read, once the rail was read at another: as the rail does.

A rail is one net with one state. One of its contacts speaks for it and is judged by the healthy boards; the others by
that one (`likelihoods`), within what contacts of one rail differ by. That is also the band that is shown of them,
unless the rail itself is judged odd or out of its own: then the healthy boards' band says what is missing, at every
contact.
"""

import math
from collections.abc import Container
from typing import NamedTuple

from server.engine.bands import Healthy
from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.constants.readings import DOUBLE_TOUCH_MV, SIBLING_DF
from server.engine.faulted import View
from server.engine.prepared import Prepared
from server.engine.seen import Seen


class Shown(NamedTuple):
    """A contact's healthy distribution as it is shown, and the band it rests on."""

    view: View
    band: Healthy


Leaders = dict[tuple[int, str], int]
"""(rail's variable, lead) -> the contact that speaks for it."""


def leader_of(
    prepared: Prepared,
    variable: int,
    seen: dict[tuple[int, str], Seen],
    views: dict[tuple[int, str], View],
    lead: str,
) -> int:
    """The contact of a net that speaks for it: of those read one that gave a number, else the first.

    Of several numbers the first of those that most others agree with; where no two agree, the one nearest to what
    healthy boards read: a bad touch of a healthy rail reads high, one of a faulty rail hardly ever reads healthy.
    """
    read = [contact for contact in prepared.members[variable] if (contact, lead) in seen]
    told = {one: mv for one in read if (mv := seen[one, lead].drop_mv) is not None}
    if len(told) < 2:
        return next(iter(told or read))

    def agreeing(contact: int) -> list[int]:
        return [one for one, mv in told.items() if abs(told[contact] - mv) <= DOUBLE_TOUCH_MV]

    def off(contact: int) -> float:
        return abs(told[contact] - views[contact, lead].loc) / views[contact, lead].scale

    believed = min(told, key=lambda one: (-len(agreeing(one)), off(one), one))
    return min(agreeing(believed))


def leaders_of(
    prepared: Prepared, seen: dict[tuple[int, str], Seen], views: dict[tuple[int, str], View]
) -> Leaders:
    """The contact that speaks for each rail under each lead it was read with, found once for all that ask."""
    rails = dict.fromkeys((prepared.net_variable[contact], lead) for contact, lead in seen)
    return {
        (variable, lead): leader_of(prepared, variable, seen, views, lead)
        for variable, lead in rails
        if variable >= len(prepared.board.contacts)
    }


def as_the_rail(view: View, leader: View, rail_mv: float | None) -> View:
    """What a further contact of a rail should read, from the one that speaks for it: as far off as that one is.

    Below its band the rail is read as a share of it, so that a short is a short at every contact.
    """
    if rail_mv is None:
        return view._replace(ol_odds=1.0)
    share = min(1.0, rail_mv / leader.loc) if leader.loc > 0 else 1.0
    loc = view.loc * share + max(0.0, rail_mv - leader.loc)
    return view._replace(loc=loc, scale=math.hypot(view.net_sd, leader.net_sd), df=SIBLING_DF, ol_odds=0.0)


def shown_band(
    prepared: Prepared,
    seen: dict[tuple[int, str], Seen],
    views: dict[tuple[int, str], View],
    bands: dict[tuple[int, str], Healthy],
    leaders: Leaders,
    contact: int,
    expected: Container[int],
) -> Shown:
    """The band of a contact, red on ground, as an opinion shows it; `expected`: the contacts judged healthy."""
    own = Shown(views[contact, "red"], bands[contact, "red"])
    leader = leaders.get((prepared.net_variable[contact], "red"))
    if leader is None or leader == contact or leader not in expected or own.view.ol_odds > 0.5:
        return own
    rail, first = views[leader, "red"], seen[leader, "red"]
    if first.drop_mv is None or first.rival is not None or rail.ol_odds > 0.5:
        return own
    if abs(first.drop_mv - rail.loc) > VERDICT_Z_RETOUCH * rail.scale:
        return own
    view = as_the_rail(own.view, rail, first.drop_mv)
    number = prepared.board.contacts[leader].number
    band = own.band._replace(rests_on="siblings", siblings=(number,), loc=view.loc, carried_mv=0.0, boards=0)
    return Shown(view, band._replace(odd_boards=()))
