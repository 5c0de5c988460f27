"""Stories of water and of fatigue: a wet or corroded corner, a cracked joint under a chip."""

from server.engine.constants.overstress import CRACKED_LINE, WET_LINE, WET_PLACES
from server.engine.stories.kinds import Mixture, Scene, Story, at_risk, mixture, share, shows_chip
from shared_models.tables import ROLE_BY_ID


def wet_corners(scene: Scene) -> list[Story]:
    """A patch of neighbours leaky and unequal, whatever chip they lead to: it follows geometry."""
    longest = max(len(row) for row in scene.board.rows)
    starts = range(max(1, longest - WET_PLACES + 1))
    each = share(scene, "wet", len(starts))
    stories = []
    for start in starts:
        footprint: dict[int, Mixture] = {}
        for row in scene.board.rows:
            for index in row[start : start + WET_PLACES]:
                contact = scene.board.contacts[index]
                if contact.role not in ("ground", "unknown") and not ROLE_BY_ID[contact.role].is_rail:
                    footprint[index] = mixture(WET_LINE)
        if footprint:
            numbers = [scene.board.contacts[index].number for index in footprint]
            subject = f"{numbers[0]}-{numbers[-1]}"
            stories.append(
                Story("wet", subject, each, footprint, ("reseat_or_clean", subject), contacts=tuple(footprint))
            )
    return stories


def cracked_joints(scene: Scene) -> list[Story]:
    """A joint under a chip that opens and closes: lines OL or unsteady now and then."""
    each = share(scene, "cracked_joint", len(scene.chips))
    return [
        Story(
            "cracked_joint",
            chip or "the chip behind",
            each,
            {index: mixture(CRACKED_LINE) for index in members if shows_chip(scene, index)},
            ("chip", chip),
            at_risk(scene, chip),
            part=chip or None,
            contacts=tuple(members),
        )
        for chip, members in sorted(scene.chips.items())
    ]
