"""What was seen with the eye, the finger or the supply: a log factor per story for each thing seen.

A thing seen is likely where the story says it is, rare at any other place, and says a little where nobody
noted the place. What speaks for no story in particular leaves all of them as they are.
"""

import math

from server.engine.accepted_board import Board
from server.engine.constants.overstress import (
    BURNT_ANYWHERE,
    BURNT_AT_HIT,
    BURNT_BY_EVENT,
    BURNT_SOMEWHERE,
    BURNT_SOMEWHERE_ELSE,
    CLEAN_LOOKS,
    DRAW_GIVEN,
    PLUG_SEEN,
    PLUG_SEEN_OTHERWISE,
    SEEN_ANYWHERE,
    SEEN_HERE,
    SEEN_SOMEWHERE,
    TORCH_LIGHTLESS,
    TORCH_OTHERWISE,
)
from server.engine.roles import chip_of
from server.engine.stories.kinds import Story
from shared_models.job import Observation

SEEN_WITH = {
    "bent": ("contact_torn", "plug_tilted"),
    "lifted": ("contact_torn",),
    "missing": ("part_knocked_off", "series_open"),
    "bridged": ("bridge",),
    "wet": ("wet", "leak"),
    "changes_when_pressed": ("cracked_joint", "contact_torn"),
    "hot": ("chip_damaged", "plugged_live", "plug_off_by", "plug_tilted", "tool_slip", "rail_short", "shunt_short"),
}
"""Which stories expect a thing to be seen, at their own contacts or part."""

LIGHTLESS = ("series_open", "rail_short", "chip_damaged")
AT_THE_PLUG = ("bent", "lifted", "missing", "bridged", "wet")
FEEDS = ("main_rail", "rail_5v")


def seen_factors(
    stories: list[Story], board: Board, observations: tuple[Observation, ...], last_read: dict[int, int]
) -> list[list[float]]:
    """A row of log factors, one a story, for each thing seen; a mark on each contact counts by itself.

    `last_read`: contact -> when it was touched last, ms.
    """
    rows: list[list[float]] = []
    for seen in sorted(observations, key=lambda one: one.id):
        if seen.seen == "burnt":
            rows.extend([_burnt(story, board, seen, number) for story in stories] for number in seen.contacts)
            if not seen.contacts:
                rows.append([_burnt_somewhere(story) for story in stories])
        else:
            rows.append([_seen(story, board, seen, last_read) for story in stories])
    return rows


def _seen(story: Story, board: Board, seen: Observation, last_read: dict[int, int]) -> float:
    if seen.seen in ("torch_shows_picture", "torch_shows_nothing"):
        return _torch(story, board, shows=seen.seen == "torch_shows_picture")
    if seen.seen in DRAW_GIVEN:
        given = DRAW_GIVEN[seen.seen]
        return math.log(given.get(drawing(story, board), given["default"]) / given["default"])
    if seen.seen == "clean":
        return _clean(story, board, seen, last_read)
    if seen.subject != "board_socket":
        blamed = story.kind == "elsewhere" and seen.seen in AT_THE_PLUG
        return math.log(PLUG_SEEN / PLUG_SEEN_OTHERWISE) if blamed else 0.0
    if story.kind not in SEEN_WITH.get(seen.seen, ()):
        return 0.0
    if seen.part is None and not seen.contacts:
        return math.log(SEEN_HERE[seen.seen] / SEEN_SOMEWHERE)
    return math.log(SEEN_HERE[seen.seen] / SEEN_ANYWHERE) if _at_its_place(story, board, seen) else 0.0


def _at_its_place(story: Story, board: Board, seen: Observation) -> bool:
    """Whether it was seen on a contact of the story, on its part, or on a part of the rail it speaks of."""
    if story.kind == "bridge":
        return bool(seen.contacts) and all(number in story.subject.split("-") for number in seen.contacts)
    if any(board.contacts[index].number in seen.contacts for index in story.contacts):
        return True
    if seen.part is None:
        return False
    return seen.part in (story.part, story.subject) or (
        story.kind == "rail_short" and seen.part in _parts_of_rail(story, board)
    )


def _parts_of_rail(story: Story, board: Board) -> list[str]:
    """The parts that hang on a rail, as far as paths and the record of its net name them."""
    parts: list[str] = []
    for index in story.contacts:
        contact = board.contacts[index]
        named = [getattr(one, "part", None) for one in contact.path]
        net = board.nets.get(contact.net or "")
        for part in (*named, contact.leads_to, chip_of(contact), net.proof_at if net is not None else None):
            if part:
                parts.append(part)
    return parts


def _torch(story: Story, board: Board, *, shows: bool) -> float:
    """With a torch a picture is seen where only the light is gone; a dark panel says the opposite, less surely."""
    lit = any(board.contacts[index].role in ("led_plus", "led_minus") for index in story.contacts)
    if not (story.kind in LIGHTLESS and lit):
        return 0.0
    return math.log(TORCH_LIGHTLESS / TORCH_OTHERWISE if shows else (1 - TORCH_LIGHTLESS) / (1 - TORCH_OTHERWISE))


def drawing(story: Story, board: Board) -> str:
    """The row of DRAW_GIVEN a story is read in: a rail the supply does not feed, as LED+, asks for nothing."""
    roles = [board.contacts[index].role for index in story.contacts]
    if story.kind == "series_open" and any(role in FEEDS for role in roles):
        return "series_open_feed"
    if story.kind == "rail_short" and "led_plus" in roles:
        return "default"  # its fuse is open by then
    return story.kind


def _clean(story: Story, board: Board, seen: Observation, last_read: dict[int, int]) -> float:
    """Clean and dry, there or everywhere, and read so after it: what dirt and water do is less likely then."""
    if story.kind not in CLEAN_LOOKS:
        return 0.0
    here = [index for index in story.contacts if not seen.contacts or board.contacts[index].number in seen.contacts]
    read_since = any(last_read.get(index, 0) > seen.seen_at_ms for index in here)
    return math.log(CLEAN_LOOKS[story.kind]) if read_since else 0.0


def _burnt_somewhere(story: Story) -> float:
    return math.log(BURNT_SOMEWHERE / BURNT_SOMEWHERE_ELSE) if story.live else 0.0


def _burnt(story: Story, board: Board, seen: Observation, number: str) -> float:
    """One mark, on the board's contact or on the plug's, where this story says one was hit, or elsewhere."""
    if seen.subject == "module_plug":
        # the plug contact that stood on a contact that was hit carries the other half of the mark
        places = [board.contacts[index].number for index in story.hit_plugs] + _plugs_on_hits(story, board)
    else:
        places = [board.contacts[index].number for index in story.hit]
    likely = BURNT_AT_HIT if number in places else (BURNT_BY_EVENT if story.live else BURNT_ANYWHERE)
    return math.log(likely / BURNT_ANYWHERE)


def _plugs_on_hits(story: Story, board: Board) -> list[str]:
    if story.kind != "plug_off_by":
        return []
    slip = int(story.subject)
    plugs = []
    for row in board.spots:
        for place, contact in enumerate(row):
            if contact is not None and 0 <= place + slip < len(row) and row[place + slip] in story.hit:
                plugs.append(board.contacts[contact].number)
    return plugs
