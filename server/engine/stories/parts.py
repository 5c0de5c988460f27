"""Stories of one part: a shorted shunt part, an open series part, a damaged chip, a shorted rail."""

from server.engine.constants.overstress import CHIP_HURT, FEED_OPEN, LED_PLUS_HURT, RAIL_SHORT, SIGNAL_CUT, SIGNAL_OPEN
from server.engine.drops import SHORT
from server.engine.roles import branches_before, chip_of, first_series, fuse_of
from server.engine.stories.kinds import Mixture, Scene, Story, at_risk, mixture, share, shows_chip, shows_open
from shared_models.board import ShuntPart

CORE_RAILS = ("core_rail", "core_rail_large")
"""Rails that honestly read a few ohms."""


def shunts_shorted(scene: Scene) -> list[Story]:
    """A capacitor or protection part from one line to ground, shorted."""
    lines = sorted(index for members in scene.chips.values() for index in members)
    each = share(scene, "shunt_short", len(lines))
    stories = []
    for index in lines:
        contact = scene.board.contacts[index]
        part = next((one.part for one in contact.path if isinstance(one, ShuntPart)), None)
        stories.append(
            Story(
                "shunt_short",
                contact.number,
                each,
                {index: ((SHORT, 1.0),)},
                ("shunt_part", part or contact.number),
                part=part,
                contacts=(index,),
            )
        )
    return stories


def series_parts_open(scene: Scene) -> list[Story]:
    """A fuse, ferrite or series resistor open, or knocked off: rails read high without a climb, signals OL."""
    stories = []
    led = [name for name, members in sorted(scene.nets.items()) if scene.board.contacts[members[0]].role == "led_plus"]
    rails = [name for name in sorted(scene.nets) if name not in led and shows_open(scene, scene.nets[name][0])]
    for family, names in (("series_open_led", led), ("series_open_rail", rails)):
        for name in names:
            lead = scene.nets[name][0]
            contact = scene.board.contacts[lead]
            series = first_series(contact)
            part = fuse_of(contact) or (series.part if series is not None else None)
            subject = part or contact.net or contact.number
            stories.append(
                Story(
                    "series_open",
                    subject,
                    share(scene, family, len(names)),
                    {lead: mixture(FEED_OPEN)},
                    ("series_part", subject),
                    part=part,
                    contacts=tuple(scene.nets[name]),
                )
            )
    lines = [
        index
        for members in scene.chips.values()
        for index in members
        if first_series(scene.board.contacts[index]) is not None and shows_open(scene, index)
    ]
    # a part near the socket is as likely to go as any other: lines whose parts nobody listed have them too
    signals = [index for members in scene.chips.values() for index in members]
    each = share(scene, "series_open_signal", len(signals))
    for index in sorted(lines):
        contact = scene.board.contacts[index]
        series = first_series(contact)
        if series is not None:
            stories.append(
                Story(
                    "series_open",
                    series.part,
                    each,
                    {index: mixture(SIGNAL_CUT if branches_before(contact, scene.board.parts) else SIGNAL_OPEN)},
                    ("series_part", series.part),
                    part=series.part,
                    contacts=(index,),
                )
            )
    return stories


def chips_damaged(scene: Scene) -> list[Story]:
    """One chip hurt: several of its lines short or low, unequal, others unhurt."""
    stories = []
    drivers, others = [], []
    for chip, members in sorted(scene.chips.items()):
        driver = any(scene.board.contacts[index].role == "led_minus" for index in members)
        (drivers if driver else others).append((chip, members))
    for family, chips in (("chip_led_driver", drivers), ("chip_other", others)):
        for chip, members in chips:
            footprint: dict[int, Mixture] = {
                index: mixture(CHIP_HURT) for index in members if shows_chip(scene, index)
            }
            if family == "chip_led_driver":
                for net in scene.nets.values():
                    contact = scene.board.contacts[net[0]]
                    if contact.role == "led_plus" and (chip_of(contact) or "") == chip:
                        footprint[net[0]] = mixture(LED_PLUS_HURT)
            stories.append(
                Story(
                    "chip_damaged",
                    chip or "the chip behind",
                    share(scene, family, len(chips)),
                    footprint,
                    ("chip", chip),
                    at_risk(scene, chip),
                    part=chip or None,
                    contacts=tuple(footprint),
                )
            )
    return stories


def rails_shorted(scene: Scene) -> list[Story]:
    """A rail shorted to ground somewhere: one net, one state, all its contacts.

    Of a core rail of a few ohms no drop tells anything: its story moves no contact, and ohms beside a healthy
    board's are its only evidence.
    """
    by_family: dict[str, list[str]] = {"rail_short_led": [], "rail_short_panel": [], "rail_short_other": []}
    for name, members in sorted(scene.nets.items()):
        by_family[_rail_family(scene.board.contacts[members[0]].role)].append(name)
    stories = []
    for family, names in by_family.items():
        for name in names:
            members = scene.nets[name]
            contact = scene.board.contacts[members[0]]
            subject = contact.net or contact.number
            stories.append(
                Story(
                    "rail_short",
                    subject,
                    share(scene, family, len(names)),
                    {} if contact.role in CORE_RAILS else {members[0]: mixture(RAIL_SHORT)},
                    ("hunt_rail", subject),
                    contacts=tuple(members),
                )
            )
    return stories


def _rail_family(role: str) -> str:
    return {"led_plus": "rail_short_led", "panel_supply": "rail_short_panel"}.get(role, "rail_short_other")
