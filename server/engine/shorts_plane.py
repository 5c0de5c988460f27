"""A short on a plane: which pad of the rail it is at, from millivolts at places of the board.

The rail's copper is taken for a uniform sheet under its pads. For a short at each pad in turn the sheet says how far
every measured place lies below the injection, up to the sheet resistance and the level there, which are fitted; how
well that agrees gives the pads their odds. Holes, necks and other layers are not known, so the agreement asked for is
rough and the answer is a neighbourhood, not a point.
"""

import math
from typing import NamedTuple

from server.engine.constants.bench import MASS_COUNTS
from server.engine.constants.shorts import (
    FOIL_UM,
    GRID_NODES_MOST,
    GRID_WIDTH_MOST,
    PLANE_CANDIDATES,
    PLANE_ERROR_SHARE,
    PLANE_FEWEST,
    PLANE_MARGIN_SHARE,
    PLANE_SHEET_SPREAD,
    PLANE_SPOTS_SHOWN,
)
from server.engine.copper import sheet_ohm
from server.engine.rounding import millivolts, plain, probability
from server.engine.sheet_grid import Factored, Grid, factor, grid_over, potentials
from server.engine.shorts_points import noise_mv, refusal, slack_mv
from server.engine.wording_points import plane_next_words, plane_words
from shared_models.board import BoardPad, BoardVersion
from shared_models.power import RailPoint
from shared_models.shorts import NextPlace, PlaneFit, PlaneSpot, Refusal


class Spot(NamedTuple):
    """A place the short may be at, or a probe may go to: a pad, or a node of the lattice where no pads are known."""

    part: str
    pin: str
    x: float
    y: float
    node: int
    free: bool


class Plane(NamedTuple):
    """What points of the plane give: a fit or a refusal, and where to go next."""

    fit: PlaneFit | None
    refusals: list[Refusal]
    next_place: NextPlace | None


class Seen(NamedTuple):
    """Measured places but the injection: node, millivolts, and how far each lies below it for a short at each node."""

    nodes: list[int]
    mv: list[float]
    below: list[list[float]]


def read_plane(board: BoardVersion, rail: str, points: list[RailPoint]) -> Plane:
    """The pads by their odds, from points with `x_mm` and `y_mm`; nothing while there are too few of them."""
    placed = [one for one in points if one.x_mm is not None and one.y_mm is not None]
    source = next((one for one in reversed(placed) if one.is_injection), None)
    others = [one for one in placed if not one.is_injection]
    if source is None:
        return Plane(None, [], None)
    pads = [pad for pad in (board.drawing.pads if board.drawing else ()) if pad.net == rail]
    refused = _outside(pads, placed) + _above_source(source, others)
    if refused:
        return Plane(None, refused, None)
    grid = _grid(pads, placed)
    factored = factor(grid, grid.node_at(source.x_mm or 0.0, source.y_mm or 0.0))
    spots = _spots(grid, pads, placed)
    if len({grid.node_at(one.x_mm or 0.0, one.y_mm or 0.0) for one in others}) < PLANE_FEWEST:
        return Plane(None, [], _farthest(spots, placed))
    seen = _seen(factored, others)
    noise = math.hypot(noise_mv(seen.mv), PLANE_ERROR_SHARE * (max(seen.mv) - min(seen.mv)))
    fits = [_fit(seen, spot.node, source.injected_ma, noise) for spot in spots]
    best = min(one.misfit for one in fits)
    raw = [math.exp(0.5 * (best - one.misfit)) for one in fits]
    total = math.fsum(raw)
    odds = [one / total for one in raw]
    fit = _told(grid, spots, odds, noise, len(others), cut=rail in (board.drawing.nets_cut if board.drawing else ()))
    return Plane(fit, [], _next(factored, spots, odds, fits, seen, noise))


def _outside(pads: list[BoardPad], placed: list[RailPoint]) -> list[Refusal]:
    """Places beyond the outermost pads of the rail."""
    if not pads:
        return []
    low, high = _corners([(pad.x_mm, pad.y_mm) for pad in pads])
    over = [
        one
        for one in placed
        if not (low[0] <= (one.x_mm or 0.0) <= high[0] and low[1] <= (one.y_mm or 0.0) <= high[1])
    ]
    return [_refused("outside_the_copper", over)] if over else []


def _above_source(source: RailPoint, others: list[RailPoint]) -> list[Refusal]:
    """Places that stand above the injection: no current leads there."""
    slack = slack_mv([source.mv, *(one.mv for one in others)])
    above = [one for one in others if one.mv > source.mv + slack]
    return [_refused("rises", above)] if above else []


def _refused(code: str, points: list[RailPoint]) -> Refusal:
    return refusal(code, [(one.place, one.mv) for one in points], [one.id for one in points])


def _corners(places: list[tuple[float, float]]) -> tuple[tuple[float, float], tuple[float, float]]:
    """The rectangle around places, a margin wider on each side."""
    xs, ys = [x for x, _ in places], [y for _, y in places]
    margin = PLANE_MARGIN_SHARE * max(max(xs) - min(xs), max(ys) - min(ys), 1.0)
    return (min(xs) - margin, min(ys) - margin), (max(xs) + margin, max(ys) + margin)


def _grid(pads: list[BoardPad], placed: list[RailPoint]) -> Grid:
    places = [(pad.x_mm, pad.y_mm) for pad in pads] or [(one.x_mm or 0.0, one.y_mm or 0.0) for one in placed]
    low, high = _corners(places)
    return grid_over(low, high, GRID_NODES_MOST, GRID_WIDTH_MOST)


def _spots(grid: Grid, pads: list[BoardPad], placed: list[RailPoint]) -> list[Spot]:
    """Where the short may be: the rail's pads, else any node; a probe is sent to those between measured places only."""
    if pads:
        return [
            Spot(pad.part, pad.pin, pad.x_mm, pad.y_mm, grid.node_at(pad.x_mm, pad.y_mm), pad.reach != "under_part")
            for pad in sorted(pads, key=lambda one: (one.part, one.pin, one.x_mm, one.y_mm))
        ]
    xs, ys = [one.x_mm or 0.0 for one in placed], [one.y_mm or 0.0 for one in placed]
    nodes = [(node, *grid.place_of(node)) for node in range(grid.nodes)]
    return [
        Spot("", "", x, y, node, min(xs) <= x <= max(xs) and min(ys) <= y <= max(ys)) for node, x, y in nodes
    ]


def _seen(factored: Factored, others: list[RailPoint]) -> Seen:
    nodes = [factored.grid.node_at(one.x_mm or 0.0, one.y_mm or 0.0) for one in others]
    by_node = {node: potentials(factored, node) for node in dict.fromkeys(nodes)}
    return Seen(nodes, [one.mv for one in others], [by_node[node] for node in nodes])


class SpotFit(NamedTuple):
    """A short at one place: the level at the injection, millivolts a sheet resistance, and how badly it agrees."""

    level: float
    scale: float
    misfit: float


def _fit(seen: Seen, spot: int, injected_ma: float | None, noise: float) -> SpotFit:
    """Least squares of ``mv = level - scale * below``; a scale far from copper's counts against it."""
    below = [one[spot] for one in seen.below]
    n = float(len(below))
    mean_b, mean_y = math.fsum(below) / n, math.fsum(seen.mv) / n
    spread = math.fsum((one - mean_b) * (one - mean_b) for one in below)
    joint = math.fsum((one - mean_b) * (y - mean_y) for one, y in zip(below, seen.mv, strict=True))
    scale = max(0.0, -joint / spread) if spread > 0 else 0.0
    left = math.fsum(
        (y - mean_y + scale * (one - mean_b)) * (y - mean_y + scale * (one - mean_b))
        for one, y in zip(below, seen.mv, strict=True)
    )
    misfit = left / (noise * noise)
    if injected_ma and scale > 0:
        off = math.log(scale / (injected_ma * sheet_ohm(FOIL_UM))) / math.log(PLANE_SHEET_SPREAD)
        misfit += off * off
    return SpotFit(mean_y + scale * mean_b, scale, misfit)


def _middle(spots: list[Spot], odds: list[float]) -> tuple[float, float, float]:
    """The mean place and one standard deviation about it."""
    x = math.fsum(one.x * share for one, share in zip(spots, odds, strict=True))
    y = math.fsum(one.y * share for one, share in zip(spots, odds, strict=True))
    square = math.fsum(
        ((one.x - x) * (one.x - x) + (one.y - y) * (one.y - y)) * share for one, share in zip(spots, odds, strict=True)
    )
    return x, y, math.sqrt(square)


def _told(grid: Grid, spots: list[Spot], odds: list[float], noise: float, used: int, *, cut: bool) -> PlaneFit:
    ranked = sorted(
        (
            PlaneSpot(part=one.part, pin=one.pin, x_mm=plain(one.x), y_mm=plain(one.y), odds=probability(share))
            for one, share in zip(spots, odds, strict=True)
        ),
        key=lambda one: (-one.odds, one.part, one.pin, one.x_mm, one.y_mm),
    )
    x, y, spread = _middle(spots, odds)
    shown = tuple(ranked[:PLANE_SPOTS_SHOWN])
    return PlaneFit(
        spots=shown,
        x_mm=plain(x),
        y_mm=plain(y),
        spread_mm=plain(spread),
        cell_mm=plain(grid.cell),
        noise_mv=millivolts(noise),
        points_used=used,
        sentence=plane_words([(one.part, one.pin, one.odds) for one in shown], x, y, spread, cut=cut),
    )


def _farthest(spots: list[Spot], placed: list[RailPoint]) -> NextPlace:
    """While there are too few points: the place farthest from all that were measured."""
    told = [
        (-min(math.hypot(one.x - (at.x_mm or 0.0), one.y - (at.y_mm or 0.0)) for at in placed), one.part, one.pin, at)
        for at, one in enumerate(spots)
        if one.free
    ]
    if not told:
        return NextPlace(sentence=plane_next_words("", "", None, None))
    return _place(spots[min(told)[-1]], None, None)


def _next(
    factored: Factored, spots: list[Spot], odds: list[float], fits: list[SpotFit], seen: Seen, noise: float
) -> NextPlace | None:
    """The free pad whose millivolts are expected to narrow the place most.

    What it would read under each short varies together with where that short lies; a reading takes out the part of the
    place's variance that goes with it: cov^2 / (var + noise^2), as for jointly Gaussian numbers.
    """
    x, y, spread = _middle(spots, odds)
    if 2 * spread < factored.grid.cell:
        return None
    likely = [at for at, share in enumerate(odds) if share > MASS_COUNTS]
    tried = sorted((one for one in spots if one.free and one.node not in seen.nodes), key=lambda one: one.node)
    step = max(1, len(tried) // PLANE_CANDIDATES)
    ranked = []
    for one in {spot.node: spot for spot in tried[::step]}.values():
        below = potentials(factored, one.node)
        reads = [fits[at].level - fits[at].scale * below[spots[at].node] for at in likely]
        mean = math.fsum(value * odds[at] for value, at in zip(reads, likely, strict=True))
        var = math.fsum((value - mean) * (value - mean) * odds[at] for value, at in zip(reads, likely, strict=True))
        along_x = math.fsum((v - mean) * (spots[at].x - x) * odds[at] for v, at in zip(reads, likely, strict=True))
        along_y = math.fsum((v - mean) * (spots[at].y - y) * odds[at] for v, at in zip(reads, likely, strict=True))
        taken = (along_x * along_x + along_y * along_y) / (var + noise * noise)
        ranked.append((plain(math.sqrt(max(0.0, spread * spread - taken))), one.part, one.pin, one.node, one))
    if not ranked:
        return None
    then, *_, best = min(ranked, key=lambda told: told[:-1])
    return _place(best, 2 * spread, 2 * then)


def _place(spot: Spot, now: float | None, then: float | None) -> NextPlace:
    where = f"{spot.part} pin {spot.pin}" if spot.part and spot.pin else spot.part
    return NextPlace(
        sentence=plane_next_words(where, f"{plain(spot.x):g}, {plain(spot.y):g}", now, then),
        part=spot.part,
        pin=spot.pin,
        x_mm=plain(spot.x),
        y_mm=plain(spot.y),
        now=None if now is None else plain(now),
        then=None if then is None else plain(then),
    )

