"""Which nets are rails or ground, and which voltage a name speaks of.

A rail is a net that feeds or returns: tracing ends there and never goes through, since everything hangs on it.
Decides by size, by name, and by the capacitors between the net and ground. Common practice, no source.
"""

import re
from typing import Literal, NamedTuple

from server.boards.nets import Nets, plain_name

MANY_PINS = 25
"""A net of more pins than this feeds or returns."""

RailWhy = Literal["ground", "name", "size", "capacitors"]

_GROUND = re.compile(
    r"(?:[A-Z0-9]*[_-])?[ADPC]?(?:GND[A-Z0-9]*|VSS[A-Z0-9]*|GROUND|EARTH|SHIELD|CHASSIS)(?:[_-].*)?", re.IGNORECASE
)
# 3V3, +5V_USB, 1.8V, VDD18, VBAT, VIN, LCD_VCC, V1P35: a supply's name, not a signal that ends in _3V3
_VOLTS = r"\d+V\d*|\d+[.P_]\d+V|V\d+[P_]\d+|V?\d+V\d+"
_RAIL = re.compile(
    rf"[+-]?[AD]?(?:{_VOLTS}|\d+\.\d+)(?:[_-]?[A-Z0-9]+){{0,3}}|[A-Z]{{2,5}}\d+V\d*|(?:[A-Z0-9]+[_-]){{0,2}}\+?(?:{_VOLTS})"
    r"|\+?(?:[A-Z0-9]+[_-]){0,3}\+?(?:A|D|P)?V(?:CC|DD|EE|BUS|BAT|SYS|IN|OUT|IO|LED|CORE|PP)[A-Z0-9]*(?:[_-][A-Z0-9.]+){0,3}"
    r"|(?:[A-Z0-9]{2,}[_-])?(?:PWR|POWER|IPS(?:OUT)?|DCIN|BATT?)(?:[_-]?(?:\d|IN|OUT|AUX|LCD))?",
    re.IGNORECASE,
)
_SIGNAL = re.compile(
    r"(?:SPI|I2C|UART|GPIO|MOSI|MISO|SCLK|SCL|SDA|RST|RESET|EN|INT|IRQ|CS\d?|TXD?|RXD?|RTS|CTS|PWM|CLK|DET|ID"
    r"|SENSE|FB|P?W?R?GO?O?D|PWG|PG|FAULT|STAT|ALERT|ON|OE|OK|WAKE|GATE|TACH|COMP|RTNG?|CTRL|[A-Z]*ENB?|ENABLE)"
    r"(?=[_\-\d]|$)", re.IGNORECASE,
)
_IN_NAME = re.compile(
    r"(?<![A-Z0-9.])(?:[A-Z]{1,5})?\+?(?:(\d{1,2})V(\d{1,2})?|(\d{1,2})[.P_](\d{1,2})V|V?(\d)[P](\d{1,2}))"
    r"(?![A-Z0-9]*V\d)(?![0-9])", re.IGNORECASE,
)
LARGEST_V = 60.0
LONGEST_RAIL_NAME = 40


class Rail(NamedTuple):
    """A net that tracing ends at, and why it is one."""

    net: str
    why: RailWhy
    words: str


def rails_of(nets: Nets) -> dict[str, Rail]:
    """The rails and grounds of a board by net. Ground comes first, since capacitors are counted against it."""
    grounds = {net for net in nets.pins_on if is_ground_name(plain_name(net))}
    found = {net: Rail(net, "ground", "ground by its name") for net in grounds}
    for net, pins in nets.pins_on.items():
        if net in found:
            continue
        name = plain_name(net)
        capacitors, others = _capacitors(nets, net, grounds)
        if len(pins) > MANY_PINS:
            found[net] = Rail(net, "size", f"{len(pins)} pins are on it")
        elif is_rail_name(name):
            found[net] = Rail(net, "name", "a rail by its name")
        elif capacitors >= 2 and capacitors > others:
            of = capacitors + others
            found[net] = Rail(net, "capacitors", f"{capacitors} of its {of} parts are capacitors to ground")
    return found


def is_ground_name(name: str) -> bool:
    """Whether a net's or a pin's name is one of ground."""
    named = len(name) <= LONGEST_RAIL_NAME and _GROUND.fullmatch(name) is not None
    return named and _SIGNAL.search(name) is None and volts_in(name) is None


def is_rail_name(name: str) -> bool:
    """Whether a net's name is one of a supply: 3V3, +5V_USB, VBAT; not SPI_MOSI_3V3."""
    return len(name) <= LONGEST_RAIL_NAME and _RAIL.fullmatch(name) is not None and _SIGNAL.search(name) is None


def volts_in(name: str) -> float | None:
    """The voltage a name speaks of, in volts: 3V3, +5V, VDC18V, D5_0V_HDMI, V1P35; None where it names none."""
    found = _IN_NAME.search(plain_name(name).replace("-", "_").replace("/", "_"))
    if found is None:
        return None
    whole, part = next((a, b) for a, b in zip(found.groups()[::2], found.groups()[1::2], strict=True) if a is not None)
    volts = float(f"{whole}.{part or 0}")
    return volts if 0 < volts <= LARGEST_V else None


def _capacitors(nets: Nets, net: str, grounds: set[str]) -> tuple[int, int]:
    """(parts on the net that are capacitors to ground, other parts); places to touch count as neither."""
    capacitors = others = 0
    for ref in dict.fromkeys(ref for ref, _ in nets.pins_on[net]):
        part = nets.parts[ref]
        if part.kind in ("test_point", "hole"):
            continue
        if part.kind == "capacitor" and any(other in grounds for other in part.nets()):
            capacitors += 1
        else:
            others += 1
    return capacitors, others
