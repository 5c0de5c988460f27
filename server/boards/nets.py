"""A board's parts and nets, joined: what is one piece of copper is one net, and one part stands once.

Decides: that pads of one number are one pin, that net ties and closed jumpers join their nets, that a name
which stands twice is one part where its pins agree and two where they do not, and what a net is called.
Leaves to others: what kind of part it is (`part_kinds`) and which nets are rails (`rails`).
"""

import re
from collections import Counter, defaultdict
from collections.abc import Iterable
from typing import NamedTuple

from server.boards.board_file import BoardFile, BoardSide, FilePad, FilePart
from server.boards.part_kinds import BoardKind, kind_of

_NO_NAME = re.compile(r".*\*.*")
_DIGITS = re.compile(r"(\d+)")
CUT_REF = 6
"""Letters that IPC-D-356 leaves of a part's name."""


class BoardPin(NamedTuple):
    """A pin of a part: its net (None: on none), what it is for, and each pad that is this pin."""

    number: str
    net: str | None
    function: str
    pads: tuple[FilePad, ...]


class BoardPart(NamedTuple):
    """A part once. `mixed`: its name stands for several parts, so nothing is traced through it."""

    ref: str
    value: str
    footprint: str
    side: BoardSide | None
    not_fitted: str
    kind: BoardKind
    pins: dict[str, BoardPin]
    mixed: bool = False

    def nets(self) -> list[str]:
        """The nets its pins are on, each once."""
        return list(dict.fromkeys(pin.net for pin in self.pins.values() if pin.net is not None))


class Nets(NamedTuple):
    """The board as tracing needs it: parts by name, and each net's pins in their natural order.

    `shown[net]`: the last part of a net's path where that names one net only, else the whole name.
    """

    parts: dict[str, BoardPart]
    pins_on: dict[str, tuple[tuple[str, str], ...]]
    shown: dict[str, str]
    notes: tuple[str, ...]


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """A key that sorts A2 before A10."""
    return tuple(
        (0, int(piece), "") if piece.isdigit() and len(piece) < 18 else (1, 0, piece)
        for piece in _DIGITS.split(text) if piece
    )


def nets_of(board: BoardFile) -> Nets:
    """Joins a board file's parts and nets."""
    whole = _joined_names(board.parts)
    notes: list[str] = []
    parts = {ref: _part(ref, of, whole, board, notes) for ref, of in _by_name(board.parts).items()}
    pins_on: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for part in parts.values():
        for pin in part.pins.values():
            if pin.net is not None:
                pins_on[pin.net].append((part.ref, pin.number))
    ordered = {
        net: tuple(sorted(of, key=lambda pin: (natural(pin[0]), natural(pin[1])))) for net, of in pins_on.items()
    }
    return Nets(parts, ordered, _shown(ordered), tuple(notes))


def _by_name(parts: Iterable[FilePart]) -> dict[str, list[FilePart]]:
    """Parts of one name together; a part whose name is none gets one of its own."""
    found: dict[str, list[FilePart]] = defaultdict(list)
    for place, part in enumerate(parts, 1):
        nameless = not part.ref.strip() or _NO_NAME.fullmatch(part.ref)
        found[f"unnamed-{place}" if nameless else part.ref].append(part)
    return found


def _part(ref: str, of: list[FilePart], whole: dict[str, str], board: BoardFile, notes: list[str]) -> BoardPart:
    pads: dict[str, list[FilePad]] = defaultdict(list)
    for part in of:
        for pad in part.pads:
            pads[pad.number].append(pad)
    pins = {number: _pin(number, pads[number], whole) for number in sorted(pads, key=natural) if number}
    torn = [number for number in pins if len({whole.get(pad.net or "", pad.net) for pad in pads[number]}) > 1]
    # cut to the last letter: a name that ends before its number may be several parts
    cut = board.names_cut and len(ref) >= CUT_REF and not ref[-1].isdigit()
    if torn and len(of) > 1:
        notes.append(f"{ref} stands {len(of)} times with other nets at pin {torn[0]}: nothing is traced through it.")
    elif torn:
        notes.append(f"{ref} has pin {torn[0]} on two nets: it may be several parts, nothing is traced through it.")
    elif cut:
        notes.append(f"{ref} may stand for several parts: this format cuts names to {CUT_REF} letters.")
    first = of[0]
    not_fitted = "" if any(not part.not_fitted for part in of) else first.not_fitted
    kind = kind_of(ref, first.value, first.footprint, len(pins))
    return BoardPart(ref, first.value, first.footprint, first.side, not_fitted, kind, pins, bool(torn))


def _pin(number: str, pads: list[FilePad], whole: dict[str, str]) -> BoardPin:
    net = next((pad.net for pad in pads if pad.net is not None), None)
    function = next((pad.function for pad in pads if pad.function), "")
    return BoardPin(number, None if net is None else whole.get(net, net), function, tuple(pads))


def _joined_names(parts: Iterable[FilePart]) -> dict[str, str]:
    """Net -> the net it is one piece with; only those that are joined to another. Parts not fitted join nothing."""
    sizes: Counter[str] = Counter()
    leader: dict[str, str] = {}

    def lead(net: str) -> str:
        while leader.get(net, net) != net:
            net = leader[net]
        return net

    groups: list[list[str]] = []
    for part in parts:
        sizes.update(pad.net for pad in part.pads if pad.net is not None)
        for numbers in () if part.not_fitted else part.joined:
            groups.append([pad.net for pad in part.pads if pad.number in numbers and pad.net is not None])
    for group in groups:
        for net in group[1:]:
            one, other = lead(group[0]), lead(net)
            if one != other:
                # the larger net keeps its name; of equals the first by name
                keep, drop = sorted((one, other), key=lambda name: (-sizes[name], name))
                leader[drop] = keep
    return {net: lead(net) for net in leader}


def plain_name(net: str) -> str:
    """The last part of a net's path as people write it: overbars as ~, escapes undone."""
    last = re.split(r"/(?![^{]*})", net)[-1] or net
    return re.sub(r"~?\{(slash|[^{}]*)\}", lambda found: _braces(found[0], found[1]), last)


def _braces(whole: str, inside: str) -> str:
    if whole.startswith("~"):
        return f"~{inside}"
    return {"slash": "/", "backslash": "\\", "space": " "}.get(inside, inside)


def _shown(nets: Iterable[str]) -> dict[str, str]:
    plain = {net: plain_name(net) for net in nets}
    often = Counter(plain.values())
    return {net: name if often[name] == 1 else net for net, name in plain.items()}
