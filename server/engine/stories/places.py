"""Where along a contact's line a story's fault lies: at the socket, or behind what lies in line before the chip.

A number tells the two apart where that part takes some of it: 33 ohm and 61 mV at 1 mA leave 28 ohm behind.
"""

from server.engine.accepted_board import Board
from server.engine.constants.answers import BEHIND_SERIES_CHIP, BEHIND_SERIES_SHUNT, SURE
from server.engine.constants.readings import SHORT_OHM
from server.engine.drops import LEAK, LEAK_BEHIND, SHORT, SHORT_BEHIND
from server.engine.stories.kinds import Mixture, Story
from shared_models.board import Contact, SeriesPart, ShuntPart

BEHIND_KINDS = ("chip_damaged", "plug_off_by", "plugged_live", "plug_tilted", "tool_slip")
BEFORE_KINDS = ("bridge",)
BEHIND = {SHORT: SHORT_BEHIND, LEAK: LEAK_BEHIND}


def placed(mixture: Mixture, story: Story | None, board: Board, contact: int) -> Mixture:
    """The mixture with shorts and leaks shared out between the two places; None: an odd contact without a story."""
    path = board.paths[contact]
    if path is None or path.before_ohm <= SHORT_OHM:
        return mixture
    share = 0.5 if story is None else _share_behind(story, board.contacts[contact])
    told: list[tuple[int, float]] = []
    for state, weight in mixture:
        if state in BEHIND:
            told += [(state, weight * (1 - share)), (BEHIND[state], weight * share)]
        else:
            told.append((state, weight))
    return tuple(told)


def _share_behind(story: Story, contact: Contact) -> float:
    """How often a fault of this story lies behind the part in line."""
    if story.kind in BEHIND_KINDS:
        return BEHIND_SERIES_CHIP
    if story.kind in BEFORE_KINDS:
        return 1 - SURE
    if story.part is not None:
        passed = False
        for element in contact.path:
            passed = passed or isinstance(element, SeriesPart)
            if isinstance(element, ShuntPart) and element.part == story.part:
                return SURE if passed else 1 - SURE
    return BEHIND_SERIES_SHUNT
