"""Lines of another maker's chip stand off together: the chain of predictions is the joint density, by numpy."""

import math

import numpy as np
import pytest

from server.engine.accepted_board import accept_board
from server.engine.constants import REVISION_OWN_SD_MV, REVISION_SD_MV
from server.engine.drops import View, normal
from server.engine.other_maker import shifted_together
from server.engine.seen import Seen
from tests.support.benches import board_of, line, sheet_of

BOARD = accept_board(sheet_of(board_of([line(n, "control", leads_to="U1") for n in range(1, 6)])))
SCALE_MV = 4.0


def told(drops: list[float]) -> list[tuple[float, float]]:
    """(where it should stand, how surely) of each of five lines that read 450 mV when healthy."""
    views = {
        (k, "red"): View(450.0, SCALE_MV, 12.0, 0.0, 0.0, 32.0, 5.0, 1.0, 2000.0, (), ()) for k in range(len(drops))
    }
    seen = {
        (k, "red"): Seen(k, "red", "m", drop, None, 1, 1, None, (f"r{k}",), str(k + 1)) for k, drop in enumerate(drops)
    }
    found = shifted_together(BOARD, seen, views)
    return [found[k, "red"].other_maker or (math.nan, math.nan) for k in range(len(drops))]


@pytest.mark.parametrize(
    "off", [[40.0, 44.0, 37.0, 41.0, 46.0], [0.0, 3.0, -4.0, 1.0, 2.0], [-60.0, -50.0, -70.0, -58.0, -61.0]]
)
def test_the_lines_together_have_the_density_of_one_shift_and_their_own_scatter(off: list[float]) -> None:
    drops = [450.0 + one for one in off]
    chain = math.fsum(math.log(normal(drop, loc, sd)) for drop, (loc, sd) in zip(drops, told(drops), strict=True))
    own = SCALE_MV**2 + REVISION_OWN_SD_MV**2
    covariance = np.full((5, 5), REVISION_SD_MV**2) + own * np.eye(5)
    away = np.array(drops) - 450.0
    _, log_determinant = np.linalg.slogdet(covariance)
    joint = -0.5 * (away @ np.linalg.solve(covariance, away) + log_determinant + 5 * math.log(2 * math.pi))
    assert chain == pytest.approx(float(joint), abs=1e-9)


def test_one_line_that_stands_off_alone_is_not_another_maker() -> None:
    drops = [450.0, 452.0, 449.0, 495.0, 451.0]
    loc, sd = told(drops)[3]
    assert loc == pytest.approx(450.5, abs=1)
    assert (495.0 - loc) / sd > 3.5


def test_a_line_with_a_fault_of_its_own_moves_nobody() -> None:
    drops = [494.0, 492.0, 496.0, 30.0, 493.0]
    found = told(drops)
    assert found[3][0] > 480
    assert sorted(loc for loc, _ in found)[1] > 480  # all but the first of the chain
