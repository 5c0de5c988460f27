"""How often what was wrong was mended in a shop, by classes of fault: what chances rest on beside the table.

A job tells it where one kind of thing was shown to be wrong, it was tried to be mended, and the device works or does
not. Which chips hold or guard the data a closing does not say, so damaged chips and events tell nothing here.
"""

from collections.abc import Sequence

from server.engine.constants.chances import MENDS
from server.engine.mends import CLASS_OF
from server.engine.rounding import probability
from shared_models.closing import Closing
from shared_models.learning import MendLearnt
from shared_models.sheet import PastMends

TRIED = ("reseat_or_clean", "other_module", "replace_part", "replace_socket")
NOTHING_TO_MEND = "no_fault"
TELLS_NOTHING = "unread"


def mends_learnt(closings: Sequence[Closing]) -> tuple[MendLearnt, ...]:
    """Each class of fault with a job behind it, in the order of the table; closings are those that count."""
    ended = [(fault, one.device) for one in closings if (fault := _fault_of(one)) is not None]
    told = []
    for fault, mend in MENDS.items():
        worked, failed = ended.count((fault, "works")), ended.count((fault, "does_not_work"))
        if worked + failed == 0:
            continue
        can, cannot = mend.mended
        told.append(
            MendLearnt(
                fault=fault,
                words=mend.why,
                worked=worked,
                failed=failed,
                in_table=probability(can / (can + cannot)),
                learnt=probability((can + worked) / (can + cannot + worked + failed)),
            )
        )
    return tuple(told)


def past_mends(rows: Sequence[MendLearnt]) -> tuple[PastMends, ...]:
    """The same as opinions are formed with it."""
    return tuple(PastMends(fault=one.fault, worked_times=one.worked, failed_times=one.failed) for one in rows)


def _fault_of(closing: Closing) -> str | None:
    shown = sorted({one.story for one in closing.was_wrong if one.how_known != "believed"})
    if len(shown) != 1 or closing.device not in ("works", "does_not_work"):
        return None
    fault = CLASS_OF.get(shown[0])
    if fault is None or fault == TELLS_NOTHING:
        return None
    tried = any(way in TRIED for way in closing.did)
    return fault if tried or fault == NOTHING_TO_MEND else None
