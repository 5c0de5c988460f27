"""Stories of one's own: the leads swapped, or a board of another revision than the healthy ones."""

from server.engine.stories.kinds import STATE_OF, Mixture, Scene, Story, share
from shared_models.tables import ROLE_BY_ID


def leads_swapped(scene: Scene) -> list[Story]:
    """The whole sheet read with the leads the other way round: grounds still 0, rails climb, signals higher or OL."""
    footprint: dict[int, Mixture] = {
        index: ((STATE_OF["other_lead"], 1.0),)
        for index, contact in enumerate(scene.board.contacts)
        if contact.role not in ("ground", "unknown", "unconnected")
    }
    if not footprint:
        return []
    return [Story("leads_swapped", "", share(scene, "leads_swapped", 1), footprint, ("redo_reading", "leads"))]


def other_revisions(scene: Scene) -> list[Story]:
    """One chip of another maker or revision: all its contacts apart from the healthy boards', none of them wrong."""
    chips = {chip: members for chip, members in sorted(scene.chips.items()) if len(members) > 2}
    each = share(scene, "other_revision", len(chips))
    stories = []
    for chip, members in chips.items():
        footprint: dict[int, Mixture] = dict.fromkeys(members, ((STATE_OF["shifted"], 1.0),))
        stories.append(
            Story(
                "other_revision",
                chip or "the chip behind",
                each,
                footprint,
                ("redo_reading", "revision"),
                part=chip or None,
                contacts=tuple(index for index in members if not ROLE_BY_ID[scene.board.contacts[index].role].is_rail),
            )
        )
    return stories
