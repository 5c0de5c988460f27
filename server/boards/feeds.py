"""What makes a rail of a lower one, by how the copper runs: a boost through a diode, one that rectifies by itself
(its chip's own pin is on the rail), or a charge pump.

A converter that steps up and one that steps down are drawn alike: a coil between a chip and a rail, and the chip on
another rail. Which way it goes is told by the divider that measures the output, by the names of the chip's pins, by
the volts in the nets' names; and where none of these speaks, by there being nothing else that could feed the rail.
Where they speak for the other way, or nothing speaks, nothing is claimed. Common practice, no source.
"""

import re
from collections.abc import Iterator
from typing import NamedTuple

from server.boards.nets import BoardPart, BoardPin, Nets, plain_name
from server.boards.part_kinds import ohms_in
from server.boards.part_pairs import partner_pin
from server.boards.rails import Rail, volts_in
from shared_models.board import Feed

NODE_PINS = 12
"""A switch node joins a coil, a chip and a diode, and little else."""

FEEDS_OHM = 20.0
"""A resistor up to this between a line and a rail feeds it; a larger one pulls it."""

CONVERTER_PINS = 32
"""A chip of more pins makes many rails, and which coil makes which is not to be seen from outside."""

_OUT = re.compile(r"(?:[PAB]?V)?OUT\w*|OVP|VO|VLED\w*|PVOUT", re.IGNORECASE)
_IN = re.compile(r"(?:[PAS]*V)?IN\w*|VCC\w*|VDD\w*|VBAT\w*|VSYS|SUP\w*|VS", re.IGNORECASE)
_NET_IN = re.compile(r"(?:^|[_/.-])V?IN\d*$", re.IGNORECASE)
_SWITCHED_ON = re.compile(r"(?:^|[_/.-])(?:\w*EN\w*|UVLO|SHDN|ON|CE)(?:$|[_/.-])", re.IGNORECASE)
_BATTERY = re.compile("BAT|DC_?IN|PWR_?IN", re.IGNORECASE)
_SUPPLIES = frozenset({
    "chip", "transistor", "coil", "ferrite", "fuse", "connector", "jumper", "choke", "other", "diode",
})


class _Swing(NamedTuple):
    """Where a chip swings: its pin, the node's net, the coil or capacitor there, the rail on the coil's far side."""

    pin: str
    net: str
    part: BoardPart
    from_net: str | None


def is_fed_from_outside(socket: str) -> bool:
    """Whether a socket by its name brings power to the board: then its rail is made by none of the board's parts."""
    return _BATTERY.search(socket) is not None


def feed_of(nets: Nets, rails: dict[str, Rail], net: str, socket: str) -> Feed | None:
    """What feeds a net that is no ground; None where nothing is known to make it of a lower one."""
    rail = rails.get(net)
    if rail is not None and rail.why == "ground":
        return None
    return _through_diode(nets, rails, net) or _by_chip(nets, rails, net, socket)


def feed_words(feed: Feed) -> str:
    """How a rail is made, short."""
    if feed.capacitor is not None:
        return f"{feed.chip}, a charge pump over {feed.capacitor}"
    return f"{feed.coil} and {feed.chip}" + (f" through {feed.diode}" if feed.diode is not None else "")


def _through_diode(nets: Nets, rails: dict[str, Rail], net: str) -> Feed | None:
    """A diode from a node on which lie a coil and a chip's pin."""
    for ref, number in nets.pins_on[net]:
        part = nets.parts[ref]
        if part.kind != "diode" or part.not_fitted or part.mixed or len(part.pins) != 2:
            continue
        other = partner_pin(part, number, net)
        node = part.pins[other].net if other is not None else None
        if node is None or node == net or not _may_switch(nets, rails, node):
            continue
        on_node = [(nets.parts[one], pin) for one, pin in nets.pins_on[node] if one != ref]
        coil = next((one.ref for one, _ in on_node if one.kind == "coil" and not one.not_fitted), None)
        chip = next(((one.ref, pin) for one, pin in on_node if one.kind in ("chip", "transistor")), None)
        if coil is not None and chip is not None:
            return Feed(diode=ref, coil=coil, chip=chip[0], pin=chip[1], net=nets.shown[node])
    return None


def _by_chip(nets: Nets, rails: dict[str, Rail], net: str, socket: str) -> Feed | None:
    """A chip with one coil, or with capacitors it swings, and a pin of its own on this net, which holds a charge."""
    if not _held(nets, rails, net):
        return None
    for part, number in _fitted(nets, net):
        if part.kind != "chip" or part.ref == socket or len(part.pins) > CONVERTER_PINS:
            continue
        coils = list(_coils(nets, rails, part))
        if len({swing.part.ref for swing in coils}) > 1:
            continue
        for swing in coils or list(_pumped(nets, part)):
            own = net in (swing.net, swing.from_net) or net in swing.part.nets()
            if not own and _steps_up(nets, rails, part, net, swing, socket):
                coil, capacitor = (None, swing.part.ref) if swing.from_net is None else (swing.part.ref, None)
                return Feed(coil=coil, capacitor=capacitor, chip=part.ref, pin=swing.pin, net=nets.shown[swing.net],
                            out_pin=number)
    return None


def _coils(nets: Nets, rails: dict[str, Rail], chip: BoardPart) -> Iterator[_Swing]:
    """The chip's nodes with a coil to another rail, where nothing but the chip itself switches."""
    for pin in chip.pins.values():
        if pin.net is None or not _may_switch(nets, rails, pin.net):
            continue
        on_node = list(_fitted(nets, pin.net))
        # with a diode there, the chip does not rectify by itself; with another chip or transistor, it only drives
        if any(part.kind in ("chip", "transistor", "diode") and part.ref != chip.ref for part, _ in on_node):
            continue
        for part, number in on_node:
            far = _across(part, number, pin.net) if part.kind == "coil" else None
            if far is not None and not _is_ground(rails, far):
                yield _Swing(pin.number, pin.net, part, far)


def _pumped(nets: Nets, chip: BoardPart) -> Iterator[_Swing]:
    """Capacitors that lie between two of the chip's own pins and are alone there."""
    for pin in chip.pins.values():
        for part, number in _fitted(nets, pin.net) if pin.net is not None and _alone(nets, pin.net) else ():
            far = _across(part, number, pin.net or "") if part.kind == "capacitor" else None
            if far is not None and _alone(nets, far) and far in chip.nets():
                yield _Swing(pin.number, pin.net or "", part, None)


def _may_switch(nets: Nets, rails: dict[str, Rail], net: str) -> bool:
    """Whether a net could be a switch node: small, no rail, and without a capacitor that would hold it still."""
    return net not in rails and len(nets.pins_on[net]) <= NODE_PINS and not _held(nets, rails, net)


def _held(nets: Nets, rails: dict[str, Rail], net: str) -> bool:
    """Whether a capacitor lies between the net and ground."""
    fars = (_across(part, number, net) for part, number in _fitted(nets, net) if part.kind == "capacitor")
    return any(far is not None and _is_ground(rails, far) for far in fars)


def _across(part: BoardPart, number: str, net: str) -> str | None:
    other = partner_pin(part, number, net)
    return part.pins[other].net if other is not None else None


def _alone(nets: Nets, net: str) -> bool:
    """Whether a net joins two pins and nothing else but places to touch."""
    return sum(nets.parts[ref].kind != "test_point" for ref, _ in nets.pins_on[net]) == 2


def _steps_up(
    nets: Nets, rails: dict[str, Rail], chip: BoardPart, net: str, swing: _Swing, socket: str
) -> bool:
    """Whether the chip makes `net` of the other rail and not the other way round."""
    lower = swing.from_net
    speaks = _by_pins(chip, net, lower) + _by_divider(nets, rails, chip, net, lower) + _by_volts(net, lower)
    if speaks != 0:
        return speaks > 0
    fed_else = _may_be_fed(nets, net, {chip.ref, socket, swing.part.ref})
    lower_fed = lower is None or _may_be_fed(nets, lower, {chip.ref, swing.part.ref})
    return not fed_else and lower_fed and not is_fed_from_outside(socket)


def _by_pins(chip: BoardPart, net: str, lower: str | None) -> int:
    """2 where the chip's pin here is named as an output, -2 where it or the net is named as an input."""
    here = [pin.function for pin in chip.pins.values() if pin.net == net]
    there = [pin.function for pin in chip.pins.values() if lower is not None and pin.net == lower]
    if any(_OUT.fullmatch(name) for name in here):
        return 2
    taken_in = any(_IN.fullmatch(name) for name in here) or _NET_IN.search(plain_name(net)) is not None
    return -2 if taken_in or any(_OUT.fullmatch(name) for name in there) else 0


def _by_divider(nets: Nets, rails: dict[str, Rail], chip: BoardPart, net: str, lower: str | None) -> int:
    """1 where two resistors bring a part of this net to a pin of the chip, -1 where they do of the other."""
    measured = {far for pin in chip.pins.values() for far in _divided(nets, rails, pin)}
    return (net in measured) - (lower in measured)


def _divided(nets: Nets, rails: dict[str, Rail], pin: BoardPin) -> list[str]:
    """The nets of which a divider brings a part to this pin; not one that only switches the chip on."""
    if pin.net is None or pin.net in rails or len(nets.pins_on[pin.net]) > NODE_PINS:
        return []
    if _SWITCHED_ON.search(pin.function) or _SWITCHED_ON.search(plain_name(pin.net)):
        return []
    fars: list[str] = []
    for part, number in _fitted(nets, pin.net):
        far = _across(part, number, pin.net) if part.kind in ("resistor", "array") else None
        if far is not None:
            fars.append(far)
    down = any(_is_ground(rails, far) for far in fars)
    return [far for far in fars if not _is_ground(rails, far)] if down else []


def _by_volts(net: str, lower: str | None) -> int:
    here, there = volts_in(net), volts_in(lower) if lower is not None else None
    if here is None or there is None or here == there:
        return 0
    return 2 if here > there else -2


def _may_be_fed(nets: Nets, net: str, without: set[str]) -> bool:
    """Whether a part that could bring power is on the net: not a capacitor, a clamp, or a large resistor."""
    for part, _ in _fitted(nets, net):
        if part.ref in without:
            continue
        # a resistor whose value nobody tells may be one that feeds
        feeds = part.kind in ("resistor", "array") and (ohms_in(part.value) or 0.0) <= FEEDS_OHM
        if part.kind in _SUPPLIES or feeds:
            return True
    return False


def _fitted(nets: Nets, net: str) -> Iterator[tuple[BoardPart, str]]:
    for ref, number in nets.pins_on[net]:
        part = nets.parts[ref]
        if not part.not_fitted and not part.mixed:
            yield part, number


def _is_ground(rails: dict[str, Rail], net: str) -> bool:
    rail = rails.get(net)
    return rail is not None and rail.why == "ground"
