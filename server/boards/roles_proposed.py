"""What a contact of a board file is probably for, and why: proposals a person goes through, never more.

Decides from the net, the parts on the way and the names of net and pin, in this order: what the copper says
(ground, nothing on the net, a boost, a capacitor in line) goes before what a name says. Working voltages come
from names alone. Common practice, no source.
"""

import re
from typing import NamedTuple

from server.boards.feeds import feed_words, is_fed_from_outside
from server.boards.nets import BoardPin, Nets, plain_name
from server.boards.rails import is_rail_name, volts_in
from server.boards.socket_kinds import socket_kind
from server.boards.trace import Traced, Tracer
from server.engine.pin_roles import role_from_name
from shared_models.base import ContactNumber
from shared_models.board import Role, Side, SocketKind
from shared_models.tables import ROLE_BY_ID

LED_FEED_FROM_V = 8.0
"""A boost that makes more than this beside a display feeds its light; less than this feeds logic."""

_LIGHT = re.compile(r"BL|BACK_?LIGHT|BKLT|V?LED", re.IGNORECASE)
_AUX = re.compile(r"AUX", re.IGNORECASE)
_SPOKEN: tuple[tuple[Role, str], ...] = (
    ("hot_plug_detect", r"HPD|HP_DET|HOT_?PLUG\w*"),
    ("pwm", r"\w*PWM|PWM\w*|BRIGHTNESS|DIM"),
    ("bus", r"SCL|SDA|I2C\w*|SMB\w*|DDC\w*|SCK|MOSI|MISO|SCLK|SPI\w*|CMD|DAT\d|SD_?(?:CLK|CMD|D(?:AT)?\d)\w*"),
    (
        "control", r"\w*EN|ENABLE|RST|~?RESET\w*|INT|IRQ|\w*DET\w*|CEC|GPIO\w*|TE|ON|\w*_ON|CS\w*|TXD?|RXD?|RTS|CTS"
        r"|CC\d?|SBU\d|SELF_TEST|WAKE\w*",
    ),
)
_WORDS: tuple[tuple[Role, re.Pattern[str]], ...] = tuple(
    (role, re.compile(rf"(?:^|[_\-./ \d])(?:{spoken})(?:[_\-./ \d#]|$)", re.IGNORECASE)) for role, spoken in _SPOKEN
)
_USB = re.compile(r".*USB.*|D_?[+\-PMN]\d?", re.IGNORECASE)
_PAIR_END = re.compile(
    r"(?P<stem>.*?)(?P<half>\+|-|[PNM]|_[PNM]|D[PNM])(?P<tail>\d*\)?|_(?:CON|R|C|IN|OUT|L))$", re.IGNORECASE
)
_HALVES = {"P": "+", "+": "+", "N": "-", "M": "-", "-": "-"}
_RAIL_ROLES: tuple[tuple[float, float, Role], ...] = (
    (0.0, 1.15, "core_rail"), (1.15, 1.55, "memory_rail"), (1.55, 2.6, "io_rail"), (2.6, 4.0, "panel_supply"),
    (4.0, 5.6, "rail_5v"), (5.6, 61.0, "main_rail"),
)


class Proposal(NamedTuple):
    """What is proposed of one contact. `why` says what it rests on."""

    role: Role
    why: str
    working_v: float | None = None
    sourced_by: Side | None = None
    pair_with: ContactNumber | None = None


def proposals(tracer: Tracer, socket: str, pins: list[BoardPin], traced: dict[str, Traced],
              beside: dict[str, tuple[str, ...]]) -> dict[str, Proposal]:
    """A proposal for each pin of the socket; `traced` by net, `beside` the contacts next to each."""
    pairs = _pairs(tracer.nets, pins, beside)
    kind = socket_kind(tracer.nets.parts[socket])
    found = {
        pin.number: _proposal(tracer, socket, pin, traced.get(pin.net or ""), pairs.get(pin.number)) for pin in pins
    }
    for number, told in found.items():
        # half a pair is none: both halves, or neither, keep the other's name
        pair = told.pair_with if told.pair_with is not None and found[told.pair_with].pair_with == number else None
        found[number] = told._replace(pair_with=pair, sourced_by=_source(told.sourced_by, told.role, socket, kind))
    return found


def _source(side: Side | None, role: Role, socket: str, kind: SocketKind) -> Side | None:
    """Which side feeds a rail's contact: a battery's plug does, on USB-C either may."""
    if role == "ground" or side != "board" or not ROLE_BY_ID[role].is_rail:
        return side
    if is_fed_from_outside(socket):
        return "module"
    return "both" if kind == "usb_c" else side


def _proposal(tracer: Tracer, socket: str, pin: BoardPin, traced: Traced | None, pair: str | None) -> Proposal:
    if pin.net is None or traced is None or not _others(tracer.nets, socket, pin.net):
        return Proposal("unconnected", "no other part is on its net", sourced_by="neither")
    name = tracer.nets.shown[pin.net]
    rail = tracer.rails.get(pin.net)
    if rail is not None and rail.why == "ground":
        return Proposal("ground", f"{name}: {rail.words}", 0.0, "neither")
    if rail is not None or traced.feed is not None:
        return _rail(name, pin, traced, rail.words if rail is not None else f"{traced.feed.chip} feeds it")  # type: ignore[union-attr]
    if (traced.to_rail is not None and traced.to_rail.why == "ground") or _only_pulls(traced):
        return Proposal("strap", _strap_words(traced, tracer.nets))
    if traced.to_rail is not None:
        far = tracer.nets.shown[traced.to_rail.net]
        return _rail(name, pin, traced, f"{traced.hops[-1].part.ref} joins it to {far}")
    spoken = f"{plain_name(pin.net)} {pin.function}"
    if any(hop.blocks_dc() for hop in traced.hops):
        role: Role = "aux_coupled" if _AUX.search(spoken) else "lane_coupled"
        cap = next(hop.part.ref for hop in traced.hops if hop.blocks_dc())
        return Proposal(role, f"{cap} is a capacitor in line", pair_with=pair)
    return _signal(pin, traced, tracer, pair)


def _others(nets: Nets, socket: str, net: str) -> bool:
    """Whether a part but the socket itself is on the net; one that is not fitted counts as none."""
    return any(ref != socket and not nets.parts[ref].not_fitted for ref, _ in nets.pins_on[net])


def _rail(name: str, pin: BoardPin, traced: Traced, words: str) -> Proposal:
    """A rail's contact: by what feeds it, then by its name, then by its voltage."""
    far = plain_name(traced.stops[-1].net)
    volts = volts_in(name)
    if volts is None:
        volts = volts_in(far)
    spoken: list[Role | None] = [role_from_name(one) for one in (name, pin.function, far)]
    named: list[Role] = []
    for role in spoken:
        if role is not None and ROLE_BY_ID[role].is_rail:
            named.append(role)
    if traced.feed is not None:
        words = f"fed by a boost, {feed_words(traced.feed)}"
        # without volts in its name a boost beside a display is its light's, unless the name is another rail's
        lights = not named or named[0] == "led_plus" if volts is None else volts >= LED_FEED_FROM_V
        if lights:
            return Proposal("led_plus", f"{name}: {words}", volts, "board")
    if _LIGHT.search(f"{name} {pin.function}") and not named:
        return Proposal("led_plus", f"{name}: a supply of the light by its name, {words}", volts, "board")
    by_volts = _by_volts(volts)
    roles: list[Role] = named if by_volts is None else [by_volts]
    if roles:
        return Proposal(roles[0], f"{name}: {words}", volts, "board")
    return Proposal("panel_supply", f"{name}: {words}; no voltage in its name", None, "board")


def _by_volts(volts: float | None) -> Role | None:
    return next((role for low, high, role in _RAIL_ROLES if volts is not None and low <= volts < high), None)


def _only_pulls(traced: Traced) -> bool:
    """Nothing on the line but resistors to rails: an identity or a thermistor's divider."""
    first = traced.stops[0]
    return len(traced.stops) == 1 and not first.ends and not first.hops and any(off.what == "pull" for off in first.off)


def _strap_words(traced: Traced, nets: Nets) -> str:
    pulls = [off for off in traced.stops[0].off if off.what == "pull"]
    if not pulls:
        return f"it leads to {nets.shown[traced.stops[-1].net]} alone"
    to = [f"{off.part.ref} to {nets.shown.get(off.to_net or '', 'ground')}" for off in pulls]
    return f"{' and '.join(to)}, no chip"


def _signal(pin: BoardPin, traced: Traced, tracer: Tracer, pair: str | None) -> Proposal:
    net = plain_name(pin.net or "")
    ends = [end for stop in traced.stops for end in stop.ends]
    # another socket of the same line stands nearer than the chip, and says less
    chips = [end for end in ends if end[0].kind in ("chip", "transistor")]
    end = next((f"{part.ref}.{number}" for part, number in chips or ends), "no chip")
    volts = volts_in(net) if not is_rail_name(net) else None
    for one in (net, pin.function):
        if pair is not None and (_USB.fullmatch(one) or role_from_name(one) == "usb_pair"):
            return Proposal("usb_pair", f"{one}: half of a USB pair, to {end}", volts, "both", pair)
    for one in (net, pin.function):
        role = role_from_name(one) or _by_words(one)
        if role in ("lane_coupled", "aux_coupled"):
            role = "lane"  # a name says what runs on it; that there is no capacitor, the copper does
        if role == "control" and pair is not None:
            continue  # TX and RX stand in the names of lanes too
        if role is not None and not ROLE_BY_ID[role].is_rail and role not in ("ground", "unconnected"):
            return Proposal(role, f"{one}, to {end}", volts, "module" if role == "hot_plug_detect" else None, pair)
    if pair is not None:
        return Proposal("lane", f"{net}: half of a pair, straight to {end}", volts, "both", pair)
    if end == "no chip":
        return Proposal("unknown", "it leads to no chip", volts)
    return Proposal("control", f"a line to {end}; no name says more", volts)


def _by_words(text: str) -> Role | None:
    return next((role for role, words in _WORDS if words.search(text)), None)


def _pairs(nets: Nets, pins: list[BoardPin], beside: dict[str, tuple[str, ...]]) -> dict[str, str]:
    """Contacts whose nets, else whose functions, differ in P and N, or + and -, alone.

    Where each half has several contacts (both ways to plug a USB-C), those of one row letter or side by side belong
    together.
    """
    found: dict[str, str] = {}
    for name_of in (lambda pin: nets.shown.get(pin.net or "", ""), lambda pin: pin.function):
        halves: dict[tuple[str, str], dict[str, list[str]]] = {}
        for pin in pins:
            match = _PAIR_END.fullmatch(plain_name(name_of(pin))) if pin.number not in found else None
            if match is not None:
                sign = _HALVES[match["half"][-1].upper()]
                of_pair = halves.setdefault((match["stem"].rstrip("_"), match["tail"]), {})
                of_pair.setdefault(sign, []).append(pin.number)
        for of in halves.values():
            for one in of.get("+", ()):
                free = [number for number in of.get("-", ()) if number not in found]
                other = _other_half(one, free, len(of["+"]), beside)
                if other is not None:
                    found[one], found[other] = other, one
    return found


def _other_half(one: str, free: list[str], several: int, beside: dict[str, tuple[str, ...]]) -> str | None:
    if several == 1 and len(free) == 1:
        return free[0]
    lettered = [other for other in free if one[0].isalpha() and other[0] == one[0]]
    return next(iter(lettered or [other for other in free if other in beside.get(one, ())]), None)
