"""Stories that leave the board's contacts as they are: nothing wrong, or the fault is elsewhere."""

from server.engine.stories.kinds import Scene, Story, share


def nothing_wrong(scene: Scene) -> list[Story]:
    """The board is healthy and so is everything around it."""
    return [Story("nothing_wrong", "", share(scene, "nothing_wrong", 1), {}, ("nothing", ""))]


def elsewhere(scene: Scene) -> list[Story]:
    """Module, cable, seating, or a part that does not fit: the board's contacts say nothing of it."""
    return [Story("elsewhere", "module", share(scene, "elsewhere", 1), {}, ("module", ""))]
