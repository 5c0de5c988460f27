"""Millivolts along a shorted rail: the broken line, its interval, and where to measure next.

From where the current goes in the millivolts fall towards the short; beyond it no current flows, so they are level as
long as the meter's return is a ground without current. One wrong point is found by leaving each out in turn and set
aside by name; more than one, a second slope or a rise is refused.
"""

import math
from itertools import pairwise
from typing import NamedTuple

from server.engine.broken_line import Broken, best_place, fit, second_slope, spread_after, value
from server.engine.constants.bench import UNIT_FACTORS
from server.engine.constants.shorts import (
    BEYOND_SHARE,
    FEWEST_FOR_ONE_WRONG,
    FEWEST_FOR_SECOND_SLOPE,
    FEWEST_POINTS,
    LINE_PARAMETERS,
    NEXT_CANDIDATES,
    NEXT_DRAWS,
    PLACE_GRID,
    POINT_NOISE_WORTH,
    ROUGHEST_SHARE,
    SECOND_SLOPE_SHARE,
    SECOND_SLOPE_TAIL,
    THICKEST_FOIL_UM,
    THINNEST_FOIL_UM,
    WRONG_POINT_TAIL,
)
from server.engine.copper import sheet_ohm
from server.engine.rounding import millivolts, plain
from server.engine.shorts_points import noise_mv, refusal, slack_mv
from server.engine.t_tail import t_tail
from server.engine.wording_points import FIRST_NEXT, copper_doubt, line_words, next_words, squares_text, wrong_point
from shared_models.power import RailPoint
from shared_models.shorts import LineCorner, LineFit, LinePoint, NextPlace, Refusal


class At(NamedTuple):
    """One point as the line takes it: squares from the injection, millivolts, and the record."""

    x: float
    y: float
    record: RailPoint


class Line(NamedTuple):
    """What the points give: a fit or a refusal, and where to go next."""

    fit: LineFit | None
    refusals: list[Refusal]
    next_place: NextPlace | None


def read_line(points: list[RailPoint]) -> Line:
    """The line through points with a place in squares; `points` are those that stand and make sense one by one."""
    along = sorted(
        (At(one.along_squares or 0.0, one.mv, one) for one in points if one.along_squares is not None),
        key=lambda one: (one.x, one.record.id),
    )
    end = max((one.x for one in along if one.record.is_end), default=None)
    if len({one.x for one in along}) < FEWEST_POINTS:
        return Line(None, _rises(along), _first_places(along, end))
    rises = _rises(along)
    if rises:
        return Line(None, rises, None)
    kept, wrong, refused = _without_wrong_one(along)
    if refused:
        return Line(None, refused, None)
    found = fit([(one.x, one.y) for one in kept], noise_mv([one.y for one in kept]), POINT_NOISE_WORTH, end)
    refused = _no_line(kept, found) or _not_level(kept, found, end)
    if refused:
        return Line(None, refused, None)
    return Line(_told(along, wrong, kept, found), [], _next(kept, found, end))


def _named(code: str, points: list[At]) -> Refusal:
    return refusal(code, [(one.record.place, one.y) for one in points], [one.record.id for one in points])


def _rises(along: list[At]) -> list[Refusal]:
    """Points that rise away from the injection by more than the meter's own error, as a whole."""
    if len(along) < 2:
        return []
    n = float(len(along))
    mx, my = math.fsum(one.x for one in along) / n, math.fsum(one.y for one in along) / n
    joint = math.fsum((one.x - mx) * (one.y - my) for one in along)
    if joint > 0 and along[-1].y - along[0].y > slack_mv([one.y for one in along]):
        return [_named("rises", [along[0], along[-1]])]
    return []


def _without_wrong_one(along: list[At]) -> tuple[list[At], At | None, list[Refusal]]:
    """The points without the one that fits no line with the others, if there is one; more are refused."""
    wrong = _wrong_one(along)
    if wrong is None:
        return along, None, []
    kept = [one for one in along if one is not wrong]
    second = _wrong_one(kept)
    return (kept, wrong, []) if second is None else (along, None, [_named("more_than_one_wrong", [wrong, second])])


def _wrong_one(along: list[At]) -> At | None:
    """The point whose leaving out betters the line most, where that is more than chance (Bonferroni over all)."""
    if len(along) < FEWEST_FOR_ONE_WRONG:
        return None
    told = noise_mv([one.y for one in along])
    _, whole = best_place([(one.x, one.y) for one in along])
    ranked = []
    for at, one in enumerate(along):
        rest = [(other.x, other.y) for other in along if other is not one]
        _, left = best_place(rest)
        df = POINT_NOISE_WORTH + len(rest) - LINE_PARAMETERS
        noise = math.sqrt((POINT_NOISE_WORTH * told * told + left) / df)
        studentized = math.sqrt(max(0.0, whole - left)) / noise
        ranked.append((2 * len(along) * t_tail(df, studentized), at))
    tail, at = min(ranked)
    return along[at] if tail < WRONG_POINT_TAIL else None


def _no_line(kept: list[At], found: Broken) -> list[Refusal]:
    """Points that jump more than they fall."""
    fall = max(one.y for one in kept) - min(one.y for one in kept)
    if found.noise <= max(slack_mv([one.y for one in kept]), ROUGHEST_SHARE * fall):
        return []
    off = sorted(kept, key=lambda one: -abs(one.y - value(found.at, found.level, found.slope, one.x)))
    return [_named("no_line", off[:2])]


def _not_level(kept: list[At], found: Broken, end: float | None) -> list[Refusal]:
    """A second slope beyond the break, or a fall to the very end of the rail: the return carries current."""
    points = [(one.x, one.y) for one in kept]
    told = noise_mv([one.y for one in kept])
    last = kept[-1].x
    if end is not None and last >= end and found.high == end and found.at >= kept[-2].x:
        return [_named("falls_to_the_end", kept[-2:])]
    if len(kept) < FEWEST_FOR_SECOND_SLOPE:
        return []
    xs = sorted({one.x for one in kept})
    # the break of a line with two slopes is sought at the points themselves: near enough to see whether there is one
    tried = [(second_slope(points, at), at) for at in xs[1:-1]]
    (first, beyond, left), at = min(tried, key=lambda one: (one[0][2], one[1]))
    df = POINT_NOISE_WORTH + len(kept) - LINE_PARAMETERS - 1
    noise = math.sqrt((POINT_NOISE_WORTH * told * told + left) / df)
    gained = math.sqrt(max(0.0, found.left - left)) / noise
    if 2 * t_tail(df, gained) < SECOND_SLOPE_TAIL and abs(beyond) > SECOND_SLOPE_SHARE * max(abs(first), found.slope):
        return [_named("return_carries_current", [one for one in kept if one.x > at])]
    return []


def _between(along: list[At], x: float) -> tuple[str, str]:
    """The places before and after x, empty where there is none."""
    before = [one.record.place for one in along if one.x <= x]
    after = [one.record.place for one in along if one.x >= x]
    return (before[-1] if before else ""), (after[0] if after else "")


def _told(along: list[At], wrong: At | None, kept: list[At], found: Broken) -> LineFit:
    first, last = kept[0].x, kept[-1].x
    shown = [value(found.at, found.level, found.slope, one.x) for one in along]
    points = tuple(
        LinePoint(
            point_id=one.record.id,
            place=one.record.place,
            along_squares=plain(one.x),
            mv=millivolts(one.y),
            fitted_mv=millivolts(fitted),
            set_aside=wrong_point(one.y, fitted) if one is wrong else "",
        )
        for one, fitted in zip(along, shown, strict=True)
    )
    corners = sorted({first, min(max(found.at, first), last), last})
    current = kept[-1].record.injected_ma
    short = found.level / current if current else None
    a_square = found.slope / current * UNIT_FACTORS["V"] if current else None
    sentence = line_words(found.at, found.low, found.high, _between(kept, found.at), short, found.noise)
    thinnest, thickest = (
        sheet_ohm(um) * UNIT_FACTORS["V"] for um in (THINNEST_FOIL_UM, THICKEST_FOIL_UM)
    )
    if a_square is not None and not thickest <= a_square <= thinnest:
        sentence = f"{sentence} {copper_doubt(a_square, thinnest, thickest)}"
    return LineFit(
        points=points,
        corners=tuple(
            LineCorner(along_squares=plain(x), mv=millivolts(value(found.at, found.level, found.slope, x)))
            for x in corners
        ),
        at_squares=plain(found.at),
        low_squares=plain(found.low),
        high_squares=None if found.high is None else plain(found.high),
        level_mv=millivolts(found.level),
        mv_per_square=millivolts(found.slope),
        noise_mv=millivolts(found.noise),
        short_ohm=None if short is None else _fine(short),
        mohm_per_square=None if a_square is None else _fine(a_square),
        sentence=sentence,
    )


def _fine(number: float) -> float:
    """A small number that keeps its digits: rounded in thousandths of the plain form."""
    return plain(number * UNIT_FACTORS["V"]) / UNIT_FACTORS["V"]


def _first_places(along: list[At], end: float | None) -> NextPlace:
    """Where to measure while there are too few points for a line: the injection, the end, the middle, one more."""
    xs = sorted({one.x for one in along})
    if not xs or xs[0] > 0:
        return NextPlace(sentence=FIRST_NEXT["injection"], along_squares=0.0)
    if len(xs) == 1:
        return NextPlace(sentence=FIRST_NEXT["end"], along_squares=end)
    gaps = sorted((before - after, 0.5 * (before + after)) for before, after in pairwise(xs))
    middle = gaps[0][1]
    if len(xs) == 2:
        return NextPlace(sentence=FIRST_NEXT["middle"].format(squares_text(middle)), along_squares=plain(middle))
    # between the two that differ most lies the fall, and the break at its end
    falls = [
        (_mean_at(along, before) - _mean_at(along, after), 0.5 * (before + after))
        for before, after in pairwise(xs)
    ]
    squares = max(falls)[1]
    told = next_words(squares, _between(along, squares), None, None)
    return NextPlace(sentence=f"{FIRST_NEXT['more']} {told}", along_squares=plain(squares))


def _mean_at(along: list[At], x: float) -> float:
    values = [one.y for one in along if one.x == x]
    return math.fsum(values) / len(values)


def _next(kept: list[At], found: Broken, end: float | None) -> NextPlace:
    """The place that is expected to leave the short's place best known."""
    last = kept[-1].x
    reach = end if end is not None else last * (1 + BEYOND_SHARE) if found.high is None else last
    points = [(one.x, one.y) for one in kept]
    low, high = _window(found, reach)
    places = [low + (high - low) * step / PLACE_GRID for step in range(PLACE_GRID + 1)]
    now = spread_after(points, places, found.noise, None, NEXT_DRAWS)
    tried = [low + (high - low) * step / NEXT_CANDIDATES for step in range(NEXT_CANDIDATES + 1)]
    ranked = [(plain(spread_after(points, places, found.noise, x, NEXT_DRAWS)), plain(x)) for x in tried]
    then, squares = min(ranked)
    return NextPlace(
        sentence=next_words(squares, _between(kept, squares), now, then),
        along_squares=squares,
        now=plain(now),
        then=then,
    )


def _window(found: Broken, reach: float) -> tuple[float, float]:
    """Where the short may lie, with as much again on either side: places farther off carry no weight."""
    high = reach if found.high is None else min(found.high, reach)
    half = max(high - found.low, found.noise / max(found.slope, found.noise))
    return max(0.0, found.low - half), min(reach, high + half)

