"""Stories of a hand or a tool: a plug tilted in live, a tool across a live line, a small part knocked off."""

from server.engine.constants.overstress import (
    KNOCKED_OFF,
    TILT_BY_SOCKET,
    TILT_PLACES,
    TOOL_FROM_MV,
)
from server.engine.overstress import net_key
from server.engine.roles import chip_of, first_series
from server.engine.stories.kinds import Mixture, Scene, Story, at_risk, hurt, mixture, share, shows_chip, shows_open
from shared_models.tables import ROLE_BY_ID


def plugs_tilted(scene: Scene) -> list[Story]:
    """A plug dragged or tilted in live: a run from one end hurt, both rows, whatever it leads to."""
    how_likely = TILT_BY_SOCKET[scene.board.socket.kind]
    ends = [(end, places) for end in ("start", "end") for places in TILT_PLACES]
    if how_likely == 0:
        return []
    weight = share(scene, "plug_tilted", len(ends)) * how_likely
    return [_tilted(scene, end, places, weight) for end, places in ends]


def _tilted(scene: Scene, end: str, places: int, weight: float) -> Story:
    touched = [index for row in scene.board.rows for index in (row[:places] if end == "start" else row[-places:])]
    exposed: dict[int, str] = {}
    chips: list[str] = []
    feeds: list[str] = []
    hit: list[int] = []
    for index in touched:
        contact = scene.board.contacts[index]
        if ROLE_BY_ID[contact.role].is_rail:
            exposed[scene.nets[net_key(contact)][0]] = "tilted_rail"
            hit.append(index)
            feeds.append(net_key(contact))
        elif contact.role not in ("ground", "unconnected", "strap", "unknown"):
            hit.append(index)
            if shows_chip(scene, index):
                exposed[index] = "tilted_live"
            chips.append(chip_of(contact) or "")
    first, last = scene.board.contacts[touched[0]].number, scene.board.contacts[touched[-1]].number
    part = max(sorted(set(chips)), key=chips.count) if chips else ""
    footprint: dict[int, Mixture] = {index: hurt(scene, name) for index, name in exposed.items()}
    return Story(
        "plug_tilted",
        f"{first}-{last}",
        weight,
        footprint,
        ("chip", part),
        any(at_risk(scene, chip) for chip in chips),
        live=True,
        hit=tuple(hit),
        feeds=tuple(sorted(set(feeds))),
        part=part or None,
        contacts=tuple(footprint),
        exposed=tuple(exposed.items()),
    )


def tool_slips(scene: Scene) -> list[Story]:
    """Tweezers, a spudger or a screw across a live line of some volts and the contact beside it."""
    pairs = [
        (source, victim)
        for source, beside in enumerate(scene.neighbours)
        if _live_line(scene, source)
        for victim in beside
        if _can_be_hurt(scene, source, victim)
    ]
    each = share(scene, "tool_slip", len(pairs))
    return [_slipped(scene, source, victim, each) for source, victim in pairs]


def _live_line(scene: Scene, index: int) -> bool:
    contact = scene.board.contacts[index]
    board_side = contact.sourced_by in ("board", "both", None)
    return board_side and ROLE_BY_ID[contact.role].is_rail and (contact.working_mv or 0.0) >= TOOL_FROM_MV


def _can_be_hurt(scene: Scene, source: int, victim: int) -> bool:
    a, b = scene.board.contacts[source], scene.board.contacts[victim]
    if net_key(a) == net_key(b) or b.role in ("ground", "unknown") or not shows_chip(scene, victim):
        return False
    return (b.limit_mv or 0.0) < (a.working_mv or 0.0)


def _slipped(scene: Scene, source: int, victim: int, weight: float) -> Story:
    a, b = scene.board.contacts[source], scene.board.contacts[victim]
    chip = chip_of(b)
    return Story(
        "tool_slip",
        f"{a.number}-{b.number}",
        weight,
        {victim: hurt(scene, "tool_across")},
        ("chip", chip or ""),
        at_risk(scene, chip),
        live=True,
        hit=(source, victim),
        feeds=(net_key(a),),
        part=chip,
        contacts=(source, victim),
        exposed=((victim, "tool_across"),),
    )


def parts_knocked_off(scene: Scene) -> list[Story]:
    """A small part beside the socket knocked off: a series part, a clamp, an array."""
    lines = sorted(index for members in scene.chips.values() for index in members if shows_open(scene, index))
    each = share(scene, "part_knocked_off", len(lines))
    stories = []
    for index in lines:
        contact = scene.board.contacts[index]
        series = first_series(contact)
        part = series.part if series is not None else None
        stories.append(
            Story(
                "part_knocked_off",
                contact.number,
                each,
                {index: mixture(KNOCKED_OFF)},
                ("series_part", part or contact.number),
                part=part,
                contacts=(index,),
            )
        )
    return stories
