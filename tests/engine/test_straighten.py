"""Lines of one chip and role learn n and series resistance together, as one dense posterior by numpy says."""

import math
import random

import numpy as np
import pytest

from server.engine.accepted_board import accept_board
from server.engine.constants.sessions import (
    CHIP_N_SHARE,
    IDEALITY_OWN_SD,
    IDEALITY_SD,
    SERIES_OWN_SD_OHM,
    SERIES_UNKNOWN_SD_OHM,
)
from server.engine.lines_drawn import drawn_lines
from server.engine.meters import Conditions, slopes
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
    got = straightened(drawn_lines(BOARD, known, AT, "red"), known, AT, is_freed=False)
    own, lean = spreads_of(BOARD.contacts[0], "red")
    strength = 1 / (own * own + 4.0)
    path = BOARD.paths[0]
    assert path is not None
    # unknowns: what all groups share of n, the group's (R, n), (centre, R, n) of each line, what each board shares
    size = 1 + 2 + 15 + 6
    precision, right = np.zeros((size, size)), np.zeros(size)
    precision[0, 0] = IDEALITY_SD**-2
    precision[1, 1] = SERIES_UNKNOWN_SD_OHM**-2
    tied = np.zeros(size)
    tied[2], tied[0] = 1.0, -1.0
    precision += np.outer(tied, tied) / (CHIP_N_SHARE * IDEALITY_SD) ** 2
    for k in range(5):
        base = 3 + 3 * k
        for place, sd in ((0, SERIES_OWN_SD_OHM), (1, IDEALITY_OWN_SD)):
            row = np.zeros(size)
            row[base + 1 + place], row[1 + place] = 1.0, -1.0
            precision += np.outer(row, row) / sd**2
        for board, (value, (step, ratio)) in enumerate(zip(known[k, "red"].values, known[k, "red"].steps, strict=True)):
            row = np.zeros(size)
            row[base], row[base + 1], row[base + 2], row[18 + board] = 1.0, -step, -VT * ratio, 1.0
            precision += strength * np.outer(row, row)
            right += strength * value * row
    for board in range(6):
        per_log, per_k = slopes(known[0, "red"].values[board], path, 1.0, 23.0)
        precision[18 + board, 18 + board] += 1 / (lean**2 + (0.02 * per_log) ** 2 + (3.0 * per_k) ** 2)
    covariance = np.linalg.inv(precision)
    mean = covariance @ right
    assert got.ideality_sd == pytest.approx(math.sqrt(covariance[0, 0]), rel=0.02)
    for k in range(5):
        line_of = got.lines[k].path
        # the mean of five lines stands for their group: its own little part, a fifth of one line's, is left out
        assert line_of.series_ohm - path.series_ohm == pytest.approx(mean[3 + 3 * k + 1], abs=0.3)
        assert line_of.ideality - path.ideality == pytest.approx(mean[3 + 3 * k + 2], abs=0.01)


def test_boards_at_one_current_leave_the_path_as_it_was() -> None:
    known = {key: cell._replace(steps=[(0.0, 0.0)] * 6) for key, cell in cells(24.0, 1.4).items()}
    for contact, told in straightened(drawn_lines(BOARD, known, AT, "red"), known, AT, is_freed=False).lines.items():
        assert told.path.series_ohm == pytest.approx(BOARD.paths[contact].series_ohm)  # type: ignore[union-attr]
        assert told.doubt_mv == 0
        assert told.values == pytest.approx(known[contact, "red"].values)


@pytest.mark.parametrize(("true_ohm", "true_n"), [(5.0, 1.25), (30.0, 1.25), (5.0, 1.5), (28.0, 1.5)])
def test_what_was_carried_on_wrong_paths_is_put_right(true_ohm: float, true_n: float) -> None:
    known = cells(true_ohm, true_n)
    apart = [max(cell.values) - min(cell.values) for cell in known.values()]
    lines = straightened(drawn_lines(BOARD, known, AT, "red"), known, AT, is_freed=True).lines.values()
    after = [max(one.values) - min(one.values) for one in lines]
    assert max(after) < 8
    assert math.fsum(after) <= math.fsum(apart) + 1
