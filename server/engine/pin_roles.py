"""What a contact is probably for, by its name: a proposal a person confirms, never more.

Names are those of published connector tables (camera and display FPC, HDMI, USB-C) and of common
practice, no source. A name that could mean two things is in no row.
"""

import re

from shared_models.board import Role

_PREFIX = r"(?:[A-Z0-9]+[_.])*"
_HALF = r"(?:_?[PN]|[+-])"
_PATTERNS: tuple[tuple[Role, str], ...] = (
    ("ground", rf"{_PREFIX}[ADP]?GND\d*|VSS[A-Z]?|.*[ _/]?GROUND|.*[ _]?SHIELD|SHLD"),
    ("unconnected", r"NC|N/C|N\.C\.?|DNC|RSVD|RESERVED|NOTCONNECTED"),
    ("rail_5v", rf"{_PREFIX}(?:VBUS|\+?5V0?|\+?5\.0V|VCC5)"),
    ("panel_supply", rf"{_PREFIX}(?:V(?:CC|DD))?_?(?:\+?3V3|\+?3\.3V)"),
    ("io_rail", rf"{_PREFIX}(?:V(?:CC|DD))?_?(?:\+?1V8|\+?1\.8V)|VDDIO|IOVCC|VIO"),
    ("main_rail", rf"{_PREFIX}(?:VBAT|VSYS|VIN|\+?12V0?|\+?19V|\+?20V)"),
    ("usb_pair", r"(?:USB_?)?D(?:[+-]|P|M)|USB_?DN"),
    ("lane", rf"(?:[A-Z]+_)*(?:D\d|CK|CLK|CLK\d|CK\d){_HALF}"),
    ("lane_coupled", rf"(?:[A-Z]+_)*TX\d{_HALF}"),
    ("aux_coupled", rf"(?:[A-Z]+_)*AUX{_HALF}"),
    ("bus", rf"{_PREFIX}(?:SCL|SDA)\d?"),
    ("hot_plug_detect", rf"{_PREFIX}HPD"),
    ("pwm", rf"{_PREFIX}PWM"),
    ("led_plus", r"LED\+|LED_?A|VLED\+?"),
    ("led_minus", r"LED\d?-|LED_?K\d?"),
    ("control", rf"{_PREFIX}(?:RST|RESET|EN|TE|INT|IRQ|CEC|IO\d+|GPIO\d+|CE\d|CC\d)[#N]?"),
    ("strap", rf"{_PREFIX}(?:NTC|STRAP|ID)"),
)
_ROLES: tuple[tuple[Role, re.Pattern[str]], ...] = tuple((role, re.compile(pattern)) for role, pattern in _PATTERNS)


def role_from_name(name: str) -> Role | None:
    """The role a name speaks for; None where it speaks for none."""
    plain = " ".join(name.upper().split())
    for text in (plain, plain.replace(" ", "")):
        for role, pattern in _ROLES:
            if pattern.fullmatch(text):
                return role
    return None
