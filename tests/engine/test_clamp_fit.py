"""A clamp fitted from healthy readings: what one reading says, what a second current adds, and what it predicts."""

import math
import random

import pytest

from server.engine.circuit.clamp_fit import (
    ClampPrior,
    HealthyReading,
    carried_by,
    fit_clamp,
    inverse,
    junction_of,
    predicted,
)
from server.engine.circuit.junction import at, drop_at
from server.engine.circuit.parts import Junction

TRUTH = Junction(3e-5, 1.5, 6.0)
VT_27 = 0.08617333 * 300.15


def reading(
    current_ma: float, celsius: float = 23.0, stray_mv: float = 0.0, board: str = "", sd_mv: float = 0.8
) -> HealthyReading:
    """A healthy reading of the true clamp."""
    return HealthyReading(drop_at(at(TRUTH, celsius), current_ma) + stray_mv, current_ma, celsius, sd_mv, board)


def test_no_reading_leaves_the_prior() -> None:
    prior = ClampPrior()
    fit = fit_clamp([])
    assert fit.mean == prior.mean
    assert [math.sqrt(fit.covariance[i][i]) for i in range(3)] == pytest.approx(prior.sd)


def test_one_reading_says_the_drop_and_nothing_of_n() -> None:
    fit = fit_clamp([reading(1.0)])
    told, sd = predicted(fit, 1.0, 23.0)
    assert told == pytest.approx(drop_at(at(TRUTH, 23.0), 1.0), abs=0.01)
    assert sd == pytest.approx(0.8, abs=0.01)
    assert fit.mean[1] == pytest.approx(ClampPrior().mean[1], abs=1e-3)
    assert math.sqrt(fit.covariance[1][1]) == pytest.approx(ClampPrior().sd[1], rel=1e-3)
    # at another current the doubt of n shows: 0.2 Vt ln 10
    _, far = predicted(fit, 0.1, 23.0)
    assert far == pytest.approx(math.hypot(0.2 * 0.08617333 * 296.15 * math.log(10), 0.9 * 5), rel=0.02)


def test_a_second_current_of_the_same_board_says_n() -> None:
    fit = fit_clamp([reading(1.0, sd_mv=0.3), reading(0.1, sd_mv=0.3), reading(0.01, sd_mv=0.3)])
    assert fit.mean[1] == pytest.approx(1.5, abs=0.01)
    assert math.sqrt(fit.covariance[1][1]) < 0.015
    assert fit.worst < 1


def test_by_hand_two_decades_on_a_clamp_without_series_resistance() -> None:
    """60 mV a decade at 27 °C is n = 60 / (25.865 ln 10) = 1.0074, and IS = 1 / (exp(500 / 26.06) - 1) = 4.6e-9 mA."""
    sharp = ClampPrior(mean=(450.0, 1.25, 0.0), sd=(1e4, 100.0, 1e-6))
    readings = [HealthyReading(mv, ma, 27.0, 0.1) for mv, ma in ((500.0, 1.0), (440.0, 0.1), (380.0, 0.01))]
    fit = fit_clamp(readings, prior=sharp)
    assert fit.mean[1] == pytest.approx(60 / (VT_27 * math.log(10)), rel=1e-4)
    assert fit.junction.saturation_ma == pytest.approx(1 / math.expm1(500 / (fit.mean[1] * VT_27)), rel=1e-3)


def test_what_is_in_series_before_the_clamp_is_taken_off() -> None:
    behind = [one._replace(drop_mv=one.drop_mv + 33 * (one.current_ma or 0)) for one in (reading(1.0), reading(0.1))]
    plain, through = fit_clamp([reading(1.0), reading(0.1)]), fit_clamp(behind, before_ohm=33.0)
    assert through.mean == pytest.approx(plain.mean, abs=1e-6)


def test_the_boards_own_spread_hides_the_drop_but_not_n() -> None:
    """Ten boards 20 mV apart, each at two currents: n is known from the differences, the mean drop from the boards."""
    rng = random.Random(3)
    readings = []
    for board in range(10):
        stray = rng.gauss(0, 20)
        readings += [reading(ma, stray_mv=stray + rng.gauss(0, 0.8), board=f"b{board}") for ma in (1.0, 0.1)]
    fit = fit_clamp(readings, board_sd_mv=20.0)
    one_by_one = fit_clamp(readings)
    # what is left of n is RS's doubt alone: 5 ohm x 0.9 mA over Vt ln 10
    rs_mv = fit.covariance[2][2] ** 0.5 * 0.9
    assert math.sqrt(fit.covariance[1][1]) == pytest.approx(rs_mv / (0.08617333 * 296.15 * math.log(10)), rel=0.1)
    assert abs(fit.mean[1] - 1.5) < 3 * math.sqrt(fit.covariance[1][1])
    assert predicted(fit, 1.0, 23.0)[1] == pytest.approx(20 / math.sqrt(10), rel=0.1)
    assert predicted(one_by_one, 1.0, 23.0)[1] < 0.5, "taken for noise of their own they would look certain"


def test_the_shared_spread_is_the_full_covariances() -> None:
    """Sherman and Morrison's shortcut against the normal equations with the whole matrix, at the fit's own point."""
    readings = [reading(1.0, board="a"), reading(0.3, stray_mv=2, board="a"), reading(2.0, 40.0, board="b")]
    fit = fit_clamp(readings, board_sd_mv=5.0)
    np = pytest.importorskip("numpy")
    steps = np.eye(3) * (0.01, 1e-5, 1e-3)

    def all_of(mean: tuple[float, float, float]) -> list[float]:
        return [drop_at(at(junction_of(mean), one.celsius), one.current_ma or 0) for one in readings]

    jacobian = np.array(
        [(np.array(all_of(tuple(fit.mean + s))) - all_of(tuple(fit.mean - s))) / (2 * s.max()) for s in steps]
    ).T
    spread = np.diag([0.64] * 3) + 25 * np.array([[1, 1, 0], [1, 1, 0], [0, 0, 1]])
    prior = ClampPrior()
    normal = np.diag(1 / np.square(prior.sd)) + jacobian.T @ np.linalg.inv(spread) @ jacobian
    assert np.array(fit.covariance) == pytest.approx(np.linalg.inv(normal), rel=1e-4)
    gradient = jacobian.T @ np.linalg.inv(spread) @ (np.array([one.drop_mv for one in readings]) - all_of(fit.mean))
    gradient -= (np.array(fit.mean) - prior.mean) / np.square(prior.sd)
    assert np.linalg.inv(normal) @ gradient == pytest.approx([0, 0, 0], abs=1e-4), "the gradient is gone"


def test_fitted_intervals_hold_as_often_as_they_say() -> None:
    """400 clamps drawn from the prior, read at two currents: n and a third current's reading inside two deviations."""
    rng = random.Random(8)
    prior = ClampPrior()
    inside_n = inside_third = 0
    for _ in range(400):
        mean = (rng.gauss(400, 40), max(0.9, rng.gauss(*_of(prior, 1))), max(0.0, rng.gauss(*_of(prior, 2))))
        law = at(junction_of(mean), 23.0)
        readings = [HealthyReading(drop_at(law, ma) + rng.gauss(0, 1), ma, 23.0, 1.0) for ma in (1.0, 0.2)]
        fit = fit_clamp(readings)
        inside_n += abs(fit.mean[1] - mean[1]) < 1.96 * math.sqrt(fit.covariance[1][1])
        told, sd = predicted(fit, 2.0, 23.0)
        inside_third += abs(told - drop_at(law, 2.0)) < 1.96 * sd
    assert 365 < inside_n < 395
    assert 365 < inside_third < 398


def _of(prior: ClampPrior, place: int) -> tuple[float, float]:
    return prior.mean[place], prior.sd[place]


def test_a_reading_is_carried_along_the_fit_with_what_is_not_known_of_it() -> None:
    fit = fit_clamp([reading(1.0), reading(0.1)])
    there, sd = carried_by(fit, reading(1.0).drop_mv, 1.0, 23.0, 0.2, 5.0)
    assert abs(there - drop_at(at(TRUTH, 5.0), 0.2)) < 2 * sd < 6
    same, none = carried_by(fit, 450.0, 1.0, 23.0, 1.0, 23.0)
    assert same == pytest.approx(450.0, abs=1e-9)
    assert none == pytest.approx(0.0, abs=1e-6)


def test_a_matrix_and_its_inverse() -> None:
    rows = ((4.0, 1.0, 0.5), (1.0, 3.0, -0.2), (0.5, -0.2, 2.0))
    back = inverse(rows)
    for i in range(3):
        for j in range(3):
            assert math.fsum(rows[i][k] * back[k][j] for k in range(3)) == pytest.approx(float(i == j), abs=1e-12)
