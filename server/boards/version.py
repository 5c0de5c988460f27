"""A traced socket as a BoardVersion the engine takes as it is, everything of it marked as proposed.

Decides: how the way from a contact becomes path elements, which parts and nets the version speaks of, and how a
name from a file becomes an id. Nothing is invented: without a value there is no resistance, without a place no drawing.
"""

import re
from collections.abc import Iterable
from typing import Literal

from server.boards.nets import BoardPart, BoardPin, Nets
from server.boards.part_kinds import PART_KIND, ohms_in
from server.boards.rails import Rail
from server.boards.roles_proposed import Proposal
from server.boards.rows import Lies
from server.boards.socket_kinds import socket_kind
from server.boards.trace import Off, Stop, Traced
from shared_models.board import (
    ChipPin,
    Clamp,
    Contact,
    Feed,
    Net,
    Part,
    PathElement,
    ProposedField,
    Pull,
    RailKind,
    Role,
    SeriesPart,
    ShuntPart,
    Socket,
    TestPoint,
)

MOST_SHUNTS = 4
"""Capacitors of one net that stand on the path; a rail has dozens, and the others are named beside it."""

MOST_ALSO = 24
LONGEST_ID = 80
_RAIL_KINDS: dict[Role, RailKind] = {
    "ground": "ground", "main_rail": "main", "rail_5v": "standby", "panel_supply": "panel", "io_rail": "io",
    "memory_rail": "memory", "core_rail": "core", "core_rail_large": "core", "led_plus": "backlight",
}


def part_id(ref: str) -> str:
    """A part's name as an id: letters an id cannot have become -."""
    plain = re.sub(r"[^A-Za-z0-9._:\-]", "-", ref)[:LONGEST_ID]
    return plain if plain[:1].isalnum() else f"x{plain}"[:LONGEST_ID]


def socket_from(part: BoardPart, lies: Lies, nets: Nets, traced: dict[str, Traced],
                proposals: dict[str, Proposal]) -> Socket:
    """The socket with its contacts, each with its way inward."""
    return Socket(
        ref=part_id(part.ref), kind=socket_kind(part), pitch_mm=lies.pitch_mm, rows=lies.rows, name=part.value,
        contacts=tuple(_contact(pin, lies, nets, traced.get(pin.net or ""),
        proposals[pin.number]) for pin in lies.pins),
    )


def _contact(pin: BoardPin, lies: Lies, nets: Nets, traced: Traced | None, told: Proposal) -> Contact:
    path, also = _path(traced, nets) if traced is not None else ((), ())
    leads_to = next((one.part for one in path if isinstance(one, ChipPin)), None)
    shown = nets.shown.get(pin.net or "")
    named = pin.function if pin.function not in ("", "Pin") else shown or ""
    pad = pin.pads[0]
    proposed: list[ProposedField] = []
    if told.working_v is not None:
        proposed.append("working_mv")
    if told.sourced_by is not None:
        proposed.append("sourced_by")
    if told.pair_with is not None:
        proposed.append("pair_with")
    return Contact(
        number=pin.number, name=named, net=shown if told.role != "unconnected" else None, role=told.role,
        role_origin="proposed", role_why=told.why, proposed=tuple(proposed),
        working_mv=None if told.working_v is None else round(1000 * told.working_v, 3), sourced_by=told.sourced_by,
        leads_to=leads_to, pair_with=told.pair_with, path=path, also=also, x_mm=pad.x_mm, y_mm=pad.y_mm,
        neighbours=lies.neighbours.get(pin.number, ()), fed_by=_feed(traced),
    )


def _feed(traced: Traced | None) -> Feed | None:
    """The feed with its parts' names as ids."""
    feed = traced.feed if traced is not None else None
    if feed is None:
        return None
    ids = {name: None if ref is None else part_id(ref) for name, ref in (
        ("diode", feed.diode), ("coil", feed.coil), ("capacitor", feed.capacitor))}
    return Feed(chip=part_id(feed.chip), pin=feed.pin, net=feed.net, out_pin=feed.out_pin, **ids)


def _path(traced: Traced, nets: Nets) -> tuple[tuple[PathElement, ...], tuple[PathElement, ...]]:
    """(the way from the contact inward, what lies off it)."""
    path: list[PathElement] = []
    also: list[PathElement] = []
    for at, stop in enumerate(traced.stops):
        if at:
            hop = traced.hops[at - 1]
            path.append(SeriesPart(
                part=part_id(hop.part.ref), ohm=hop.ohm, blocks_dc=hop.blocks_dc(), is_fuse=hop.part.kind == "fuse",
                far_net=nets.shown[hop.far_net],
            ))
        last = at == len(traced.stops) - 1
        if last and traced.to_rail is not None and at:
            break  # what hangs on the rail behind the last part is not this contact's
        _on_the_way(stop, nets, path, also)
        _off_the_way(stop, nets, also, None if last else traced.hops[at].part.ref, last and traced.to_rail is None
            and traced.feed is None)
        if last and stop.ends and traced.to_rail is None and traced.feed is None:
            part, number = stop.ends[0]
            path.append(ChipPin(part=part_id(part.ref), pin=number))
    if traced.feed is not None:
        path.append(ChipPin(part=part_id(traced.feed.chip), pin=traced.feed.out_pin or traced.feed.pin))
        # the diode that feeds is on the way, not beside it
        diode = part_id(traced.feed.diode or "")
        also = [one for one in also if isinstance(one, TestPoint) or one.part != diode]
    return tuple(path), tuple(also[:MOST_ALSO])


def _on_the_way(stop: Stop, nets: Nets, path: list[PathElement], also: list[PathElement]) -> None:
    path.extend(TestPoint(name=part.ref, side=_side(part)) for part, _ in stop.points[:MOST_SHUNTS])
    shunts = 0
    for off in stop.off:
        element, belongs = _element(off, nets)
        if isinstance(element, ShuntPart) and belongs:
            shunts += 1
            belongs = shunts <= MOST_SHUNTS
        (path if belongs else also).append(element)


def _element(off: Off, nets: Nets) -> tuple[PathElement, bool]:
    """A part that leads off, and whether it belongs on the path; one whose value nobody told stands beside it."""
    ref, to_net = part_id(off.part.ref), _to(off, nets)
    if off.what == "clamp":
        return Clamp(part=ref, to_net=to_net), True
    if off.what == "pull":
        ohm = ohms_in(off.part.value)
        if ohm is not None and ohm > 0:
            return Pull(part=ref, ohm=ohm, to_net=to_net or "GND"), True
        return ShuntPart(part=ref, to_net=to_net), False
    return ShuntPart(part=ref, to_net=to_net), off.what == "shunt"


def _to(off: Off, nets: Nets) -> str | None:
    return nets.shown.get(off.to_net) if off.to_net is not None else None


def _off_the_way(stop: Stop, nets: Nets, also: list[PathElement], taken: str | None, ends_here: bool) -> None:
    also.extend(ChipPin(part=part_id(part.ref), pin=number) for part, number in stop.ends[1 if ends_here else 0 :])
    for hop in stop.hops:
        if hop.part.ref != taken:
            also.append(SeriesPart(
                part=part_id(hop.part.ref), ohm=hop.ohm, blocks_dc=hop.blocks_dc(), is_fuse=hop.part.kind == "fuse",
                far_net=nets.shown[hop.far_net],
            ))
    for part, number in stop.missing:
        others = [net for net in part.nets() if net != part.pins[number].net]
        also.append(ShuntPart(part=part_id(part.ref), to_net=nets.shown[others[0]] if others else None))


def _side(part: BoardPart) -> Literal["top", "bottom"] | None:
    return None if part.side == "both" else part.side


def parts_of(socket: Socket, board: Nets) -> tuple[Part, ...]:
    """Every part that the socket's paths name, with its kind, its value and whether it is fitted."""
    by_id = {part_id(ref): part for ref, part in board.parts.items()}
    named: dict[str, None] = {}
    for contact in socket.contacts:
        for element in (*contact.path, *contact.also):
            if not isinstance(element, TestPoint) and element.part is not None:
                named.setdefault(element.part)
        if contact.fed_by is not None:
            feed = contact.fed_by
            refs = (feed.diode, feed.coil, feed.capacitor, feed.chip)
            named.update((ref, None) for ref in refs if ref is not None)
    return tuple(_part(ref, by_id[ref]) for ref in named if ref in by_id)


def _part(ref: str, part: BoardPart) -> Part:
    kind = PART_KIND.get(part.kind, "other")
    return Part(ref=ref, kind=kind, value_text=part.value, fitted=not part.not_fitted)


def nets_named(wanted: Iterable[str], nets: Nets, rails: dict[str, Rail], socket: Socket) -> tuple[Net, ...]:
    """The nets of the socket and of its paths; rails with what their contacts speak for, as a proposal."""
    by_net: dict[str, Contact] = {}
    for contact in socket.contacts:
        if contact.net is not None:
            by_net.setdefault(contact.net, contact)
    found = []
    for net in wanted:
        shown = nets.shown[net]
        contact, rail = by_net.get(shown), rails.get(net)
        kind = _RAIL_KINDS.get(contact.role) if contact is not None else None
        if kind is None and rail is not None and rail.why == "ground":
            kind = "ground"
        stores = kind in ("main", "backlight")
        found.append(Net(
            name=shown, full_name="" if shown == net else net, rail_kind=kind, proposed=kind is not None,
            working_mv=contact.working_mv if contact is not None and kind not in (None, "ground") else None,
            stores_charge=stores, proof_at=_proof_at(net, nets) if stores else None,
        ))
    return tuple(found)


def _proof_at(net: str, nets: Nets) -> str | None:
    """Where a rail's voltage is measured: a test point, else a capacitor on it."""
    parts = [nets.parts[ref] for ref, _ in nets.pins_on[net] if not nets.parts[ref].not_fitted]
    for kind in ("test_point", "capacitor"):
        for part in parts:
            if part.kind == kind:
                return part.ref
    return None
