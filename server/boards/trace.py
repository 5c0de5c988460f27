"""From a contact to everything it leads to: series parts hop by hop, and what hangs on the way.

Decides: what is in series, what leads off, where the path ends. A part is in series when it has just two pins
(or two that belong together, in an array or a choke) on two nets. A capacitor is in series only where neither
of its sides is a rail. Nothing is followed through a rail; a part that is not fitted is an open circuit.
Leaves to others: what a contact is for (`roles_proposed`).
"""

from collections.abc import Iterable
from typing import NamedTuple

from server.boards.feeds import FEEDS_OHM, feed_of
from server.boards.nets import BoardPart, Nets, natural
from server.boards.part_kinds import ohms_in
from server.boards.part_pairs import partner_pin
from server.boards.rails import Rail
from shared_models.board import Feed

MOST_HOPS = 6
"""Parts in series that are followed; real lines have one or two."""

IN_SERIES = frozenset({"resistor", "array", "ferrite", "coil", "choke", "fuse", "capacitor", "jumper"})
ENDS = frozenset({"chip", "transistor", "other", "connector", "switch", "crystal"})


class Hop(NamedTuple):
    """A part in series between two nets; `near_pin` lies towards the contact."""

    part: BoardPart
    near_pin: str
    far_pin: str
    far_net: str
    ohm: float | None

    def blocks_dc(self) -> bool:
        """Whether nothing behind it can be seen by a meter."""
        return self.part.kind == "capacitor"


class Off(NamedTuple):
    """A part that leads off the line to another net: a capacitor, a clamp, a pull resistor, a diode."""

    part: BoardPart
    pin: str
    to_net: str | None
    what: str


class Stop(NamedTuple):
    """What is found on one net of the way, beside the part by which the way came; `missing` are not fitted."""

    net: str
    off: tuple[Off, ...] = ()
    points: tuple[tuple[BoardPart, str], ...] = ()
    ends: tuple[tuple[BoardPart, str], ...] = ()
    hops: tuple[Hop, ...] = ()
    missing: tuple[tuple[BoardPart, str], ...] = ()


class Traced(NamedTuple):
    """A contact's way: stops, and the hop between each two; `to_rail` where it ends at one."""

    stops: tuple[Stop, ...]
    hops: tuple[Hop, ...]
    to_rail: Rail | None
    feed: Feed | None


class Tracer:
    """Traces on one board. `rails` as `rails.rails_of` gives them."""

    def __init__(self, nets: Nets, rails: dict[str, Rail]) -> None:
        self.nets, self.rails = nets, rails

    def trace(self, socket: str, net: str) -> Traced:
        """The way from a net of the socket inward."""
        stops = [self.stop(net, {socket})]
        hops: list[Hop] = []
        seen, passed = {net}, {socket}
        while len(hops) < MOST_HOPS:
            here = stops[-1]
            rail, feed = self.rails.get(here.net), feed_of(self.nets, self.rails, here.net, socket)
            if feed is not None or (rail is not None and (len(stops) > 1 or rail.why in ("ground", "size"))):
                return Traced(tuple(stops), tuple(hops), rail, feed)
            hop = self._onward(here, seen)
            if hop is None:
                break
            hops.append(hop)
            seen.add(hop.far_net)
            passed.add(hop.part.ref)
            stops.append(self.stop(hop.far_net, passed))
        return Traced(tuple(stops), tuple(hops), self.rails.get(net), None)

    def _onward(self, here: Stop, seen: set[str]) -> Hop | None:
        """The hop to follow: none where the line is already at a chip, else the one that leads to the largest end."""
        if any(part.kind in ("chip", "transistor") for part, _ in here.ends) and here.net not in self.rails:
            return None
        ahead = [hop for hop in here.hops if hop.far_net not in seen]
        if here.net in self.rails:
            ahead = [hop for hop in ahead if not hop.blocks_dc() and (hop.ohm is None or hop.ohm <= FEEDS_OHM)]
        ranked = sorted(ahead, key=lambda hop: (-self._worth(hop, seen), natural(hop.part.ref)))
        return ranked[0] if ranked else None

    def _worth(self, hop: Hop, seen: set[str]) -> float:
        """How much a hop leads to: a chip by its pins, a rail little, a capacitor less than what conducts."""
        rail = self.rails.get(hop.far_net)
        if rail is not None:
            return 0.5
        beyond = self.stop(hop.far_net, {hop.part.ref})
        worth = float(max((len(part.pins) for part, _ in beyond.ends if part.kind == "chip"), default=0))
        worth += 1.0 if any(part.kind == "transistor" for part, _ in beyond.ends) else 0.0
        further = [one for one in beyond.hops if one.far_net not in seen]
        return worth + (0.8 if further else 0.0) + (0.0 if hop.blocks_dc() else 0.1)

    def stop(self, net: str, without: Iterable[str]) -> Stop:
        """What lies on a net, but for the parts the way came by. A net of very many pins is not listed out."""
        off: list[Off] = []
        points: list[tuple[BoardPart, str]] = []
        ends: list[tuple[BoardPart, str]] = []
        hops: list[Hop] = []
        missing: list[tuple[BoardPart, str]] = []
        rail = self.rails.get(net)
        if rail is not None and rail.why in ("ground", "size"):
            return Stop(net, points=tuple(self._points(net)))
        skip, seen = set(without), set[str]()
        for ref, number in self.nets.pins_on[net]:
            part = self.nets.parts[ref]
            if ref in skip:
                continue
            if part.not_fitted:
                missing.append((part, number))
                continue
            if part.kind == "test_point":
                points.append((part, number))
            elif part.kind == "clamp" or (part.kind == "diode" and len(part.pins) > 2):
                if ref not in seen:
                    off.append(Off(part, number, self._ground_of(part), "clamp"))
            elif (hop := self._hop(part, number, net)) is not None:
                self._sort(hop, net, off, hops)
            elif part.kind in ENDS and part.kind != "hole":
                ends.append((part, number))
            seen.add(ref)
        return Stop(net, tuple(off), tuple(points), tuple(_largest_first(ends)), tuple(hops), tuple(missing))

    def _points(self, net: str) -> Iterable[tuple[BoardPart, str]]:
        for ref, number in self.nets.pins_on[net]:
            part = self.nets.parts[ref]
            if part.kind == "test_point" and not part.not_fitted:
                yield part, number

    def _hop(self, part: BoardPart, number: str, net: str) -> Hop | None:
        """The part as a way from `net` to another; None where it has no single other side."""
        if part.mixed:
            return None
        other = partner_pin(part, number, net)
        far = part.pins[other].net if other is not None else None
        if other is None or far is None or far == net:
            return None
        ohm = ohms_in(part.value) if part.kind in ("resistor", "array", "fuse") else None
        return Hop(part, number, other, far, ohm)

    def _sort(self, hop: Hop, net: str, off: list[Off], hops: list[Hop]) -> None:
        """In series, or off the line: by what the part is and whether one of its sides is a rail."""
        rail, kind = self.rails.get(hop.far_net), hop.part.kind
        if kind in ("diode", "led"):
            off.append(Off(hop.part, hop.near_pin, hop.far_net, "clamp" if rail is not None else "diode"))
        elif kind == "capacitor" and (rail is not None or net in self.rails):
            off.append(Off(hop.part, hop.near_pin, hop.far_net, "shunt"))
        elif rail is not None and (rail.why == "ground" or _pulls(hop)):
            off.append(Off(hop.part, hop.near_pin, hop.far_net, "pull"))
        elif kind in IN_SERIES and kind != "jumper":
            hops.append(hop)

    def _ground_of(self, part: BoardPart) -> str | None:
        return next((net for net in part.nets() if (rail := self.rails.get(net)) and rail.why == "ground"), None)


def _pulls(hop: Hop) -> bool:
    return hop.part.kind in ("resistor", "array") and (hop.ohm is None or hop.ohm > FEEDS_OHM)


def _largest_first(ends: list[tuple[BoardPart, str]]) -> list[tuple[BoardPart, str]]:
    """Chips before all else, the one of most pins first; each pin stays."""
    order = {"chip": 0, "transistor": 1}
    return sorted(
        ends, key=lambda end: (order.get(end[0].kind, 2), -len(end[0].pins), natural(end[0].ref), natural(end[1]))
    )
