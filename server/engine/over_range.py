"""How often a healthy contact shows OL, given on how many healthy boards it did.

A contact is one of three: it always shows a number, it always shows OL, or it is the one on some boards and the other
on others, in any share alike likely. The first two also show what they are not when a touch failed. So one OL among
eight healthy boards is a touch that missed, and not one board in nine on which the contact is healthily open; three of
eight are no missed touches any more.
"""

import math

from server.engine.constants.readings import (
    FAIL_ANY,
    FAIL_NEIGHBOUR,
    FAIL_OL,
    FINE_PITCH_MM,
    OL_SURPRISE,
    OL_VARIES,
    TOUCH_FAILS_FINE,
    TOUCH_FAILS_WIDE,
)
from shared_models.sheet import Shop


def touch_fails(pitch_mm: float, shop: Shop | None) -> float:
    """The share of first touches that fail at a pitch: the shop's own where it has learnt it, else the table's."""
    if pitch_mm < FINE_PITCH_MM:
        return (shop.touch_fails_fine if shop is not None else None) or TOUCH_FAILS_FINE
    return (shop.touch_fails_wide if shop is not None else None) or TOUCH_FAILS_WIDE


def ol_odds_of(over_range: int, boards: int, *, by_role: bool, fails: float) -> float:
    """The probability that a healthy contact shows OL on the next board.

    `over_range` of `boards` healthy boards showed OL; `by_role`: whether its role or path says that it does; `fails`:
    the share of touches that fail. Exact for the three kinds above: binomial for the first two, and for the third the
    beta-binomial of a share that is anywhere alike likely, 1 / (boards + 1), whose next one shows OL with
    (over_range + 1) / (boards + 2), Laplace's rule of succession.
    """
    shows_ol = 1 - OL_SURPRISE - OL_VARIES if by_role else OL_SURPRISE
    missed, slipped = fails * FAIL_OL, fails * (FAIL_NEIGHBOUR + FAIL_ANY)
    always_number = (1 - OL_VARIES - shows_ol) * _binomial(over_range, boards, missed)
    always_ol = shows_ol * _binomial(boards - over_range, boards, slipped)
    either = OL_VARIES / (boards + 1)
    return (always_ol + either * (over_range + 1) / (boards + 2)) / (always_number + always_ol + either)


def _binomial(times: int, of: int, share: float) -> float:
    """The chance of `times` out of `of`."""
    return math.comb(of, times) * math.exp(times * math.log(share) + (of - times) * math.log1p(-share))
