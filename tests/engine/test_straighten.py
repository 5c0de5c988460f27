"""Lines of one chip and role learn n and series resistance together, as one dense posterior by numpy says."""

import math
import random

import numpy as np
import pytest

from server.engine.accepted_board import accept_board
from server.engine.constants import IDEALITY_OWN_SD, IDEALITY_SD, SERIES_OWN_SD_OHM, SERIES_UNKNOWN_SD_OHM
from server.engine.meters import Conditions
from server.engine.reference_cells import ReferenceCell
from server.engine.roles import spreads_of
from server.engine.straighten import straightened
from tests.support.benches import board_of, line, sheet_of

VT = 0.08617333 * (273.15 + 23.0)
CURRENTS = (0.2, 0.4, 0.7, 1.0, 1.5, 1.9)
AT = Conditions("m", 1.0, 0.02, True, 23.0, 3.0)
BOARD = accept_board(sheet_of(board_of([line(n, "control", leads_to="U1") for n in range(1, 6)])))


def cells(true_ohm: float, true_n: float, seed: int = 3) -> dict[tuple[int, str], ReferenceCell]:
    """Five lines on six boards, each at its own current, carried to 1 mA by the role's n and resistance."""
    rng = random.Random(seed)
    steps = [(1.0 - ma, math.log(1.0 / ma)) for ma in CURRENTS]
    path = BOARD.paths[0]
    assert path is not None
    ohm, n = true_ohm - path.series_ohm, true_n - path.ideality
    told = {}
    for contact in range(5):
        values = [450.0 - ohm * step - n * VT * ratio + rng.gauss(0, 1.0) for step, ratio in steps]
        told[contact, "red"] = ReferenceCell(
            [f"b{k}" for k in range(6)], values, [AT] * 6, steps, 0, 0, 0, 0.0, 0.0, 0.0
        )
    return told


def test_the_lines_are_those_of_the_dense_posterior() -> None:
    known = cells(24.0, 1.4)
    got = straightened(BOARD, known, AT, "red")
    own, _ = spreads_of(BOARD.contacts[0])
    strength = 1 / (own * own + 4.0)
    # unknowns: group (R, n), then (centre, R, n) of each of five lines
    size = 2 + 15
    precision, right = np.zeros((size, size)), np.zeros(size)
    precision[0, 0], precision[1, 1] = SERIES_UNKNOWN_SD_OHM**-2, IDEALITY_SD**-2
    for k in range(5):
        base = 2 + 3 * k
        for place, sd in ((0, SERIES_OWN_SD_OHM), (1, IDEALITY_OWN_SD)):
            row = np.zeros(size)
            row[base + 1 + place], row[place] = 1.0, -1.0
            precision += np.outer(row, row) / sd**2
        for value, (step, ratio) in zip(known[k, "red"].values, known[k, "red"].steps, strict=True):
            row = np.zeros(size)
            row[base], row[base + 1], row[base + 2] = 1.0, -step, -VT * ratio
            precision += strength * np.outer(row, row)
            right += strength * value * row
    covariance = np.linalg.inv(precision)
    mean = covariance @ right
    path = BOARD.paths[0]
    assert path is not None
    for k in range(5):
        line_of = got[k].path
        # each line is given the mean of its group, which rests on its own readings too: a little apart from joint
        assert line_of.series_ohm - path.series_ohm == pytest.approx(mean[2 + 3 * k + 1], abs=0.3)
        assert line_of.ideality - path.ideality == pytest.approx(mean[2 + 3 * k + 2], abs=0.01)
        centre = math.fsum(got[k].values) / 6
        assert centre == pytest.approx(mean[2 + 3 * k], abs=0.2)


def test_boards_at_one_current_leave_the_path_as_it_was() -> None:
    known = {key: cell._replace(steps=[(0.0, 0.0)] * 6) for key, cell in cells(24.0, 1.4).items()}
    for contact, told in straightened(BOARD, known, AT, "red").items():
        assert told.path.series_ohm == pytest.approx(BOARD.paths[contact].series_ohm)  # type: ignore[union-attr]
        assert told.doubt_mv == 0
        assert told.values == pytest.approx(known[contact, "red"].values)


def test_what_was_carried_on_wrong_paths_is_put_right() -> None:
    for true_ohm, true_n in ((5.0, 1.25), (30.0, 1.25), (5.0, 1.5), (28.0, 1.5)):
        known = cells(true_ohm, true_n)
        apart = [max(cell.values) - min(cell.values) for cell in known.values()]
        after = [max(one.values) - min(one.values) for one in straightened(BOARD, known, AT, "red").values()]
        assert max(after) < 6
        assert math.fsum(after) <= math.fsum(apart) + 1
