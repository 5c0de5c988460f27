"""Where things lie in an IPC-2581 file, in the file's own unit, y upwards: places, turns, the board's edge.

Source: IPC-2581B, Location, Xform, Polygon; the edge's arcs are drawn as short lines.
"""

import math
from functools import lru_cache
from typing import Any, NamedTuple
from xml.etree.ElementTree import Element

ARC_STEPS = 12
MOST_CORNERS = 20_000
"""Corners of an edge that are kept; a panel's routed edge has a few thousand."""


class At(NamedTuple):
    """Where a part lies: mirrored in its own frame first, then turned, then moved."""

    x: float
    y: float
    turn_deg: float
    mirrored: bool


def name_of(element: Element) -> str:
    """An element's name without its namespace."""
    return _local(str(element.tag))


@lru_cache(maxsize=512)
def _local(tag: str) -> str:
    return tag.rsplit("}", 1)[-1]


def where_of(element: Element) -> tuple[float, float]:
    """The place that an element's Location says; the origin where there is none."""
    for one in element:
        if name_of(one) == "Location":
            return _number(one.get("x")), _number(one.get("y"))
    return 0.0, 0.0


def at_of(element: Element) -> At:
    """The place and turn of a part. Raises `ValueError` for what is no number."""
    x, y = where_of(element)
    for one in element:
        if name_of(one) == "Xform":
            return At(x, y, _number(one.get("rotation")), str(one.get("mirror")).lower() == "true")
    return At(x, y, 0.0, False)


def placed(at: At, own: tuple[float, float]) -> tuple[float, float]:
    """Where a place of the part's own frame lies on the board."""
    u, v = (-own[0] if at.mirrored else own[0]), own[1]
    cos, sin = math.cos(math.radians(at.turn_deg)), math.sin(math.radians(at.turn_deg))
    return at.x + u * cos - v * sin, at.y + u * sin + v * cos


def within(at: At, place: tuple[float, float]) -> tuple[float, float]:
    """A place of the board in the part's own frame: turned back, and still as seen from the top."""
    x, y = place[0] - at.x, place[1] - at.y
    cos, sin = math.cos(math.radians(at.turn_deg)), math.sin(math.radians(at.turn_deg))
    return x * cos + y * sin, y * cos - x * sin


def corners_of(profile: Element) -> list[list[float]]:
    """The lines of the board's edge, each x, y, x, y, ... as a drawing has it: y downwards."""
    lines: list[list[float]] = []
    for polygon in profile.iter():
        if name_of(polygon) not in ("Polygon", "Cutout"):
            continue
        line: list[float] = []
        for step in polygon:
            if name_of(step) not in ("PolyBegin", "PolyStepSegment", "PolyStepCurve") or len(line) > 2 * MOST_CORNERS:
                continue
            x, y = _number(step.get("x")), -_number(step.get("y"))
            if name_of(step) == "PolyStepCurve" and line:
                line.extend(_arc((line[-2], line[-1]), (x, y), step))
            line.extend((x, y))
        if len(line) > 2:
            lines.append(line)
    return lines


def _arc(start: tuple[float, float], end: tuple[float, float], step: Element) -> list[float]:
    """The corners between, round the centre; `clockwise` is meant with y upwards, so on a drawing too."""
    x, y = _number(step.get("centerX")), -_number(step.get("centerY"))
    begin, last = (math.atan2(at[1] - y, at[0] - x) for at in (start, end))
    turn = (last - begin) % math.tau or math.tau
    if str(step.get("clockwise")).lower() != "true":
        turn -= math.tau
    radius = math.dist(start, (x, y))
    found: list[float] = []
    for at in range(1, ARC_STEPS):
        angle = begin + turn * at / ARC_STEPS
        found += (x + radius * math.cos(angle), y + radius * math.sin(angle))
    return found


def _number(told: Any) -> float:
    value = float(told or 0)
    if not math.isfinite(value):
        raise ValueError(told)
    return value
