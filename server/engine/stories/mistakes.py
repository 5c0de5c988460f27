"""Stories of one's own: leads swapped, another meter than was told, voltage left on the board, another revision."""

from server.engine.constants.overstress import RESIDUAL_RAIL
from server.engine.stories.kinds import STATE_OF, Mixture, Scene, Story, mixture, share, shows_chip
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


def meter_differs(scene: Scene) -> list[Story]:
    """The meter forces another current than its sheet says, or the board is warmer or colder than the air typed.

    The contacts are as healthy ones are once that is taken out; how far the session had to be moved is its
    evidence (`meters.told_wrongly`), a known resistor its proof.
    """
    return [Story("meter_differs", "meter", share(scene, "meter_differs", 1), {}, ("redo_reading", "meter"))]


def still_powered(scene: Scene) -> list[Story]:
    """Voltage left on the board, or a battery still in: it is added to what the rails read, with its sign."""
    footprint: dict[int, Mixture] = {
        members[0]: mixture(RESIDUAL_RAIL)
        for _, members in sorted(scene.nets.items())
        if not ROLE_BY_ID[scene.board.contacts[members[0]].role].healthy_ol
    }
    contacts = tuple(footprint)
    weight = share(scene, "still_powered", 1)
    return [Story("still_powered", "board", weight, footprint, ("redo_reading", "volts"), contacts=contacts)]


def other_revisions(scene: Scene) -> list[Story]:
    """One chip of another maker or revision: all its contacts apart from the healthy boards', none of them wrong."""
    seen = {
        chip: [index for index in members if shows_chip(scene, index)] for chip, members in sorted(scene.chips.items())
    }
    chips = {chip: members for chip, members in seen.items() if len(members) > 2}
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
