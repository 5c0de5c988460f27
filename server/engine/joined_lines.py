"""What a bridge proved from contact to contact makes of a low number: it is both lines' number, and no leak's size.

What two healthy lines read once they are joined: `faulted.joined_mv`. A bridge with a ground is left out: there the
number is the bridge's own resistance.
"""

import math
from typing import NamedTuple

from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.constants.readings import BRIDGE_N_SD_MV
from server.engine.faulted import joined_mv
from server.engine.findings import BRIDGE_CODES
from server.engine.inference import Judged
from server.engine.wording_ohms import joined_with
from shared_models.opinion import Reason


class Joined(NamedTuple):
    """The contact at the other end of a proved bridge, and the ohms from the one to the other (mV in diode mode)."""

    contact: int
    between_ohm: float


def joined_line(judged: Judged, contact: int, drop_mv: float) -> Reason | None:
    """The number of a contact that is joined with another, explained; None where no such bridge was proved."""
    joined = _proved(judged, contact)
    if joined is None:
        return None
    numbers = [judged.prepared.board.contacts[one].number for one in (contact, joined.contact)]
    expected = _healthy_joined(judged, contact, joined.contact)
    explains = expected is not None and drop_mv > expected[0] - VERDICT_Z_RETOUCH * expected[1]
    healthy_mv = None if expected is None else expected[0]
    return joined_with(numbers[0], numbers[1], joined.between_ohm, drop_mv, healthy_mv, explains=explains)


def _proved(judged: Judged, contact: int) -> Joined | None:
    board = judged.prepared.board
    number = board.contacts[contact].number
    for finding in judged.findings:
        ends = finding.where.split("-") if finding.code in BRIDGE_CODES and finding.was_so else []
        others = [board.places[end] for end in ends if end != number]
        if number in ends and len(others) == 1 and finding.value is not None:
            one, other = board.contacts[contact], board.contacts[others[0]]
            by_design = one.net is not None and one.net == other.net
            if not by_design and "ground" not in (one.role, other.role):
                return Joined(others[0], finding.value)
    return None


def _healthy_joined(judged: Judged, contact: int, other: int) -> tuple[float, float] | None:
    """(what both lines read, were they healthy, one deviation), mV; None where one of the two is not known."""
    if (other, "red") not in judged.views:
        return None
    one, beside = judged.views[contact, "red"], judged.views[other, "red"]
    conducting = [view for view in (one, beside) if view.ol_odds < 0.5]
    if len(conducting) < 2:
        return (conducting[0].loc, conducting[0].scale) if conducting else None
    series_mv = [view.series_ohm * view.current_ma for view in conducting]
    loc = joined_mv(one.loc, beside.loc, series_mv[0], series_mv[1], one.junction_mv)
    return loc, math.hypot(BRIDGE_N_SD_MV, 0.5 * one.scale, 0.5 * beside.scale)
