"""Stories of a moment with power on: the plug sat some places off, or went in live though straight."""

from server.engine.constants.overstress import (
    HIT_HARD_MV,
    HIT_OHM_HIGH,
    HIT_OHM_MIDDLE,
    NEIGHBOUR_LOW,
    SLIP_BY_SOCKET,
    SLIP_SHARE,
    SLIPS,
)
from server.engine.drops import BAND, LEAK
from server.engine.overstress import net_key, overstress_of
from server.engine.roles import chip_of
from server.engine.stories.kinds import Mixture, Scene, Story, at_risk, hurt, share, shows_chip
from shared_models.opinion import Overstress


def plugs_off(scene: Scene) -> list[Story]:
    """A plug 1 to 3 places off along its row, with power on: what the board then met, by the two-sided map."""
    how_likely = SLIP_BY_SOCKET[scene.board.socket.kind]
    longest = max(len(row) for row in scene.board.rows)
    stories = []
    for slip in SLIPS:
        if how_likely == 0 or abs(slip) >= longest:
            continue
        weight = share(scene, "plug_off_by", 1) * how_likely * SLIP_SHARE[str(abs(slip))]
        stories.append(_plug_off(scene, slip, weight))
    return stories


def _plug_off(scene: Scene, slip: int, weight: float) -> Story:
    board = scene.board
    footprint: dict[int, Mixture] = {}
    hurt_chips: list[str] = []
    hits: list[int] = []
    plugs: list[int] = []
    feeds: list[str] = []
    exposed: dict[int, str] = {}
    for line in overstress_of(board, slip):
        if line.meets == "module":
            plugs.append(board.places[line.contact])
            continue
        index = board.places[line.contact]
        if line.shorted_to_ground:
            lead = scene.nets.get(net_key(board.contacts[index]), [index])[0]
            exposed[lead] = "slip_rail_grounded"
            feeds.append(net_key(board.contacts[index]))
        elif line.over_limit_mv is not None and line.over_limit_mv > 0:
            if shows_chip(scene, index):
                exposed[index] = _hit(line)
            if line.over_limit_mv >= HIT_HARD_MV:
                hits.append(index)
                feeds.append(net_key(board.contacts[board.places[line.from_contact]]))
                chip = chip_of(board.contacts[index])
                if chip is not None:
                    hurt_chips.append(chip)
    footprint.update({index: hurt(scene, name) for index, name in exposed.items()})
    for chip in sorted(set(hurt_chips)):
        for index in _close_lines(scene, chip, hits):
            footprint.setdefault(index, ((LEAK, NEIGHBOUR_LOW), (BAND, 1 - NEIGHBOUR_LOW)))
    part = hurt_chips[0] if hurt_chips else None
    risky = any(at_risk(scene, chip) for chip in hurt_chips)
    decision = ("chip", part or "") if hurt_chips else (("hunt_rail", "") if feeds else ("reseat_or_clean", ""))
    return Story(
        "plug_off_by",
        f"{slip:+d}",
        weight,
        footprint,
        decision,
        risky,
        live=True,
        hit=tuple(hits),
        hit_plugs=tuple(plugs),
        feeds=tuple(sorted(set(feeds))),
        part=part,
        contacts=tuple(hits),
        exposed=tuple(exposed.items()),
    )


def _hit(line: Overstress) -> str:
    """The class of exposure, by how far over the limit and through what resistance."""
    if (line.over_limit_mv or 0.0) < HIT_HARD_MV:
        return "hit_little"
    if line.through_ohm < HIT_OHM_MIDDLE:
        return "hit_hard"
    return "hit_hard_softened" if line.through_ohm < HIT_OHM_HIGH else "hit_hard_protected"


def _close_lines(scene: Scene, chip: str, hits: list[int]) -> list[int]:
    """Lines of the same chip and kind of line as those hit: they share a bank of it."""
    kinds = {_bank(scene, index) for index in hits}
    return [
        index
        for index in scene.chips.get(chip, [])
        if index not in hits and _bank(scene, index) in kinds and shows_chip(scene, index)
    ]


def _bank(scene: Scene, index: int) -> str:
    role = scene.board.contacts[index].role
    return "lane" if role.startswith("lane") else "slow"


def plugged_live(scene: Scene) -> list[Story]:
    """Plugged straight but live: a few inputs of one chip hurt, a feed fuse often gone."""
    chips = [
        (chip, bank)
        for chip in sorted(scene.chips)
        for bank in sorted({_bank(scene, index) for index in scene.chips[chip]})
    ]
    stories = []
    for chip, bank in chips:
        members = [index for index in scene.chips[chip] if _bank(scene, index) == bank]
        shown = [index for index in members if shows_chip(scene, index)]
        stories.append(
            Story(
                "plugged_live",
                f"{chip}/{bank}" if chip else bank,
                share(scene, "plugged_live", len(chips)),
                dict.fromkeys(shown, hurt(scene, "plugged_live")),
                ("chip", chip),
                at_risk(scene, chip),
                live=True,
                feeds=tuple(sorted(scene.nets)),
                part=chip or None,
                contacts=tuple(members),
                exposed=tuple((index, "plugged_live") for index in shown),
            )
        )
    return stories
