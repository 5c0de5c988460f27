"""Stories that leave the board's contacts as they are: nothing wrong, elsewhere, a cable the wrong way round."""

from server.engine.constants import FLIP_BY_SOCKET
from server.engine.stories.kinds import Scene, Story, share


def nothing_wrong(scene: Scene) -> list[Story]:
    """The board is healthy and so is everything around it."""
    return [Story("nothing_wrong", "", share(scene, "nothing_wrong", 1), {}, ("nothing", ""))]


def elsewhere(scene: Scene) -> list[Story]:
    """Module, cable, seating, or a part that does not fit: the board's contacts say nothing of it."""
    return [Story("elsewhere", "module", share(scene, "elsewhere", 1), {}, ("module", ""))]


def cable_flipped(scene: Scene) -> list[Story]:
    """A flat cable in with its contacts on the wrong side or turned; possible in a ZIF only, the board unhurt."""
    weight = share(scene, "cable_flipped", 1) * FLIP_BY_SOCKET.get(scene.board.socket.kind, 0.0)
    return [Story("cable_flipped", "cable", weight, {}, ("reseat_or_clean", "cable"))]
