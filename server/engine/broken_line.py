"""A line that falls, then is level: least squares, its interval, and what one more point would tell.

Domain-free: x in any unit, y in any other. The line is ``y = level + slope * (at - min(x, at))`` with a slope of 0 or
more, so y falls until `at` and is level beyond. For a given `at` it is a straight line in ``min(x, at)``, so the sum
of squares is known in closed form; between two neighbouring x its smallest value is where the line through the points
before meets the mean of those beyond, or at one of the two x.

The interval of `at` inverts the F test (profile likelihood): every place whose sum of squares is at most ``least + s^2
t^2`` (Seber and Wild, Nonlinear Regression, section 5.6; F with one degree of freedom is t squared). The noise s has a
scaled inverse chi^2 prior worth `prior_worth` points of `prior_sd`, which adds its degrees of freedom; with 0 worth
the interval is the textbook's.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from server.engine.constants.shorts import COVERAGE_TAIL, EDGE_STEPS, LINE_PARAMETERS, SAME_FIT
from server.engine.t_tail import t_upper_quantile

Points = Sequence[tuple[float, float]]


class Broken(NamedTuple):
    """One fit. `left` is the sum of squares that is left, `low` to `high` the 95 % interval of `at`.

    `high` None: every place beyond the last point fits as well.
    """

    at: float
    level: float
    slope: float
    left: float
    noise: float
    df: float
    low: float
    high: float | None


class Sums(NamedTuple):
    """What a straight line in u needs of its points: their number and the sums of u, y and products."""

    n: float
    u: float
    y: float
    uu: float
    uy: float
    yy: float


def sums_at(points: Points, at: float) -> Sums:
    """The sums with u = min(x, at)."""
    us = [min(x, at) for x, _ in points]
    ys = [y for _, y in points]
    return Sums(
        float(len(points)),
        math.fsum(us),
        math.fsum(ys),
        math.fsum(u * u for u in us),
        math.fsum(u * y for u, y in zip(us, ys, strict=True)),
        math.fsum(y * y for y in ys),
    )


def left_over(sums: Sums) -> float:
    """The sum of squares left by the best line that does not rise."""
    n, u, y, uu, uy, yy = sums
    spread, joint, whole = uu - u * u / n, uy - u * y / n, yy - y * y / n
    if spread <= 0 or joint >= 0:
        return max(0.0, whole)
    return max(0.0, whole - joint * joint / spread)


def line_at(points: Points, at: float) -> tuple[float, float]:
    """(level, slope) of the best line that breaks at `at`; the slope is 0 where the points rise."""
    n, u, y, uu, uy, _ = sums_at(points, at)
    spread, joint = uu - u * u / n, uy - u * y / n
    slope = max(0.0, -joint / spread) if spread > 0 else 0.0
    return y / n + slope * u / n - slope * at, slope


def value(at: float, level: float, slope: float, x: float) -> float:
    """y of the line at x."""
    return level + slope * (at - min(x, at))


def best_place(points: Points) -> tuple[float, float]:
    """(at, sum of squares left) of the best broken line: the exact least squares, not a grid's."""
    xs = sorted({x for x, _ in points})
    tried = list(xs)
    for before, after in pairwise(xs):
        meets = _meeting(points, before)
        if meets is not None and before < meets < after:
            tried.append(meets)
    ranked = [(left_over(sums_at(points, at)), at) for at in tried]
    least = min(left for left, _ in ranked)
    # places that fit alike: the nearest of them, which is the last that a point vouches for
    slack = least + (least + 1) * SAME_FIT
    return min(at for left, at in ranked if left <= slack), least


def _meeting(points: Points, before: float) -> float | None:
    """Where the line through the points up to `before` meets the mean of the others."""
    first = [(x, y) for x, y in points if x <= before]
    beyond = [y for x, y in points if x > before]
    n = float(len(first))
    mx, my = math.fsum(x for x, _ in first) / n, math.fsum(y for _, y in first) / n
    spread = math.fsum((x - mx) * (x - mx) for x, _ in first)
    joint = math.fsum((x - mx) * (y - my) for x, y in first)
    if spread <= 0 or joint >= 0:
        return None
    return mx + (math.fsum(beyond) / len(beyond) - my) * spread / joint


def fit(points: Points, prior_sd: float, prior_worth: float, end: float | None = None) -> Broken:
    """The best broken line through at least two points, with its interval. `end`: no place lies beyond it."""
    at, left = best_place(points)
    level, slope = line_at(points, at)
    df = max(1.0, prior_worth + len(points) - LINE_PARAMETERS)
    noise = math.sqrt((prior_worth * prior_sd * prior_sd + left) / df)
    quantile = t_upper_quantile(df, COVERAGE_TAIL)
    bar = left + noise * noise * quantile * quantile
    low = _edge(points, at, 0.0, bar)
    last = max(x for x, _ in points)
    high: float | None = _edge(points, at, last, bar)
    if left_over(sums_at(points, last)) <= bar:
        high = end
    return Broken(at, level, slope, left, noise, df, low, high)


def _edge(points: Points, at: float, towards: float, bar: float) -> float:
    """The farthest place towards `towards` that still fits: scanned from there, then halved in."""
    outside = towards
    if left_over(sums_at(points, outside)) <= bar:
        return outside
    inside = at
    for step in range(1, EDGE_STEPS + 1):
        tried = towards + (at - towards) * step / EDGE_STEPS
        if left_over(sums_at(points, tried)) <= bar:
            inside = tried
            break
        outside = tried
    for _ in range(EDGE_STEPS):
        middle = 0.5 * (inside + outside)
        if left_over(sums_at(points, middle)) <= bar:
            inside = middle
        else:
            outside = middle
    return inside


def second_slope(points: Points, at: float) -> tuple[float, float, float]:
    """(slope before, slope beyond, sum of squares left) with a slope of its own beyond `at`; both as falls.

    Least squares in ``min(x, at)`` and ``max(x - at, 0)`` by the normal equations of two centred columns.
    """
    n = float(len(points))
    us, ws, ys = [min(x, at) for x, _ in points], [max(x - at, 0.0) for x, _ in points], [y for _, y in points]
    mu, mw, my = math.fsum(us) / n, math.fsum(ws) / n, math.fsum(ys) / n
    uu = math.fsum((u - mu) * (u - mu) for u in us)
    ww = math.fsum((w - mw) * (w - mw) for w in ws)
    uw = math.fsum((u - mu) * (w - mw) for u, w in zip(us, ws, strict=True))
    uy = math.fsum((u - mu) * (y - my) for u, y in zip(us, ys, strict=True))
    wy = math.fsum((w - mw) * (y - my) for w, y in zip(ws, ys, strict=True))
    det = uu * ww - uw * uw
    if det <= 0:
        return 0.0, 0.0, math.inf
    first, beyond = (uy * ww - wy * uw) / det, (wy * uu - uy * uw) / det
    left = math.fsum(
        (y - my - first * (u - mu) - beyond * (w - mw)) * (y - my - first * (u - mu) - beyond * (w - mw))
        for u, w, y in zip(us, ws, ys, strict=True)
    )
    return -first, -beyond, left


def spread_after(points: Points, places: Sequence[float], noise: float, x: float | None, draws: int) -> float:
    """Two standard deviations of `at` over `places`: as it stands, or with one more point expected at `x`.

    Places are weighed by exp(-left / 2 s^2), the profile likelihood. For the point at `x` what it would read is taken
    from `draws` places that split those weights evenly, each with its own best line; the answer is their mean.
    """
    sums = [sums_at(points, at) for at in places]
    lefts = [left_over(one) for one in sums]
    weights = _weights(lefts, noise)
    if x is None:
        return 2 * _deviation(places, weights)
    found = []
    for drawn in _even_draws(weights, draws):
        level, slope = line_at(points, places[drawn])
        y = value(places[drawn], level, slope, x)
        more = []
        for at, (n, u, ys, uu, uy, yy) in zip(places, sums, strict=True):
            one = min(x, at)
            more.append(left_over(Sums(n + 1, u + one, ys + y, uu + one * one, uy + one * y, yy + y * y)))
        found.append(2 * _deviation(places, _weights(more, noise)))
    return math.fsum(found) / len(found)


def _weights(lefts: Sequence[float], noise: float) -> list[float]:
    least = min(lefts)
    raw = [math.exp(-0.5 * (left - least) / (noise * noise)) for left in lefts]
    total = math.fsum(raw)
    return [one / total for one in raw]


def _deviation(places: Sequence[float], weights: Sequence[float]) -> float:
    mean = math.fsum(at * weight for at, weight in zip(places, weights, strict=True))
    return math.sqrt(
        max(0.0, math.fsum((at - mean) * (at - mean) * weight for at, weight in zip(places, weights, strict=True)))
    )


def _even_draws(weights: Sequence[float], draws: int) -> list[int]:
    """The places at the middles of `draws` equal shares of the weight."""
    found, passed, at = [], weights[0], 0
    for draw in range(draws):
        wanted = (draw + 0.5) / draws
        while passed < wanted and at + 1 < len(weights):
            at += 1
            passed += weights[at]
        found.append(at)
    return found
