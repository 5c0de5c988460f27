"""The world's closed forms, over arrays: what a junction reads, and what it reads with a leak across it.

mV, mA, ohm, kelvin. ngspice solves the same circuits for the world; a test holds the two together.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tests.support.bench import tables as t

Array = NDArray[np.float64]
HALVINGS = 30
NOMINAL_K = t.CELSIUS_0 + t.NOMINAL_C


def reading_mv(
    junction_mv: ArrayLike, ideality: ArrayLike, series_ohm: ArrayLike, current_ma: ArrayLike, celsius: ArrayLike
) -> Array:
    """A junction of `junction_mv` at 1 mA and 25 °C, behind a resistance, at another current and temperature."""
    ma = np.asarray(current_ma, float)
    return _junction(junction_mv, ideality, ma, celsius) + np.asarray(series_ohm) * ma


def _junction(junction_mv: ArrayLike, ideality: ArrayLike, current_ma: ArrayLike, celsius: ArrayLike) -> Array:
    n, kelvin = np.asarray(ideality, float), np.asarray(celsius, float) + t.CELSIUS_0
    nominal = np.asarray(junction_mv, float) / (n * t.VT_MV_PER_K * NOMINAL_K)
    log_saturation = -nominal - np.log1p(-np.exp(-nominal))
    ratio, n_vt = kelvin / NOMINAL_K, n * t.VT_MV_PER_K * kelvin
    log_saturation = log_saturation + (ratio - 1) * t.BANDGAP_MV / n_vt + t.XTI / n * np.log(ratio)
    return n_vt * np.log1p(np.asarray(current_ma, float) * np.exp(-log_saturation))


def leaky_mv(
    junction_mv: ArrayLike, ideality: ArrayLike, series_ohm: ArrayLike, current_ma: ArrayLike, celsius: ArrayLike,
    leak_ohm: ArrayLike,
) -> Array:  # fmt: skip
    """The same with a leak from the contact to ground, by halving."""
    whole = reading_mv(junction_mv, ideality, series_ohm, current_ma, celsius)
    leak, ma, series = np.asarray(leak_ohm, float), np.asarray(current_ma, float), np.asarray(series_ohm, float)
    high = np.minimum(whole, leak * ma)
    low = np.zeros_like(high)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        left = np.maximum(ma - middle / leak, 0.0)
        above = _junction(junction_mv, ideality, left, celsius) + series * left > middle
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return (low + high) / 2
