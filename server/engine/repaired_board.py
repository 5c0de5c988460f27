"""A repaired board that works is a healthy board: which of its readings others may be compared with.

What was read before the repair is never taken: it was judged with a fault on the board. What was read after it is taken
as a whole or not at all. Choosing single contacts by their verdicts would make bands narrower than boards are.
"""

from msgspec.structs import replace

from server.engine.accept import Notes, accept_readings
from server.engine.accepted_board import accept_board
from server.engine.door import form_opinion
from server.engine.numbering import AS_DRAWN
from server.engine.proof import is_odd
from shared_models.base import Id
from shared_models.sheet import BenchSheet

WARM = "warm_from_hot_air"


def healthy_readings(sheet: BenchSheet) -> tuple[Id, ...]:
    """Ids of the sweep's readings after the repair, oldest first; none where they are not a healthy board's.

    They are not: with a contact that differs from healthy boards or waits for its second touch, with one that was read
    warm, or counted otherwise than the socket is drawn (on a board of their own the numbers would stand at the wrong
    contacts). Raises SheetError as an opinion does.
    """
    after = replace(sheet, stage="after_repair")
    if not any(one.stage == after.stage for one in sheet.readings):
        return ()
    touched = accept_readings(after, accept_board(after), Notes([], [])).sweep
    if not touched or any(WARM in one.reading.conditions for one in touched):
        return ()
    opinion = form_opinion(after)
    if opinion.numbering.order != AS_DRAWN or any(one.touch_again or is_odd(one) for one in opinion.contacts):
        return ()
    return tuple(one.reading.id for one in touched)
