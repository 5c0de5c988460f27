"""Which way the technician counts: possible orders, their odds, and the contacts that tell them apart.

Makers, board files and panel sheets number a socket differently; a sheet counted from another end
looks like twenty faults. Each possible order maps a written number to a contact. The odds of an
order come from how well the readings fit healthy bands when they are moved to where it puts them.
"""

import math
from typing import NamedTuple

from server.engine.accept import Touched
from server.engine.accepted_board import Board
from server.engine.bands import Healthy
from server.engine.constants.next_touch import (
    ANCHOR_BIN_MV,
    ANCHOR_SETTLED,
    ANCHOR_SETTLED_EARLY,
    ANCHORS_MAX,
    COUNTED_DIFFERENTLY,
    ODD_READING,
)
from server.engine.constants.readings import DIFFUSE_MAX_MV, DOUBLE_TOUCH_MV, FAIL_OL
from server.engine.student import StudentT
from shared_models.reading import Drop

AS_DRAWN = "as_drawn"


class Order(NamedTuple):
    """One way to count: its name, and written contact index -> contact index as drawn."""

    name: str
    to_drawn: list[int]


class Counting(NamedTuple):
    """The odds of each order (best first), the anchors that tell them apart, and the order to go by.

    `best` is as drawn until the readings settle on another order.
    """

    orders: list[tuple[float, Order]]
    anchors: list[int]
    settled: bool
    best: Order


def possible_orders(board: Board) -> list[Order]:
    """As drawn, and every other way the rows can be counted; doubles are dropped."""
    rows = board.rows
    ways: list[tuple[str, list[list[int]]]] = [("from_the_other_end", [list(reversed(row)) for row in reversed(rows)])]
    if len(rows) == 2:
        ways.append(("from_the_other_side", [list(reversed(row)) for row in rows]))
        ways.append(("other_row_first", [list(row) for row in reversed(rows)]))
    orders = [Order(AS_DRAWN, list(range(len(board.contacts))))]
    lengths = [len(row) for row in rows]
    for name, counted in ways:
        if [len(row) for row in counted] != lengths:
            continue
        to_drawn = [0] * len(board.contacts)
        for row, other in zip(rows, counted, strict=True):
            for written, drawn in zip(row, other, strict=True):
                to_drawn[written] = drawn
        if all(to_drawn != order.to_drawn for order in orders):
            orders.append(Order(name, to_drawn))
    return orders


class Ways(NamedTuple):
    """All ways to count a socket, and the contacts that tell them apart; no reading changes them."""

    orders: list[Order]
    anchors: list[int]


def ways_to_count(board: Board, healthy: list[Healthy]) -> Ways:
    """The possible orders and their anchors; `healthy` is each contact's band with red on ground."""
    orders = possible_orders(board)
    return Ways(orders, _anchors(board, orders, healthy))


def count(board: Board, ways: Ways, sweep: list[Touched], healthy: list[Healthy], slack_mv: float) -> Counting:
    """The odds of each order given the readings as written.

    `healthy` is each contact's band with red on ground; `slack_mv` how far the whole session may be
    shifted (other meter, other temperature).
    """
    orders, anchors = ways
    scores = []
    for order in orders:
        prior = 1 - COUNTED_DIFFERENTLY if order.name == AS_DRAWN else COUNTED_DIFFERENTLY / max(1, len(orders) - 1)
        scores.append(
            math.log(prior)
            + math.fsum(
                _fit(touched, healthy[order.to_drawn[board.places[_written(touched)]]], slack_mv)
                for touched in sweep
                if touched.reading.lead_on_ground == "red" and not touched.reading.numbered_as_drawn
            )
        )
    top = max(scores)
    weights = [math.exp(score - top) for score in scores]
    total = math.fsum(weights)
    ranked = sorted(
        ((weight / total, order) for weight, order in zip(weights, orders, strict=True)),
        key=lambda one: (-one[0], one[1].name),
    )
    written = sorted({board.places[_written(touched)] for touched in sweep})
    sure = ranked[0][0] >= (ANCHOR_SETTLED if len(written) > ANCHORS_MAX else ANCHOR_SETTLED_EARLY)
    # where no contact tells the orders apart, the prior alone settles nothing
    settled = len(orders) == 1 or (bool(anchors) and sure and len(written) >= 2)
    return Counting(ranked, anchors, settled, ranked[0][1] if settled else orders[0])


def _written(touched: Touched) -> str:
    return getattr(touched.reading.touch, "contact", "")


def _fit(touched: Touched, band: Healthy, slack_mv: float) -> float:
    """Log of how well a reading fits a healthy contact there; odd readings cost a bounded amount."""
    if not isinstance(touched.value, Drop):
        density = (1 - ODD_READING) * band.ol_odds + ODD_READING * FAIL_OL
        return math.log(density)
    wide = StudentT(band.df, band.loc, math.hypot(band.scale, slack_mv if band.loc > ANCHOR_BIN_MV else 0.0))
    drop_mv = touched.value.drop_mv
    # faults are one-sided: an odd reading lies below its band more often than anywhere else
    low = 0.5 / band.loc if 0 < drop_mv < band.loc else 0.0
    density = (1 - ODD_READING) * (1 - band.ol_odds) * math.exp(wide.logpdf(drop_mv)) + ODD_READING * (
        low + 0.5 / DIFFUSE_MAX_MV
    )
    return math.log(density)


def _class_of(band: Healthy) -> int:
    """What a healthy contact would show, in coarse classes: OL is -1, near zero is 0, then drops."""
    if band.ol_odds > 0.5:
        return -1
    return 0 if band.loc < DOUBLE_TOUCH_MV else 1 + int(band.loc / ANCHOR_BIN_MV)


def _apart(one: int, other: int) -> float:
    """How surely two classes are told apart by one touch: a ground or an OL more surely than two drops."""
    if one == other:
        return 0.0
    return 1.0 if min(one, other) < 1 else 0.5


def _anchors(board: Board, orders: list[Order], healthy: list[Healthy]) -> list[int]:
    """Two to four contacts that tell all orders apart, each pair of orders by two sure touches where possible."""
    classes = [_class_of(band) for band in healthy]
    pairs = [(one.to_drawn, other.to_drawn) for place, one in enumerate(orders) for other in orders[place + 1 :]]
    # how surely a touch of each contact tells each pair of orders apart
    apart = [
        [_apart(classes[one[contact]], classes[other[contact]]) for one, other in pairs]
        for contact in range(len(board.contacts))
    ]
    wanted = [2.0] * len(pairs)
    chosen: list[int] = []
    while len(chosen) < ANCHORS_MAX and any(left > 0 for left in wanted):
        best, best_worth = -1, 0.0
        for contact, sure in enumerate(apart):
            worth = math.fsum(map(min, wanted, sure))
            if worth > best_worth and contact not in chosen:
                best, best_worth = contact, worth
        if best < 0:
            break
        chosen.append(best)
        wanted = [left - sure for left, sure in zip(wanted, apart[best], strict=True)]
    return chosen
