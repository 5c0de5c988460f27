"""What the readings of one board have in common: held against a dense solve, against leaving out, and by hand.

The dense solve is numpy's, of the same weighted least squares with Normal priors written out as one matrix with
a column for each chip; the module itself never builds that matrix.
"""

import math
import random
import sys

import numpy as np
import pytest

from server.engine.common_fit import Point, die_of, fit_common, lean_of
from server.engine.fit_arrow import Prior, symmetric_inverse
from server.engine.meters import carry, slopes
from server.engine.roles import Path

PLAIN = Path(1.25, 0.0, 0.0, True)
BENCH = Prior(current_ma=1.0, air_c=23.0, current_sd=0.02, air_sd_k=3.0, offset_sd_mv=2.0)
STEPS = 12


def board(seed: int, *, chips: int = 3, lines: int = 8, log_current: float = 0.02, kelvin: float = 2.0) -> list[Point]:
    """A healthy board: chips that lean 4 mV, contacts of their own 2 mV, read at another current and warmth."""
    rng = random.Random(seed)
    points = []
    for chip in range(chips):
        lean = rng.gauss(0, 1)
        for _ in range(lines):
            expected = rng.uniform(330, 560)
            carried = carry(expected, PLAIN, 1.0, 23.0, math.exp(log_current), 23.0 + kelvin)
            read = carried + 4 * lean + rng.gauss(0, 2)
            points.append(Point(expected, read, 2.0, PLAIN, f"U{chip}", 4.0))
    return points


def dense(points: list[Point], weights: list[float], prior: Prior) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """(unknowns, covariance, chips): the ridge regression with every column written out, by numpy."""
    names = sorted({one.chip for one in points} | {die_of(one.chip) for one in points if one.die_mv})
    rows, left, strength = [], [], []
    for one, weight in zip(points, weights, strict=True):
        per_log, per_k = slopes(one.expected_mv, one.path, prior.current_ma, prior.air_c)
        rows.append([per_log, per_k, 1.0, *_leans_of(one, names)])
        left.append(one.read_mv - one.expected_mv)
        strength.append(weight / one.scale_mv**2)
    design, w = np.array(rows), np.diag(strength)
    precision = np.diag([prior.current_sd**-2, prior.air_sd_k**-2, prior.offset_sd_mv**-2, *(1.0 for _ in names)])
    covariance = np.linalg.inv(design.T @ w @ design + precision)
    return covariance @ (design.T @ w @ np.array(left)), covariance, names


def _leans_of(one: Point, names: list[str]) -> list[float]:
    """A point's entries in the columns of groups and of whole chips."""
    die = die_of(one.chip) if one.die_mv else ""
    return [one.chip_mv * (name == one.chip) + one.die_mv * (name == die) for name in names]


def whole_chips(seed: int) -> list[Point]:
    """The same board with two roles on each chip, whose lines lean 4 mV with the chip and 2 mV by role."""
    rng = random.Random(seed)
    rows = [
        one._replace(chip=f"{one.chip}/{'ab'[n % 3 == 0]}", chip_mv=2.0, die_mv=4.0)
        for n, one in enumerate(board(seed))
    ]
    own = {name: rng.gauss(0, 2) for name in sorted({one.chip for one in rows})}
    return [one._replace(read_mv=one.read_mv + own[one.chip]) for one in rows]


@pytest.mark.parametrize("points", [*map(board, range(8)), *map(whole_chips, range(8))])
def test_the_eliminated_fit_is_the_dense_fit(points: list[Point]) -> None:
    fit = fit_common(points, BENCH, [(0.0, 0.0)], STEPS)
    unknowns, covariance, names = dense(points, fit.weights, BENCH)
    for one in points:
        per_log, per_k = slopes(one.expected_mv, one.path, 1.0, 23.0)
        shared, variance = lean_of(fit, one.chip, one.chip_mv, one.die_mv, per_log, per_k)
        row = np.array([per_log, per_k, 1.0, *_leans_of(one, names)])
        # carrying over 2 K is not quite linear: hundredths of a millivolt
        assert shared + per_log * fit.log_current + per_k * fit.kelvin == pytest.approx(row @ unknowns, abs=0.05)
        assert variance == pytest.approx(row @ covariance @ row, rel=0.01)


@pytest.mark.parametrize("seed", range(4))
def test_a_chip_that_was_not_read_keeps_its_whole_doubt(seed: int) -> None:
    fit = fit_common(board(seed), BENCH, [(0.0, 0.0)], STEPS)
    shared, variance = lean_of(fit, "U9", 4.0, 0.0, 32.0, -2.5)
    same, without = lean_of(fit, "", 0.0, 0.0, 32.0, -2.5)
    assert shared == same
    assert variance == pytest.approx(without + 16.0)


def test_two_contacts_of_one_chip_by_hand() -> None:
    # only the chip may move: both read 6 mV high, each known to 2 mV, the chip leans 4 mV.
    # precision of the lean: 1 + 2 * 16 / 4 = 9; mean: 2 * 4 * 6 / 4 / 9 = 4/3 deviations = 5.33 mV
    tight = Prior(1.0, 23.0, 1e-6, 1e-6, 1e-6)
    points = [Point(400.0, 406.0, 2.0, PLAIN, "U1", 4.0), Point(500.0, 506.0, 2.0, PLAIN, "U1", 4.0)]
    fit = fit_common(points, tight, [(0.0, 0.0)], STEPS)
    healthy = fit.weights[0]
    precision = 1 + 2 * healthy * 16 / 4
    assert healthy > 0.9
    assert fit.chips["U1"].precision == pytest.approx(precision, rel=1e-6)
    lean_mv, _ = lean_of(fit, "U1", 4.0, 0.0, 32.0, -2.5)
    assert lean_mv == pytest.approx(4 * 2 * healthy * 4 * 6 / 4 / precision, rel=1e-4)


def test_a_lone_line_leans_with_the_other_lines_of_its_chip() -> None:
    # eight lines say that the chip leans 8 mV, two deviations; the ninth has another role and was not read
    tight = Prior(1.0, 23.0, 1e-6, 1e-6, 1e-6)
    points = [Point(340.0 + n, 348.0 + n, 2.0, PLAIN, "U1/lane", 1.0, 4.0) for n in range(8)]
    fit = fit_common(points, tight, [(0.0, 0.0)], STEPS)
    shared, variance = lean_of(fit, "U1/control", 1.0, 4.0, 32.0, -2.5)
    assert 6 < shared < 8
    assert variance < 4
    alone, doubt = lean_of(fit, "U2/control", 1.0, 4.0, 32.0, -2.5)
    assert (alone, doubt) == pytest.approx((0.0, 17.0), abs=1e-6)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.6])
def test_low_contacts_do_not_drag_what_is_common(share: float) -> None:
    errors = []
    for seed in range(20):
        rng = random.Random(1000 + seed)
        points = board(seed, log_current=0.0, kelvin=0.0, chips=4, lines=8)
        low = set(rng.sample(range(len(points)), round(share * len(points))))
        hurt = [
            one._replace(read_mv=one.read_mv - math.exp(rng.uniform(math.log(3), math.log(300))))
            if place in low
            else one
            for place, one in enumerate(points)
        ]
        fit = fit_common(hurt, BENCH, [(0.0, 0.0)], STEPS)
        per_log, per_k = slopes(450.0, PLAIN, 1.0, 23.0)
        errors.append(fit.offset_mv + per_log * fit.log_current + per_k * fit.kelvin)
    # common movement was nothing; the sheet's own doubt is 7 mV
    assert math.sqrt(math.fsum(e * e for e in errors) / len(errors)) < (3.0 if share < 0.5 else 5.0)


def test_the_inverse_of_three_by_three_is_numpys() -> None:
    rng = np.random.default_rng(5)
    for _ in range(20):
        half = rng.normal(size=(3, 3))
        full = half @ half.T + np.eye(3)
        inverse, determinant = symmetric_inverse(*(full[i, j] for i in range(3) for j in range(i, 3)))
        told = np.linalg.inv(full)
        assert inverse == pytest.approx([told[i, j] for i in range(3) for j in range(i, 3)], rel=1e-9)
        assert determinant == pytest.approx(np.linalg.det(full), rel=1e-9)


def test_no_readings_say_what_the_sheet_says() -> None:
    fit = fit_common([], BENCH, [(0.0, 0.0)], STEPS)
    assert (fit.log_current, fit.kelvin, fit.offset_mv) == (0.0, 0.0, 0.0)
    assert lean_of(fit, "", 0.0, 0.0, 32.0, -2.5)[1] == pytest.approx((32 * 0.02) ** 2 + (2.5 * 3) ** 2 + 4.0)


def test_the_last_bit_of_a_reading_moves_no_fit() -> None:
    """The middle reading of a group lies at zero where a fit starts from it; on which side must not matter."""
    reads = [-6.0, -2.0, 0.0, 1.0, 9.0]
    fits = []
    for bit in (-1e-12, 0.0, 1e-12):
        points = [Point(450.0, 450.0 + off + (bit if off == 0 else 0.0), 3.0, PLAIN, "U1", 5.0) for off in reads]
        fits.append(fit_common(points, BENCH, [(0.0, 0.0)], 3))
    assert fits[0].kelvin == pytest.approx(fits[1].kelvin, abs=1e-9)
    assert fits[2].kelvin == pytest.approx(fits[1].kelvin, abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_each_weight_is_its_own_points_whatever_leans_alike(seed: int) -> None:
    points = whole_chips(seed)
    # one contact far off, and one that leans less than the others of its group
    points[3] = points[3]._replace(read_mv=points[3].read_mv - 90)
    points[9] = points[9]._replace(chip_mv=1.0)
    order = random.Random(seed).sample(range(len(points)), len(points))
    fit = fit_common(points, BENCH, [(0.0, 0.0)], STEPS)
    mixed = fit_common([points[place] for place in order], BENCH, [(0.0, 0.0)], STEPS)
    assert fit.weights[3] < 0.01
    assert fit.weights[9] > 0.5
    assert mixed.weights == pytest.approx([fit.weights[place] for place in order], abs=1e-9)
    assert mixed.evidence == pytest.approx(fit.evidence, abs=1e-9)


def test_hundreds_of_unlikely_readings_keep_their_evidence() -> None:
    # no two read alike and each is far off: the product of the densities is below the smallest float
    tight = Prior(1.0, 23.0, 1e-6, 1e-6, 1e-6)
    points = [Point(400.0, 900.0 + n, 2.0, PLAIN) for n in range(200)]
    few, many = (fit_common(points[:count], tight, [(0.0, 0.0)], STEPS).evidence for count in (20, 200))
    # beyond the deepest fault all are equally unlikely: ten times as many, ten times the logarithm, less what the
    # average over four shares of faults is worth
    assert many == pytest.approx(10 * few, rel=0.1)
    assert many < math.log(sys.float_info.min)
