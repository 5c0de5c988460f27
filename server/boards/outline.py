"""The board's edge as lines for a drawing: what stands on KiCad's layer Edge.Cuts."""

import math

from server.boards.sexpr import Node, child, words

ARC_STEPS = 12


def edge_line(node: Node) -> list[tuple[float, ...]]:
    """The line of one shape as x, y, x, y, ... in millimetres; none for a shape elsewhere or one that is broken.

    A drawing that lacks a stroke is still a drawing, so nothing is refused here.
    """
    layers = [*words(child(node, "layer") or ["layer"])]
    if "Edge.Cuts" not in layers:
        return []
    points = {name: _point(node, name) for name in ("start", "mid", "end", "center")}
    start, mid, end, center = points["start"], points["mid"], points["end"], points["center"]
    if node[0] == "gr_line" and start and end:
        return [(*start, *end)]
    if node[0] == "gr_rect" and start and end:
        (left, top), (right, bottom) = start, end
        return [(left, top, right, top, right, bottom, left, bottom, left, top)]
    if node[0] == "gr_circle" and center and end:
        return [_arc(center, end, 360.0)]
    if node[0] == "gr_arc" and start and end:
        return [_arc_through(start, mid, end)] if mid else [_arc(start, end, _angle(node))]
    if node[0] in ("gr_poly", "gr_curve"):
        corners = [point for one in child(node, "pts") or [] if isinstance(one, list) and (point := _pair(words(one)))]
        return [tuple(number for corner in [*corners, *corners[:1]] for number in corner)] if len(corners) > 1 else []
    return []


def _point(node: Node, name: str) -> tuple[float, float] | None:
    return _pair(words(child(node, name) or [name]))


def _pair(told: list[str]) -> tuple[float, float] | None:
    try:
        x_mm, y_mm = float(told[0]), float(told[1])
    except (IndexError, ValueError):
        return None
    return (x_mm, y_mm) if abs(x_mm) < 1e6 and abs(y_mm) < 1e6 else None


def _angle(node: Node) -> float:
    told = words(child(node, "angle") or ["angle"])
    try:
        return max(-360.0, min(360.0, float(told[0])))
    except (IndexError, ValueError):
        return 0.0


def _arc(center: tuple[float, float], begin: tuple[float, float], angle: float) -> tuple[float, ...]:
    """From `begin` round `center`, clockwise on a screen for positive angles, as formats up to 6 write an arc."""
    x_mm, y_mm = begin[0] - center[0], begin[1] - center[1]
    line: list[float] = []
    for step in range(ARC_STEPS + 1):
        turn = math.radians(angle * step / ARC_STEPS)
        line.append(round(center[0] + x_mm * math.cos(turn) - y_mm * math.sin(turn), 3))
        line.append(round(center[1] + x_mm * math.sin(turn) + y_mm * math.cos(turn), 3))
    return tuple(line)


def _arc_through(start: tuple[float, float], mid: tuple[float, float], end: tuple[float, float]) -> tuple[float, ...]:
    """The circle through three points, from the first to the last; a straight line where they lie on one."""
    (ax, ay), (bx, by), (cx, cy) = start, mid, end
    twice = 2 * (ax * (by - cy) + bx * (cy - ay) + cx * (ay - by))
    if abs(twice) < 1e-9:
        return (*start, *end)
    a, b, c = ax * ax + ay * ay, bx * bx + by * by, cx * cx + cy * cy
    center = ((a * (by - cy) + b * (cy - ay) + c * (ay - by)) / twice,
              (a * (cx - bx) + b * (ax - cx) + c * (bx - ax)) / twice)
    begin, middle, last = (math.atan2(y - center[1], x - center[0]) for x, y in (start, mid, end))
    turn, half = (last - begin) % math.tau, (middle - begin) % math.tau
    return _arc(center, start, math.degrees(turn if half <= turn else turn - math.tau))
