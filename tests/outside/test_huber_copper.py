"""Huber's location on published data: copper in wholemeal flour, 24 determinations in parts per million.

Source of the data: Analytical Methods Committee, "Robust Statistics - How Not to Reject Outliers", The Analyst
114 (1989) 1693-1702, given as `chem` in Venables and Ripley, Modern Applied Statistics with S, where the
location with MAD scale and k = 1.5 stands as 3.206724 and the scale as 0.526323; read second-hand.
Does not prove: that 1.5 is the right bend for the millivolts of two meters.
"""

import random
import statistics

import pytest

from server.engine.robust import huber_location, mad_scale, mad_scale_of_few, median

COPPER_PPM = (
    2.9, 3.1, 3.4, 3.4, 3.7, 3.7, 2.8, 2.5, 2.4, 2.4, 2.7, 2.2, 5.28, 3.37, 3.03, 3.03, 28.95, 3.77, 3.4, 2.2, 3.5, 3.6,
    3.7, 3.7,
)


def test_the_centre_of_the_copper_data_is_the_published_one() -> None:
    assert len(COPPER_PPM) == 24
    assert median(COPPER_PPM) == pytest.approx(3.385, abs=1e-9)
    assert mad_scale(COPPER_PPM) == pytest.approx(0.526323, abs=1e-9 + 5e-7)
    assert huber_location(COPPER_PPM, mad_scale(COPPER_PPM)) == pytest.approx(3.206724, abs=1e-6)


def test_the_plain_mean_is_where_the_wild_value_pulls_it() -> None:
    assert sum(COPPER_PPM) / len(COPPER_PPM) == pytest.approx(4.280417, abs=1e-6)
    without = tuple(value for value in COPPER_PPM if value < 28)
    moved = huber_location(COPPER_PPM, mad_scale(COPPER_PPM)) - huber_location(without, mad_scale(without))
    assert abs(moved) < 0.06


def test_equal_values_are_their_own_centre() -> None:
    assert huber_location((452.0, 452.0, 452.0, 30.0), 0.0) == 452.0
    with pytest.raises(ValueError, match="expected at least one"):
        median(())


@pytest.mark.parametrize("count", [3, 5, 9, 15])
def test_the_scale_of_few_values_is_that_of_normal_values_on_average(count: int) -> None:
    rng = random.Random(f"few {count}")
    drawn = [mad_scale_of_few([rng.gauss(0, 1) for _ in range(count)]) for _ in range(6000)]
    assert statistics.fmean(drawn) == pytest.approx(1, abs=0.04)
    assert mad_scale_of_few([452.0]) == 0
