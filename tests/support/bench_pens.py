"""Pens that write readings of a random world, tidy ones and slips."""

import random
from collections.abc import Callable
from typing import Any, get_args

from msgspec.structs import replace

from shared_models.reading import (
    AcrossPart,
    AtContact,
    AtPartEnd,
    AtRail,
    BetweenContacts,
    Condition,
    Meter,
    Of,
    Reading,
    Touch,
)
from tests.support.bench_sockets import World
from tests.support.bench_world import ROLES, WorldBoard, WorldMeter

SECOND_MS = 1000


class Pen:
    """Writes readings of one job or reference board with ascending ids and times."""

    def __init__(self, prefix: str, of: Of, start_ms: int) -> None:
        self.prefix = prefix
        self.of = of
        self.now_ms = start_ms
        self.count = 0

    def reading(self, touch: Touch, as_typed: str, meter: Meter, **more: Any) -> Reading:
        self.count += 1
        self.now_ms += 6 * SECOND_MS
        more.setdefault("kind", "drop")
        more.setdefault("display_unit", meter.display_unit)
        return Reading(
            id=f"{self.prefix}-{self.count:04d}",
            of=self.of,
            socket=more.pop("socket", "J1"),
            touch=touch,
            as_typed=as_typed,
            meter_id=meter.id,
            taken_at_ms=self.now_ms,
            **more,
        )


def typed(value: float | None, meter: Meter) -> str:
    """The number as it stands on the display."""
    if value is None:
        return "OL"
    return f"{value:.0f}" if meter.display_unit == "mV" else f"{value / 1000:.3f}"


def touch(
    world: World,
    board: WorldBoard,
    pen: Pen,
    i: int,
    lead: Any,
    meter: WorldMeter,
    told: Meter,
    celsius: float,
    **more: Any,
) -> Reading:
    rng = world.rng
    climbs = ROLES[world.roles[i]].climbs and board.fault[i] == "none"
    if rng.random() < 0.3:
        more["steadiness"] = "climbs" if climbs else rng.choice(("steady", "steady", "steady", "falls", "jumps"))
        more["taken_after_s"] = round(rng.uniform(0.5, 3), 1)
    if rng.random() < 0.3:
        more["air_c"] = round(celsius, 1)
    shown = world.number_shown(board, i, lead, meter, celsius)
    return pen.reading(AtContact(contact=world.numbers[i]), typed(shown, told), told, lead_on_ground=lead, **more)


def slips_of_the_pen(rng: random.Random, world: World, pen: Pen, meter: Meter, so_far: list[Reading]) -> list[Reading]:
    """Touches of other kinds, corrections, and texts, places and meters that do not fit."""
    rows = [rng.choice(_SLIPS)(rng, world, pen, meter) for _ in range(rng.choice((0, 1, 3, 6)))]
    if so_far and rng.random() < 0.3:
        old = rng.choice(so_far)
        rows.append(pen.reading(old.touch, "449", meter, supersedes=old.id))
    return rows


def _odd_text(rng: random.Random, world: World, pen: Pen, meter: Meter) -> Reading:
    texts = ("4.7.2", "", "452 ohm", "-220", "99999", "0.4", "452mV", "0,452 V", "out of reach", "ol")
    return pen.reading(_somewhere(rng, world), rng.choice(texts), meter)


def _odd_place(rng: random.Random, world: World, pen: Pen, meter: Meter) -> Reading:
    where = rng.choice(("meter", "contact", "socket", "stage", "subject", "air", "conditions"))
    if where == "contact":
        return pen.reading(AtContact(contact="99"), "451", meter)
    if where == "meter":
        return pen.reading(_somewhere(rng, world), "451", replace(meter, id="meter-nobody-knows"))
    more: dict[str, Any] = {
        "socket": {"socket": "J9"},
        "stage": {"stage": "after_repair"},
        "subject": {"subject": "module_plug"},
        "air": {"air_c": rng.choice((-50.0, 110.0))},
        "conditions": {"conditions": tuple(rng.sample(get_args(Condition), 2))},
    }[where]
    return pen.reading(_somewhere(rng, world), "451", meter, **more)


def _ohms(rng: random.Random, world: World, pen: Pen, meter: Meter) -> Reading:
    number = rng.choice(world.numbers)
    more: dict[str, Any] = {"kind": "ohms", "display_unit": "ohm"}
    where = rng.choice(("contact", "rail", "part", "between"))
    if where == "contact":
        return pen.reading(AtContact(contact=number), rng.choice(("2.2", "4k7", "OL", "410")), meter, **more)
    if where == "rail":
        subject: Any = rng.choice(("board_socket", "module_plug"))
        return pen.reading(AtRail(net="3V3P"), rng.choice(("240", "2.1")), meter, subject=subject, **more)
    at: Touch = BetweenContacts(contact_a=number, contact_b=rng.choice(world.numbers))
    if where == "part":
        at = AcrossPart(part=rng.choice(sorted(world.parts)))
    return pen.reading(at, rng.choice(("0.3", "33", "OL", "900")), meter, lead_on_ground=None, **more)


def _volts(rng: random.Random, world: World, pen: Pen, meter: Meter) -> Reading:
    return pen.reading(_somewhere(rng, world), "3.31", meter, kind="volts", display_unit="V")


def _far_end(rng: random.Random, world: World, pen: Pen, meter: Meter) -> Reading:
    part = rng.choice(sorted(world.parts))
    return pen.reading(AtPartEnd(part=part, end="far"), "452", meter, place="part_far")


def _somewhere(rng: random.Random, world: World) -> AtContact:
    return AtContact(contact=rng.choice(world.numbers))


_SLIPS: tuple[Callable[[random.Random, World, Pen, Meter], Reading], ...] = (
    _odd_text,
    _odd_place,
    _ohms,
    _ohms,
    _volts,
    _far_end,
)
