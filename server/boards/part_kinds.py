"""What kind of part it is: by its footprint, its value and its pins, and by its name only where these say nothing.

A crystal called Q1 and a bead called L4 are common, so the letters come last. Words are those of the trade and
of open footprint libraries; common practice, no source.
"""

import re
from typing import Literal

from shared_models.board import PartKind
from shared_models.tables import PART_LETTERS

BoardKind = Literal[
    "connector", "test_point", "resistor", "array", "capacitor", "ferrite", "coil", "choke", "fuse", "diode", "led",
    "clamp", "chip", "transistor", "crystal", "switch", "jumper", "hole", "other",
]

PART_KIND: dict[BoardKind, PartKind] = {
    "resistor": "resistor", "array": "resistor", "capacitor": "capacitor", "ferrite": "ferrite", "coil": "coil",
    "choke": "coil", "fuse": "fuse", "diode": "diode", "led": "diode", "clamp": "esd_array", "chip": "chip",
    "switch": "switch",
}
"""The kinds a BoardVersion knows; all else is "other"."""

JUMPER_PINS = 4
CHIP_PINS = 5
"""From this many pins on, a part nobody said anything of is a chip."""

_WORDS: tuple[tuple[BoardKind, str], ...] = (
    ("hole", r"mounting.?hole|fiducial|logo|npth|standoff"),
    ("test_point", r"test.?(?:point|pad)"),
    ("jumper", r"jumper|net.?tie|[_:-]sj\d?$"),
    ("crystal", r"crystal|oscillator|xtal|resonator|[_-]osc\b"),
    ("clamp", r"\besd|tvs|clamp"),
    ("led", r"\bled[_\d:s-]|^led"),
    ("fuse", r"fuse"),
    ("choke", r"choke|common.?mode"),
    ("ferrite", r"ferrite|bead"),
    ("switch", r"\bswitch|button|sw_"),
    ("connector", r"conn(?:ector)?s?[_:.-]|connector|header|socket|receptacle|\bfpc|\bffc|zif|edge\b|jack|terminal"
                  r"|battery"
                  r"|usb[_-]?[abc]|hdmi|sim[_-]?card|card|molex|\bjst|tag-connect|dimm|plug"),
    ("coil", r"induct|coil"),
    ("array", r"r_(?:array|matrix|pack|cat)|resistor.?(?:array|network)"),
    ("capacitor", r"capacitor|\bcp?_(?:elec|disc|axial|radial|\d{4})|\d{4}_c$|:c_"),
    ("resistor", r"resistor|\br_(?:axial|\d{4})|\d{4}_r$|:r_"),
    ("diode", r"diode|\bd_(?:do|so|sm)|\bsma\b|\bsmb\b|do-?\d{2,3}"),
    ("transistor", r"transistor"),
    ("chip", r"bga|qfn|qfp|tssop|ssop|soic|vssop|dfn|lga|dip-\d"),
)
_Patterns = tuple[tuple[BoardKind, re.Pattern[str]], ...]
_BY_FOOTPRINT: _Patterns = tuple((kind, re.compile(pattern, re.IGNORECASE)) for kind, pattern in _WORDS)
_BY_VALUE: _Patterns = (
    ("crystal", re.compile(r"(?:.*[\s_])?\d+(?:[.,]\d+)?\s?[kM]Hz.*")),
    ("ferrite", re.compile(r"(?:FB|bead|ferrite).*|\d+(?:\.\d+)?(?:R|ohm|Ω)?\s?@\s?\d+\s?MHz.*", re.IGNORECASE)),
    ("coil", re.compile(r"(?:.*\()?\d+(?:[.,]\d+)?\s?[nuµμm]H\b.*")),
    ("clamp", re.compile(r".*(?:ESD|TVS|CLAMP)\S*.*", re.IGNORECASE)),
    ("led", re.compile(r"LED\b.*|.*[-_]LED|(?:red|green|yellow|blue|white|amber)", re.IGNORECASE)),
    ("capacitor", re.compile(r"\d+(?:[.,]\d+)?\s?[pnuµμ]F?(?:[/\s,(_-].*)?")),
    ("resistor", re.compile(r"\d+(?:[.,]\d+)?\s?(?:m?R|[kKM]|ohm|Ω)\d*(?:[/\s,(_-].*|\d*%.*)?")),
)
_HOLE = re.compile(r"mounting|hole|standoff|fiducial|logo", re.IGNORECASE)
_PACKAGE = re.compile(r"dip-\d|bga|qfn|qfp|sop|soic|dfn|lga", re.IGNORECASE)
_LETTERS: dict[str, BoardKind] = {
    "TP": "test_point", "T": "transistor", "Q": "transistor", "FET": "transistor", "Y": "crystal", "X": "connector",
    "J": "connector", "P": "connector", "CN": "connector", "CON": "connector", "JP": "jumper", "SJ": "jumper",
    "H": "hole", "LED": "led", "RM": "array", "RA": "array", "RP": "array", "RN": "array", "CM": "choke",
    "CHOKE": "choke", "HOLE": "hole", "FUSE": "fuse",
    "USB": "connector", "HDMI": "connector", "BATTERY": "connector", "BATCON": "connector", "EDP": "connector",
    "MODULE": "connector", "SPK": "connector", "MIC": "connector", "VR": "chip", "CR": "diode", "CPU": "chip",
}
_TOLD_BY_TABLE: dict[PartKind, BoardKind] = {
    "esd_array": "clamp", "resistor": "resistor", "capacitor": "capacitor", "fuse": "fuse", "ferrite": "ferrite",
    "coil": "coil", "diode": "diode", "switch": "switch", "chip": "chip",
}


_NOT_OHMS = re.compile(r"\d+(?:[.,]\d+)?\s*(?:[pnuµμ]|m?[FH]|[kMG]?Hz)|.*@")


def kind_of(ref: str, value: str, footprint: str, pins: int) -> BoardKind:
    """The kind of a part with so many pins; "other" where nothing speaks for one."""
    library, _, name = footprint.rpartition(":")
    told = _said(name, _BY_FOOTPRINT) or _said(library, _BY_FOOTPRINT)
    by_value = _whole(value.strip())
    by_name = _by_letters(ref)
    if pins <= 1:
        bare = by_name == "hole" or told == "hole" or _HOLE.search(value)
        return "hole" if bare and told != "test_point" else "test_point"
    if told == "hole":
        told = "connector"  # one with mounting holes
    if told in ("test_point", "jumper", "crystal", "fuse", "switch"):
        return told
    # a footprint of a chip or a connector is sure, one of a two-pin part may carry another
    if told == "connector" and by_name == "chip" and _PACKAGE.search(name):
        return "chip"
    if told == "connector" and pins > 2:
        return "connector"
    if by_name == "jumper" and pins > JUMPER_PINS:
        return "connector"
    if by_name == "diode" and 2 < pins <= 10 and told not in ("led", "chip"):
        return "clamp"
    kind = _of_few_pins(told, by_value, by_name) if pins <= 4 else told
    if kind in (None, "resistor", "coil", "ferrite", "capacitor", "transistor", "other") and pins > 4:
        kind = _of_many_pins(by_value, by_name, pins)
    if kind == "resistor" and pins >= 4 and pins % 2 == 0:
        return "array"
    if kind in ("coil", "ferrite") and pins == 4:
        return "choke"
    return kind or "other"


def _of_few_pins(told: BoardKind | None, by_value: BoardKind | None, by_name: BoardKind | None) -> BoardKind | None:
    if by_value in ("crystal", "ferrite", "clamp", "led") or (by_value is not None and by_value == by_name):
        return by_value
    if told == "coil" and by_name == "ferrite":
        return "ferrite"
    if told in ("resistor", "capacitor") and by_value == "coil":
        return "coil"  # an inductor on a resistor's pads
    return told or by_value or by_name


def _of_many_pins(by_value: BoardKind | None, by_name: BoardKind | None, pins: int) -> BoardKind:
    if by_value in ("clamp", "crystal"):
        return by_value
    if by_name in ("resistor", "array", "capacitor"):
        return "array" if by_name != "capacitor" else "other"
    if by_name in ("connector", "choke", "jumper", "switch", "clamp"):
        return by_name
    return "chip" if pins >= CHIP_PINS else "other"


def _said(text: str, patterns: _Patterns) -> BoardKind | None:
    return next((kind for kind, pattern in patterns if pattern.search(text)), None)


def _whole(text: str) -> BoardKind | None:
    return next((kind for kind, pattern in _BY_VALUE if pattern.fullmatch(text)), None)


def _by_letters(ref: str) -> BoardKind | None:
    letters = re.match(r"[A-Z]*", ref.upper())
    told = letters[0] if letters is not None else ""
    if told in _LETTERS:
        return _LETTERS[told]
    return next((_TOLD_BY_TABLE.get(row.kind) for row in PART_LETTERS if row.letters == told), None)


def ohms_in(value: str) -> float | None:
    """The resistance a value speaks of, in ohms: 33R, 4k7, 0R, 5,1K, 100R/1%, 0.01; None where it names none."""
    text = value.strip()
    text = re.sub(r"^\(?\s*n\.?a\.?\s*[()]*", "", text, flags=re.IGNORECASE)
    found = re.match(r"(\d+)(?:[.,](\d+))?\s*(mR|mΩ|mohm|m(?![a-zA-Z])|R|k|K|M|ohm|Ω)?(\d+)?", text)
    if found is None or _NOT_OHMS.match(text):
        return None
    scale = {"m": 1e-3, "mR": 1e-3, "mΩ": 1e-3, "mohm": 1e-3, "k": 1e3, "K": 1e3, "M": 1e6}.get(found[3] or "R", 1.0)
    digits = found[2] or (found[4] if found[3] and "%" not in text[found.end(3) : found.end(4) + 1] else "") or "0"
    return float(f"{found[1]}.{digits}") * scale
