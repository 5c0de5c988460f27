"""The stories: one account each of what may have happened, with what it predicts for each contact.

`kinds` says what a story is; `whole`, `events`, `hands`, `contacts`, `parts`, `damp` and `mistakes` are one
family of causes each.
To add a story: write a function `(scene) -> list[Story]` in the family it belongs to, list it in
`told` below, give its share in `constants.SHARE`, its decision in the function, its words in
`wording.STORY_TITLES`.
"""

from server.engine.stories.contacts import bridges, leaks, torn_contacts
from server.engine.stories.damp import cracked_joints, wet_corners
from server.engine.stories.events import plugged_live, plugs_off
from server.engine.stories.hands import parts_knocked_off, plugs_tilted, tool_slips
from server.engine.stories.kinds import Scene, Story
from server.engine.stories.mistakes import leads_swapped, meter_differs, other_revisions, still_powered
from server.engine.stories.parts import chips_damaged, rails_shorted, series_parts_open, shunts_shorted
from server.engine.stories.whole import cable_flipped, elsewhere, nothing_wrong, separate_faults

FAMILIES = (
    nothing_wrong,
    elsewhere,
    plugs_off,
    plugged_live,
    bridges,
    torn_contacts,
    leaks,
    shunts_shorted,
    series_parts_open,
    chips_damaged,
    rails_shorted,
    plugs_tilted,
    tool_slips,
    parts_knocked_off,
    wet_corners,
    cracked_joints,
    cable_flipped,
    separate_faults,
    leads_swapped,
    other_revisions,
    meter_differs,
    still_powered,
)


def told(scene: Scene) -> list[Story]:
    """All stories of a scene, in the order of the families; priors not normalised."""
    stories: list[Story] = []
    for family in FAMILIES:
        stories.extend(story for story in family(scene) if story.weight > 0)
    return stories
