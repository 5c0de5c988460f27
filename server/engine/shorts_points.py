"""The points of one shorted rail that stand, and those that make no sense: named, never dropped in silence.

Millivolts along a rail are compared at one current and against one return only. What a supply cannot give, what lies
beyond the rail's end and what rises away from the injection is refused by the point's place.
"""

from collections.abc import Sequence
from typing import NamedTuple

from server.engine.constants.shorts import (
    ABOVE_INJECTED_SHARE,
    NOISE_SPANS,
    POINT_NOISE_MV,
    POINTS_MOST,
    SAME_CURRENT_SHARE,
)
from server.engine.wording_points import refusal_words
from shared_models.power import RailPoint
from shared_models.shorts import Refusal, ShortRailQuestion


class Standing(NamedTuple):
    """The points at the newest setting, oldest first; `aside` those of another current or return, with why."""

    used: list[RailPoint]
    aside: list[tuple[RailPoint, str]]


def noise_mv(values: Sequence[float]) -> float:
    """What one point is off by, in millivolts, by the finest digit that any of them shows."""
    for decimals in sorted(POINT_NOISE_MV):
        if all(round(value, int(decimals)) == value for value in values):
            return POINT_NOISE_MV[decimals]
    return min(POINT_NOISE_MV.values())


def slack_mv(values: Sequence[float]) -> float:
    """How far two points must stand apart to be taken for different."""
    return NOISE_SPANS * noise_mv(values)


def standing_points(question: ShortRailQuestion) -> Standing:
    """Points of this rail that were not taken back or corrected, of the newest current and return."""
    gone = {*question.removed_ids, *(one.supersedes for one in question.points if one.supersedes)}
    mine = [one for one in question.points if one.id not in gone and one.rail == question.rail]
    mine.sort(key=lambda one: (one.taken_at_ms, one.id))
    measured = [one for one in mine if not one.is_return]
    if not measured:
        return Standing([], [])
    newest = measured[-1]
    alike = [one for one in measured if _same_setting(one, newest)]
    aside = [(one, "another current or return than the newest point") for one in measured if one not in alike]
    aside += [(one, f"older than the newest {POINTS_MOST}") for one in alike[:-POINTS_MOST]]
    return Standing(alike[-POINTS_MOST:], aside)


def _same_setting(one: RailPoint, newest: RailPoint) -> bool:
    a, b = one.injected_ma, newest.injected_ma
    alike = a == b if a is None or b is None else abs(a - b) <= SAME_CURRENT_SHARE * b
    return alike and one.return_at.strip().lower() == newest.return_at.strip().lower()


def nonsense(points: list[RailPoint]) -> list[Refusal]:
    """What no shorted rail shows, whatever lies along it: negative, or above what is injected."""
    told = []
    slack = slack_mv([one.mv for one in points])
    negative = [one for one in points if one.mv < -slack]
    if negative:
        told.append(_refusal("negative", negative))
    above = [
        one
        for one in points
        if one.injected_mv is not None and one.mv > one.injected_mv * (1 + ABOVE_INJECTED_SHARE) + slack
    ]
    if above:
        told.append(_refusal("above_injected", above))
    if not above and not negative and all_alike(points):
        told.append(_refusal("all_equal", points))
    return told


def all_alike(points: list[RailPoint]) -> bool:
    """Three points or more that differ by no more than a meter does."""
    values = [one.mv for one in points]
    return len(values) > 2 and max(values) - min(values) <= slack_mv(values)


def beyond_end(points: list[RailPoint]) -> list[Refusal]:
    """Points along the rail that lie beyond where it was said to end."""
    ends = [one for one in points if one.is_end and one.along_squares is not None]
    if not ends:
        return []
    end = ends[-1].along_squares or 0.0
    over = [one for one in points if one.along_squares is not None and one.along_squares > end]
    return [_refusal("beyond_end", over, end=end)] if over else []


def _refusal(code: str, points: list[RailPoint], end: float | None = None) -> Refusal:
    return refusal(code, [(one.place, one.mv) for one in points], [one.id for one in points], end=end)


def refusal(code: str, named: list[tuple[str, float]], ids: list[str], end: float | None = None) -> Refusal:
    """A refusal in words that name the points."""
    return Refusal(code=code, sentence=refusal_words(code, named, end), point_ids=tuple(ids))
