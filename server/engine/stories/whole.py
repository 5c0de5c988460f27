"""Stories of the whole socket: nothing wrong, elsewhere, a cable the wrong way round, faults that share no cause."""

from server.engine.constants.overstress import FLIP_BY_SOCKET
from server.engine.constants.stories import SEPARATE_LINE
from server.engine.stories.kinds import Mixture, Scene, Story, mixture, share


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


def separate_faults(scene: Scene) -> list[Story]:
    """Several odd lines that no one event explains: an old board, or one that was worked on before.

    Without it each odd line would stand against the base rate of a board with none, and the third of three plain
    faults would be called a failed touch.
    """
    footprint: dict[int, Mixture] = {
        index: mixture(SEPARATE_LINE) for members in scene.chips.values() for index in members
    }
    weight = share(scene, "separate_faults", 1)
    return [Story("separate_faults", "", weight, footprint, ("one_by_one", ""), contacts=tuple(sorted(footprint)))]
