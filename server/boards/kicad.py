"""KiCad boards (.kicad_pcb), the formats of 2016 to KiCad 10.

Decides: how a part, its pads and its fitting are read from every one of those formats: `module` became
`footprint`, texts became properties, and KiCad 10 names nets at the pads alone. Unknown lists pass unread.
Source: the files themselves, from format 4 to 20260206, read side by side.
"""

import math
import re
from collections.abc import Callable

from server.boards.board_file import BoardFile, BoardSide, FilePad, FilePart, place_in, refused
from server.boards.fitting import left_out_by_list, left_out_by_value
from server.boards.outline import edge_line
from server.boards.sexpr import Node, child, children, children_of, words
from server.problems import Refusal

EDGE_SHAPES = ("gr_line", "gr_arc", "gr_rect", "gr_circle", "gr_poly", "gr_curve")
KEPT = frozenset({"version", "general", "net", "footprint", "module", *EDGE_SHAPES})
DULL = frozenset({
    "segment", "via", "arc", "zone", "effects", "fp_line", "fp_arc", "fp_circle", "fp_poly", "fp_rect", "fp_curve",
    "model", "render_cache", "filled_polygon", "tstamp", "uuid", "stroke", "generated", "dimension", "gr_text", "image",
    "embedded_files", "path", "group", "primitives",
})
_NET_TIE = re.compile(r"net.?tie", re.I)
_CLOSED = re.compile(r"jumper.*(?:bridged(?!.*open)|closed|_nc\b)", re.I)


def read_kicad(text: str, told: Callable[[int], None] = lambda _: None) -> BoardFile:
    """The board in the text of a .kicad_pcb. `told` hears now and then how far the reading has come.

    Raises:
        Refusal: 422 with the line of what cannot be read.
    """
    items = children_of(text, KEPT, DULL, told)
    head = next(items, (0, [""]))[1][0]
    if head != "kicad_pcb":
        raise _not_a_board(str(head))
    version, counts = "", {}
    parts: list[FilePart] = []
    outline: list[tuple[float, ...]] = []
    declared: set[str] = set()
    for offset, node in items:
        if node[0] == "version":
            version = (words(node) or [""])[0]
        elif node[0] == "general":
            counts = {str(one[0]): words(one)[0] for one in node[1:] if isinstance(one, list) and words(one)}
        elif node[0] == "net":
            declared.add(" ".join(words(node)))
        elif node[0] in EDGE_SHAPES:
            outline.extend(edge_line(node))
        else:
            parts.append(_part(node, text, offset))
    _check_counts(counts, len(parts), len(declared))
    notes = () if parts else ("There is no part on this board.",)
    return BoardFile(f"KiCad board {version}".strip(), tuple(parts), tuple(outline), notes)


def _not_a_board(head: str) -> Refusal:
    what = {
        "kicad_sch": "a schematic", "footprint": "a single footprint", "module": "a single footprint",
        "kicad_symbol_lib": "a library of symbols", "export": "a netlist without places",
        "kicad_wks": "a drawing sheet",
    }.get(head, "another kind of bracketed text")
    return refused(
        "not_a_board", f"This is {what}, not a board.", where="line 1", given=f"({head}", expected="(kicad_pcb",
        example="the .kicad_pcb of the project",
    )


def _check_counts(counts: dict[str, str], parts: int, nets: int) -> None:
    """Formats up to 5 say how many parts and nets they hold: a file that lost some is not a board any more."""
    for name, read in (("modules", parts), ("nets", nets)):
        told = counts.get(name)
        if told is not None and told.isdigit() and int(told) != read and (name, read) != ("nets", 0):
            raise refused(
                "counts_differ", f"The file says how many {name} it holds, and others are in it: it was cut or edited.",
                where=f"(general ({name} {told}))", given=f"{read} {name}", expected=told, example="the whole file",
            )


def _part(node: Node, text: str, offset: int) -> FilePart:
    footprint = words(node)[0] if words(node) else ""
    reference = _text(node, "reference", "Reference")
    value = _text(node, "value", "Value")
    side: BoardSide = "bottom" if any(one == "B.Cu" for one in words(child(node, "layer") or ["layer"])) else "top"
    try:
        x_mm, y_mm, turn = _at(node)
        read = [_pad(one, x_mm, y_mm, turn) for one in children(node, "pad")]
    except ValueError as error:
        raise refused(
            "not_a_number", f"A place or a size of part {reference or footprint} is no number.",
            where=place_in(text, offset), given=str(error), expected="millimetres", example="(at 12.5 40.1 90)",
        ) from error
    pads = tuple(pad for pad in read if pad is not None)
    return FilePart(reference, value, footprint, side, _why_not_fitted(node, reference, value), pads,
                    _joined(node, footprint, pads))


def _text(node: Node, old: str, new: str) -> str:
    """The reference or value: a property since 2023, a text before."""
    for head, name in (("property", new), ("fp_text", old)):
        for one in children(node, head):
            if words(one)[:1] == [name]:
                return words(one)[1] if len(words(one)) > 1 else ""
    return ""


def _at(node: Node) -> tuple[float, float, float]:
    told = [_number(one) for one in words(child(node, "at") or ["at"]) if one not in ("unlocked", "locked")]
    x_mm, y_mm, turn = (*told, 0.0, 0.0, 0.0)[:3]
    return x_mm, y_mm, turn


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value) or abs(value) > 1e6:
        raise ValueError(text)
    return value


def _pad(node: Node, x_mm: float, y_mm: float, turn: float) -> FilePad | None:
    """A pad on copper; None for a hole without copper, and for what is only paste or mask."""
    told = words(node)
    side = _copper_side(words(child(node, "layers") or ["layers"]))
    if side is None or "np_thru_hole" in told[1:3]:
        return None
    number = told[0] if told else ""
    u_mm, v_mm, _ = _at(node)
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    width, height = (*[_number(one) for one in words(child(node, "size") or ["size"])], 0.0, 0.0)[:2]
    net = words(child(node, "net") or ["net"])
    function = (words(child(node, "pinfunction") or ["pinfunction"]) or [""])[-1]
    return FilePad(
        number, net[-1] or None if net and net != ["0"] else None, function.removesuffix(f"_{number}"),
        # y grows downwards, and a positive angle turns against the clock
        round(x_mm + u_mm * cos + v_mm * sin, 4), round(y_mm - u_mm * sin + v_mm * cos, 4), u_mm, v_mm, side,
        width, height,
    )


def _copper_side(layers: list[str]) -> BoardSide | None:
    top = any(one in ("F.Cu", "*.Cu", "F&B.Cu") for one in layers)
    bottom = any(one in ("B.Cu", "*.Cu", "F&B.Cu") for one in layers)
    return "both" if top and bottom else "top" if top else "bottom" if bottom else None


def _why_not_fitted(node: Node, reference: str, value: str) -> str:
    attributes = words(child(node, "attr") or ["attr"])
    if "dnp" in attributes:
        return "marked as not fitted"
    return left_out_by_value(value) or (left_out_by_list(reference) if "exclude_from_bom" in attributes else "")


def _joined(node: Node, footprint: str, pads: tuple[FilePad, ...]) -> tuple[tuple[str, ...], ...]:
    numbers = tuple(dict.fromkeys(pad.number for pad in pads if pad.number))
    told = words(child(node, "net_tie_pad_groups") or ["none"])
    groups = [tuple(part.strip() for part in group.split(",")) for group in told]
    for one in child(node, "jumper_pad_groups") or ["none"]:
        if isinstance(one, list):
            groups.append(tuple(word for word in one if isinstance(word, str)))
    if not groups and (_NET_TIE.search(footprint) or _CLOSED.search(footprint)):
        groups.append(numbers)
    if words(child(node, "duplicate_pad_numbers_are_jumpers") or ["none"])[:1] == ["yes"]:
        groups += [(number,) for number in numbers]
    return tuple(group for group in groups if group)
