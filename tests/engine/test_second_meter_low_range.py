"""A second meter that forces less than diode tests do: its own doubt, and n's, is found and not put on the chips."""

import math

from server.engine.common_fit import Point, fit_common
from server.engine.fit_arrow import Prior
from server.engine.roles import Path

PLAIN = Path(1.25, 0.0, 0.0, True)


def test_a_range_of_a_tenth_of_a_milliampere_may_force_less_than_it_was_told() -> None:
    points = [Point(400.0 + 10 * k, 400.0 + 10 * k - 12.0, 2.5, PLAIN, f"U{k % 3}", 3.0) for k in range(18)]
    fit = fit_common(points, Prior(0.1, 23.0, 0.2, 0.5, 2.0), [(0.0, 0.0)], 12)
    assert fit.log_current < -0.15
    assert all(abs(chip.lean) < 1.5 for chip in fit.chips.values())


def test_no_fit_forces_less_than_half_of_what_was_told_where_that_is_below_every_diode_test() -> None:
    points = [Point(450.0, 100.0, 2.5, PLAIN) for _ in range(12)]
    fit = fit_common(points, Prior(0.1, 23.0, 5.0, 0.5, 2.0), [(0.0, 0.0)], 12)
    assert fit.log_current >= math.log(0.5) - 1e-12
