"""The app's icon as the PNG files that home screens ask for, drawn from `public/icon.svg`.

`icons.py SVG OUT_DIR`. Reads what that drawing is made of and no more: a coloured ground, and strokes with
round ends along straight lines (M, L, h, v). Standard library only, and the same bytes every time, so nothing
drawn is committed.
"""

import math
import re
import struct
import sys
import xml.etree.ElementTree as ET
import zlib
from pathlib import Path
from typing import NamedTuple

ICONS = {
    "icon-192.png": (192, 1.0),
    "icon-512.png": (512, 1.0),
    # a launcher may cut these to a circle of 80 % across: the drawing keeps inside it
    "maskable-192.png": (192, 0.7),
    "maskable-512.png": (512, 0.7),
    "apple-touch-icon.png": (180, 0.9),
}
"""File -> its side in pixels, and how large the drawing stands on its ground."""

Colour = tuple[int, int, int]
Point = tuple[float, float]
SVG = "{http://www.w3.org/2000/svg}"


class Stroke(NamedTuple):
    """One straight line with round ends, in the drawing's own units."""

    start: Point
    end: Point
    width: float
    colour: Colour


class Drawing(NamedTuple):
    """A square drawing: its side, its ground, its strokes from the bottom up."""

    side: float
    ground: Colour
    strokes: list[Stroke]


def read_svg(text: str) -> Drawing:
    """The drawing of an SVG of the kind described above.

    Raises:
        ValueError: a part of it is of another kind; what and where.
    """
    root = ET.fromstring(text)
    side = float(root.attrib["viewBox"].split()[2])
    ground = root.find(f"{SVG}rect")
    if ground is None:
        raise ValueError("the icon has no <rect> as its ground")
    strokes: list[Stroke] = []
    for group in (root, *root.findall(f"{SVG}g")):
        for path in group.findall(f"{SVG}path"):
            given = {**group.attrib, **path.attrib}
            colour, width = _colour(given["stroke"]), float(given["stroke-width"])
            strokes += [Stroke(a, b, width, colour) for a, b in _lines(given["d"])]
    return Drawing(side, _colour(ground.attrib["fill"]), strokes)


def _colour(text: str) -> Colour:
    return int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16)


def _lines(path: str) -> list[tuple[Point, Point]]:
    """The straight lines of a path. A pair of numbers after M or L, or after those of M, is a place to go to."""
    lines: list[tuple[Point, Point]] = []
    at = (0.0, 0.0)
    for letter, numbers in re.findall(r"([A-Za-z])([^A-Za-z]*)", path):
        values = [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?", numbers)]
        if letter == "h":
            ends = [(at[0] + values[0], at[1])]
        elif letter == "v":
            ends = [(at[0], at[1] + values[0])]
        elif letter in "ML":
            ends = list(zip(values[::2], values[1::2], strict=True))
        else:
            raise ValueError(f"path command {letter!r} in {path!r}: only M, L, h and v are drawn")
        if letter == "M":
            at = ends.pop(0)
        for end in ends:
            lines.append((at, end))
            at = end
    return lines


def draw(drawing: Drawing, side: int, stands: float) -> bytes:
    """The drawing as rows of RGB, `side` pixels square; edges are smoothed over one pixel."""
    pixels = bytearray(bytes(drawing.ground) * (side * side))
    scale = side / drawing.side * stands
    off = side * (1 - stands) / 2
    for stroke in drawing.strokes:
        (ax, ay), (bx, by) = ((x * scale + off, y * scale + off) for x, y in (stroke.start, stroke.end))
        _draw_line(pixels, side, (ax, ay), (bx, by), stroke.width * scale / 2, stroke.colour)
    return bytes(pixels)


def _draw_line(pixels: bytearray, side: int, a: Point, b: Point, half: float, colour: Colour) -> None:
    dx, dy = b[0] - a[0], b[1] - a[1]
    length2 = dx * dx + dy * dy
    reach = half + 1
    for row in range(max(0, int(min(a[1], b[1]) - reach)), min(side, int(max(a[1], b[1]) + reach) + 1)):
        for column in range(max(0, int(min(a[0], b[0]) - reach)), min(side, int(max(a[0], b[0]) + reach) + 1)):
            x, y = column + 0.5 - a[0], row + 0.5 - a[1]
            along = min(1.0, max(0.0, (x * dx + y * dy) / length2)) if length2 else 0.0
            covered = min(1.0, max(0.0, half + 0.5 - math.hypot(x - along * dx, y - along * dy)))
            if covered > 0:
                at = 3 * (row * side + column)
                for part in range(3):
                    under = pixels[at + part]
                    pixels[at + part] = round(under + (colour[part] - under) * covered)


def png(pixels: bytes, side: int) -> bytes:
    """Rows of RGB as a PNG file (ISO/IEC 15948): 8 bits a colour, no filter."""
    rows = b"".join(b"\0" + pixels[at : at + 3 * side] for at in range(0, len(pixels), 3 * side))
    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    chunks = _chunk(b"IHDR", header) + _chunk(b"IDAT", zlib.compress(rows, 9)) + _chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunks


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def build_icons(svg: Path, out: Path) -> None:
    """Writes every icon into `out`."""
    drawing = read_svg(svg.read_text(encoding="utf-8"))
    out.mkdir(parents=True, exist_ok=True)
    for name, (side, stands) in ICONS.items():
        (out / name).write_bytes(png(draw(drawing, side, stands), side))


if __name__ == "__main__":
    build_icons(*(Path(word) for word in sys.argv[1:3]))
