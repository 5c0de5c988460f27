"""Stories of the socket itself: a bridge between neighbours, a torn contact, a leak at one contact."""

from server.engine.constants.overstress import ACROSS_ROWS, LEAKS, TORN
from server.engine.drops import MEETS
from server.engine.overstress import net_key
from server.engine.roles import healthy_ol
from server.engine.stories.kinds import Mixture, Scene, Story, across_rows, mixture, share, shows_open


def bridges(scene: Scene) -> list[Story]:
    """A bridge between two neighbours, along a row or across, where it would change what either reads."""
    facing = across_rows(scene.board)
    pairs = []
    for left, beside in enumerate(scene.neighbours):
        for right in beside:
            if left < right and _bridge_seen(scene, left, right):
                pairs.append((left, right))
    each = share(scene, "bridge", len([pair for pair in pairs if pair not in facing]))
    return [
        _bridge(scene, left, right, each * (ACROSS_ROWS if (left, right) in facing else 1.0)) for left, right in pairs
    ]


def _bridge_seen(scene: Scene, left: int, right: int) -> bool:
    """Two contacts of one net, or two that both show OL when healthy, look the same bridged or not."""
    a, b = scene.board.contacts[left], scene.board.contacts[right]
    return net_key(a) != net_key(b) and not (healthy_ol(a) and healthy_ol(b))


def _bridge(scene: Scene, left: int, right: int, weight: float) -> Story:
    footprint: dict[int, Mixture] = {
        left: ((MEETS + scene.neighbours[left].index(right), 1.0),),
        right: ((MEETS + scene.neighbours[right].index(left), 1.0),),
    }
    for index in (left, right):
        if scene.board.contacts[index].role == "ground":
            del footprint[index]
    a, b = scene.board.contacts[left].number, scene.board.contacts[right].number
    return Story("bridge", f"{a}-{b}", weight, footprint, ("reseat_or_clean", f"{a}-{b}"), contacts=(left, right))


def torn_contacts(scene: Scene) -> list[Story]:
    """One contact bent, dirty, or torn from its tail; only where an open can be seen."""
    open_seen = [index for index in range(len(scene.board.contacts)) if shows_open(scene, index)]
    each = share(scene, "contact_torn", len(open_seen))
    return [
        Story(
            "contact_torn",
            scene.board.contacts[index].number,
            each,
            {index: mixture(TORN)},
            ("socket", scene.board.contacts[index].number),
            contacts=(index,),
        )
        for index in open_seen
    ]


def leaks(scene: Scene) -> list[Story]:
    """A leak at one contact, to ground or on its way to the rail: dirt, water, a tired clamp."""
    lines = [
        index
        for index, contact in enumerate(scene.board.contacts)
        if contact.role not in ("ground", "core_rail", "core_rail_large")
    ]
    leads = [index for index in lines if index not in _followers(scene)]
    each = share(scene, "leak", len(leads))
    return [
        Story(
            "leak",
            scene.board.contacts[index].number,
            each,
            {index: mixture(LEAKS)},
            ("reseat_or_clean", scene.board.contacts[index].number),
            contacts=(index,),
        )
        for index in leads
    ]


def _followers(scene: Scene) -> list[int]:
    return [index for members in scene.nets.values() for index in members[1:]]
