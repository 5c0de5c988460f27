"""Line charts as small SVG files: no library, no colour needed (each line has its own dash, mark and word)."""

import math
from collections.abc import Sequence
from html import escape
from typing import NamedTuple

WIDTH, HEIGHT = 720, 420
LEFT, RIGHT, TOP, BOTTOM = 64, 190, 44, 56
# Okabe and Ito's colours, told apart by most eyes; dashes and marks say the same
STYLES = (
    ("#000000", "", "circle"), ("#0072B2", "7 3", "square"), ("#D55E00", "2 3", "triangle"),
    ("#009E73", "9 3 2 3", "diamond"), ("#CC79A7", "4 2", "circle"), ("#E69F00", "1 2", "square"),
    ("#56B4E9", "12 4", "triangle"), ("#888888", "3 6", "diamond"),
)  # fmt: skip


class Curve(NamedTuple):
    """A named line through points."""

    name: str
    points: Sequence[tuple[float, float]]


class Axis(NamedTuple):
    """An axis: its words, its ticks with what stands at them, and whether it is logarithmic."""

    words: str
    ticks: Sequence[tuple[float, str]]
    logarithmic: bool = False

    def place(self, value: float) -> float:
        """Where a value lies, 0 to 1 between the outer ticks."""
        low, high = self.ticks[0][0], self.ticks[-1][0]
        if self.logarithmic:
            low, high, value = math.log(low), math.log(high), math.log(max(value, low))
        return min(1.0, max(0.0, (value - low) / (high - low)))


def chart(title: str, across: Axis, up: Axis, curves: Sequence[Curve]) -> str:
    """An SVG picture of the curves."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" '
        f'font-size="12" role="img" aria-label="{escape(title)}">',
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fffdf7"/>',
        f'<text x="{LEFT}" y="24" font-size="15">{escape(title)}</text>',
        *_axes(across, up),
    ]
    for number, curve in enumerate(curves):
        parts += _curve(curve, across, up, number)
    return "\n".join([*parts, "</svg>", ""])


def _x(axis: Axis, value: float) -> float:
    return LEFT + axis.place(value) * (WIDTH - LEFT - RIGHT)


def _y(axis: Axis, value: float) -> float:
    return HEIGHT - BOTTOM - axis.place(value) * (HEIGHT - TOP - BOTTOM)


def _axes(across: Axis, up: Axis) -> list[str]:
    base, right = HEIGHT - BOTTOM, WIDTH - RIGHT
    parts = []
    for value, words in across.ticks:
        x = _x(across, value)
        parts.append(f'<line x1="{x:.1f}" y1="{TOP}" x2="{x:.1f}" y2="{base}" stroke="#ddd"/>')
        parts.append(f'<text x="{x:.1f}" y="{base + 18}" text-anchor="middle">{escape(words)}</text>')
    for value, words in up.ticks:
        y = _y(up, value)
        parts.append(f'<line x1="{LEFT}" y1="{y:.1f}" x2="{right}" y2="{y:.1f}" stroke="#ddd"/>')
        parts.append(f'<text x="{LEFT - 8}" y="{y + 4:.1f}" text-anchor="end">{escape(words)}</text>')
    parts.append(f'<text x="{(LEFT + right) / 2}" y="{HEIGHT - 14}" text-anchor="middle">{escape(across.words)}</text>')
    middle = (TOP + base) / 2
    turned = f'transform="rotate(-90 16 {middle})"'
    parts.append(f'<text x="16" y="{middle}" text-anchor="middle" {turned}>{escape(up.words)}</text>')
    return parts


def _curve(curve: Curve, across: Axis, up: Axis, number: int) -> list[str]:
    colour, dash, mark = STYLES[number % len(STYLES)]
    at = [(_x(across, x), _y(up, y)) for x, y in curve.points if not math.isnan(y)]
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in at)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    parts = [f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2"{dashed}/>']
    parts += [_mark(mark, x, y, colour) for x, y in at] if len(at) <= 20 else []
    y = TOP + 12 + 20 * number
    x = WIDTH - RIGHT + 16
    parts.append(f'<line x1="{x}" y1="{y}" x2="{x + 34}" y2="{y}" stroke="{colour}" stroke-width="2"{dashed}/>')
    parts.append(_mark(mark, x + 17, y, colour))
    parts.append(f'<text x="{x + 42}" y="{y + 4}">{escape(curve.name)}</text>')
    return parts


def _mark(mark: str, x: float, y: float, colour: str) -> str:
    if mark == "circle":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{colour}"/>'
    corners = {
        "square": ((-4, -4), (4, -4), (4, 4), (-4, 4)),
        "triangle": ((0, -5), (5, 4), (-5, 4)),
        "diamond": ((0, -5), (5, 0), (0, 5), (-5, 0)),
    }[mark]
    points = " ".join(f"{x + dx:.1f},{y + dy:.1f}" for dx, dy in corners)
    return f'<polygon points="{points}" fill="{colour}"/>'
