"""The diode law with its +1, at any temperature, and in series with a resistance by Lambert's W.

Sources: Shockley's equation; the temperature law of the SPICE diode (IS(T) = IS (T/Tn)^(XTI/n)
exp((T/Tn - 1) EG / (n Vt(T))), L. W. Nagel, SPICE2, UCB/ERL M520, 1975, and ngspice 39's manual). W is found
from w + ln w = x, which does not overflow where exp(x) would (a source of 20 V does it for n = 1).
"""

import math
from typing import NamedTuple

from server.engine.circuit.parts import Junction, check_junction, check_temperature, forced_current
from server.engine.constants.circuit import LEAST_SATURATION_MA, NOMINAL_C, W_STEPS, W_STOP
from server.engine.constants.sessions import BANDGAP_MV, KELVIN, VT_MV_PER_K, XTI


class Law(NamedTuple):
    """A junction at one temperature: IS in mA, n Vt in mV, RS in ohm."""

    saturation_ma: float
    nvt_mv: float
    series_ohm: float


def at(junction: Junction, celsius: float) -> Law:
    """The junction's law at a temperature."""
    kelvin = KELVIN + celsius
    ratio = kelvin / (KELVIN + NOMINAL_C)
    nvt = junction.ideality * VT_MV_PER_K * kelvin
    saturation = junction.saturation_ma * math.exp(
        XTI / junction.ideality * math.log(ratio) + (ratio - 1) * BANDGAP_MV / nvt
    )
    return Law(saturation, nvt, junction.series_ohm)


def nominal(law: Law, celsius: float) -> Junction:
    """The other way round: the junction whose law at `celsius` this is."""
    kelvin = KELVIN + celsius
    ratio = kelvin / (KELVIN + NOMINAL_C)
    ideality = law.nvt_mv / (VT_MV_PER_K * kelvin)
    saturation = law.saturation_ma * math.exp(-XTI / ideality * math.log(ratio) - (ratio - 1) * BANDGAP_MV / law.nvt_mv)
    return Junction(saturation, ideality, law.series_ohm)


def drop_at(law: Law, current_ma: float) -> float:
    """The drop at a forced forward current, mV; the current may be 0."""
    return law.nvt_mv * math.log1p(current_ma / law.saturation_ma) + law.series_ohm * current_ma


def saturation_for(junction_mv: float, nvt_mv: float, current_ma: float) -> float:
    """IS of the junction that drops `junction_mv` (without RS) at a current: I / (exp(V / n Vt) - 1), in mA."""
    return max(LEAST_SATURATION_MA, current_ma / math.expm1(junction_mv / nvt_mv))


def lambert_w_of_exp(x: float) -> float:
    """W(exp(x)), the w with w + ln w = x, by Newton's steps in w; no overflow for any x a double holds."""
    w = x - math.log(x) if x > 2 else math.exp(x) / (1 + math.exp(x)) if x < 0 else 0.5 * (1 + x)
    for _ in range(W_STEPS):
        if w <= 0:
            return 0.0  # exp(x) is below the smallest double
        after = w * (1 + x - math.log(w)) / (1 + w)
        if abs(after - w) <= W_STOP * after:
            return after
        w = after
    return w


def carried(
    drop_mv: float,
    ideality: float,
    series_ohm: float,
    from_ma: float,
    from_c: float,
    to_ma: float,
    to_c: float,
) -> float:
    """A reading across a junction behind `series_ohm`, carried to another current and temperature with the +1 kept.

    Where the reading leaves nothing for the junction (a short), it is a resistance and goes with the current.
    Raises SheetError for a temperature, a current or an ideality that cannot be.
    """
    check_temperature(from_c)
    check_temperature(to_c)
    check_junction(Junction(1.0, ideality, series_ohm), "$.junction")
    forced_current(from_ma)
    forced_current(to_ma)
    nvt = ideality * VT_MV_PER_K * (KELVIN + from_c)
    junction_mv = drop_mv - series_ohm * from_ma
    if junction_mv <= 0:
        return drop_mv * to_ma / from_ma
    there = nominal(Law(saturation_for(junction_mv, nvt, from_ma), nvt, series_ohm), from_c)
    check_junction(there, "$.junction")
    return drop_at(at(there, to_c), to_ma)
