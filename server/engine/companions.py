"""Second faults that come with a first: a live event takes the fuse of a feed, liquid shorts a rail.

Such an event has its whole share of the prior once: with nothing beside it, or with one of what goes with it. A story
told alone says that none of them happened, and owes for it; else an event with many feeds would weigh more than it is
told to.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.constants.overstress import FUSE_WITH_LIVE, RAIL_WITH_WET
from server.engine.overstress import net_key
from server.engine.stories.kinds import Story


class Companions(NamedTuple):
    """`log_alone[story]`: nothing that goes with it happened (ln). `log_beside[first, second]`: the second did, given
    the first (ln), for what goes together only."""

    log_alone: list[float]
    log_beside: dict[tuple[int, int], float]


def companions_of(stories: Sequence[Story], masks: Sequence[int], board: Board) -> Companions:
    """What goes with each story: one fuse of the feeds it touched, one rail of the board.

    `masks`: the variables each story moves, as bits. What a story says of a rail itself is not told beside it again.
    """
    fuses = [
        (place, net_key(board.contacts[one.contacts[0]]))
        for place, one in enumerate(stories)
        if one.kind == "series_open" and one.contacts
    ]
    rails = [place for place, one in enumerate(stories) if one.kind == "rail_short"]
    log_alone: list[float] = []
    log_beside: dict[tuple[int, int], float] = {}
    for first, one in enumerate(stories):
        found, odds = [], 0.0
        if one.live and one.feeds:
            found, odds = [place for place, net in fuses if net in one.feeds], FUSE_WITH_LIVE / len(one.feeds)
        elif one.kind == "wet" and rails:
            found, odds = rails, RAIL_WITH_WET / len(rails)
        found = [second for second in found if not masks[first] & masks[second]]
        for second in found:
            log_beside[first, second] = math.log(odds)
        log_alone.append(math.log(1 - odds * len(found)))
    return Companions(log_alone, log_beside)
