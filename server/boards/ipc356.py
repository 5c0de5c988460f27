"""IPC-D-356 and 356A test lists: fixed columns, one line for each place a tester can touch.

Decides: where a line's fields lie, what its net is really called, and in which unit its places are. Not held
by this format: values, functions, what is fitted. Reference names are cut to 6 letters, pins to 4 and nets to
14: what that makes ambiguous is said, never merged in silence.
Source: IPC-D-356A (1998), columns read second-hand and checked on files of six programs.
"""

import re
from collections import defaultdict
from typing import NamedTuple

from server.boards.board_file import BoardFile, BoardSide, FilePad, FilePart, refused
from server.problems import Refusal

MM_PER_UNIT = {"CUST 0": 0.00254, "CUST 1": 0.001, "SI": 0.001}
"""CUST 0: 0.0001 inch; CUST 1 and SI: 0.001 mm. What CUST 2 means, programs do not agree about."""

POINTS = ("317", "327", "367")
"""Records of a pad: through the board, on one face, a hole without copper."""

KNOWN = re.compile(r"[0-9]{3}|[CP] |[CP]$|999")
LONGEST_LINE = 400
CUT_REF = 6
_ALIAS = re.compile(r"[PC]\s+(?P<alias>NNAME\S+)\s+(?P<name>\S.*)")
_COORDINATE = re.compile(r"X(?P<x>\s*[+-]?\s*\d+)\s*Y(?P<y>\s*[+-]?\s*\d+)")
_SIZE = re.compile(r"X\s*(\d{1,5})(?:\s*Y\s*(\d{1,5}))?")
EXAMPLE = "327GND              U1    -3          A01X+050241Y-023226X0200Y0100R000S1"


class Point(NamedTuple):
    """One line that is a part's pad."""

    ref: str
    pad: FilePad
    line: int


def read_ipc356(text: str) -> BoardFile:
    """The parts and nets of a test list.

    Raises:
        Refusal: 422 with the line of what cannot be read, for units nobody agrees on, and for a list without parts.
    """
    lines = text.splitlines()
    unit_mm, units = _unit(lines)
    names = _aliases(lines)
    points: list[Point] = []
    for place, line in enumerate(lines, 1):
        if line[:3] == "999":
            break
        if line[:3] in POINTS:
            point = _point(line, place, unit_mm, names)
            if point is not None:
                points.append(point)
        elif line.strip() and not KNOWN.match(line):
            raise _broken(place, line, "a record: three digits, C or P")
    else:
        raise refused(
            "file_ends_early", "The test list has no end: it was cut short.", where=f"line {len(lines)}",
            given=(lines or [""])[-1].strip() or "an empty line", expected="a last line 999", example="999",
        )
    if not points:
        raise refused(
            "no_parts", "There is no part's pin in this list, only holes or bare places.", where="the whole file",
            given=f"{len(lines)} lines", expected="lines with a part and a pin", example=EXAMPLE,
        )
    notes = [
        f"Places are in units of {units}. This format holds no values, no functions and nothing of what is fitted."
    ]
    notes += _ambiguous(points)
    return BoardFile("IPC-D-356", _parts(points), (), tuple(notes), True)


def _unit(lines: list[str]) -> tuple[float, str]:
    told = {(line[8:].split("/")[0].strip().upper(), place) for place, line in enumerate(lines, 1)
            if line.startswith("P ") and line[2:].split()[:1] == ["UNITS"]}
    told = {(" ".join(words.split()), place) for words, place in told}
    if len({words for words, _ in told}) > 1:
        raise refused(
            "units_differ", "The list names two different units.", where=", ".join(f"line {place}" for _,
            place in sorted(told)),
            given=" and ".join(sorted(words for words, _ in told)), expected="one unit", example="P  UNITS CUST 0",
        )
    for words, place in told:
        if words in MM_PER_UNIT:
            return MM_PER_UNIT[words], words
        raise refused(
            "units_unclear", "Programs do not agree on what this unit means, so no place could be trusted.",
            where=f"line {place}", given=f"UNITS {words}", expected="CUST 0 (0.0001 inch), CUST 1 or SI (0.001 mm)",
            example="write the list again in CUST 0",
        )
    raise refused(
        "units_missing", "The list does not say its unit.", where="the lines that begin with P", given="no UNITS line",
        expected="CUST 0 (0.0001 inch), CUST 1 or SI (0.001 mm)", example="P  UNITS CUST 0",
    )


def _aliases(lines: list[str]) -> dict[str, str]:
    """Short name -> the net's own name; programs keep the table in P or in C lines."""
    found: dict[str, str] = {}
    for line in lines:
        match = _ALIAS.match(line) if line[:1] in "PC" else None
        if match:
            found[match["alias"]] = match["name"].strip()
            found[match["alias"].removeprefix("NNAME")] = match["name"].strip()
    return found


def _point(line: str, place: int, unit_mm: float, names: dict[str, str]) -> Point | None:
    if len(line) > LONGEST_LINE:
        raise _broken(place, line[:80], f"at most {LONGEST_LINE} characters")
    line = line.ljust(80)
    net, ref, pin = line[3:17].strip(), line[20:26].strip(), line[27:31].strip()
    if line[:3] == "367" or ref in ("", "VIA") or not line[26:31].strip():
        return None  # a hole, a via, or a part's place without a pin
    if line[26] != "-" or not pin:
        raise _broken(place, line.rstrip(), "the part in columns 21 to 26, a - in column 27, the pin in 28 to 31")
    where = _COORDINATE.match(line[41:].strip())
    if where is None:
        raise _broken(place, line.rstrip(), "a place from column 42, X and Y")
    # every program seen lets Y grow upwards; a drawing's grows downwards
    x_mm = round(int(where["x"].replace(" ", "")) * unit_mm, 4)
    y_mm = round(-int(where["y"].replace(" ", "")) * unit_mm, 4)
    size = _SIZE.match(line[41:].strip()[where.end() :].strip())
    width = int(size[1]) * unit_mm if size else 0.0
    height = int(size[2]) * unit_mm if size and size[2] and int(size[2]) else width
    return Point(ref, FilePad(
        pin, None if net == "N/C" or not net else names.get(net, net), "", x_mm, y_mm, x_mm, y_mm, _side(line), width,
        height,
    ), place)


def _side(line: str) -> BoardSide | None:
    access = line[38:41]
    if line[:3] == "317" or access == "A00":
        return "both"
    return "top" if access == "A01" else "bottom" if re.fullmatch(r"A\d\d", access) else None


def _broken(place: int, line: str, expected: str) -> Refusal:
    return refused(
        "broken_line", "A line is not laid out as the format says.", where=f"line {place}", given=line[:80],
        expected=expected, example=EXAMPLE,
    )


def _parts(points: list[Point]) -> tuple[FilePart, ...]:
    pads: dict[str, list[FilePad]] = defaultdict(list)
    for point in points:
        pads[point.ref].append(point.pad)
    return tuple(FilePart(ref, side=_face(of), pads=tuple(of)) for ref, of in pads.items())


def _face(pads: list[FilePad]) -> BoardSide | None:
    first: BoardSide | None = None
    for pad in pads:
        if first is None:
            first = pad.side
        elif pad.side not in (None, first):
            return "both"
    return first


def _ambiguous(points: list[Point]) -> list[str]:
    """A pin that stands twice on different nets: two parts whose names were cut to the same six letters."""
    nets: dict[tuple[str, str], set[str | None]] = defaultdict(set)
    for ref, pad, _ in points:
        nets[ref, pad.number].add(pad.net)
    torn = sorted({ref for (ref, _), of in nets.items() if len(of) > 1})
    return [
        f"Names are cut to {CUT_REF} letters here: {ref} is at least two parts, so its pins are not traced through."
        for ref in torn
    ]
