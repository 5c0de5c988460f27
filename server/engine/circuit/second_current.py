"""The same contact of the same board at two currents: a leak, with the board's own spread cancelled.

A leak takes V / R whatever the current, so at the lower current the junction keeps a smaller share and the
reading falls further than the diode law says. The junction's own drop (its IS) is the board's and unknown; it is
taken from the first reading for every leak tried, and the second reading decides:
    V1 - V2 = n Vt ln((i1 + IS) / (i2 + IS)) + R_s (i1 - i2),  i = I - V / R,  R the leak at the contact,
R_s everything in series behind it. Its left side is measured, its right side grows with 1 / R. Kirchhoff and
Shockley; JCGM 100:2008, 5.1 for the interval.
"""

import math
from typing import NamedTuple

from server.engine.circuit.junction import Law, saturation_for
from server.engine.circuit.ladder import Ladder, drop_on
from server.engine.circuit.parts import check_temperature, forced_current
from server.engine.constants import (
    CURRENT_SD_KNOWN,
    IDEALITY,
    IDEALITY_SD,
    KELVIN,
    LEAD_NOISE_OHM,
    NOISE_MV,
    REFERENCE_C,
    VT_MV_PER_K,
)
from server.engine.constants.circuit import CLAMP_OHM_SD, HALVINGS, LEAST_CURRENT_RATIO, TWO_SIDED_95
from server.engine.errors import SheetError


class At(NamedTuple):
    """A drop at a current: mV, mA."""

    drop_mv: float
    current_ma: float


class Behind(NamedTuple):
    """What is behind the contact, with deviations: n, the resistance in series (parts and RS), and the temperature."""

    series_ohm: float
    ideality: float = IDEALITY
    ideality_sd: float = IDEALITY_SD
    series_sd_ohm: float = CLAMP_OHM_SD
    celsius: float = REFERENCE_C


class PairDoubts(NamedTuple):
    """Deviations of one reading (mV, each alone), of the touch (ohm), and of the ratio of the currents (ln)."""

    noise_mv: float = NOISE_MV
    touch_ohm: float = LEAD_NOISE_OHM
    ratio: float = CURRENT_SD_KNOWN


class PairLeak(NamedTuple):
    """The leak that two readings of one contact speak of.

    `ohm` None: none is seen. `low_ohm` to `high_ohm`: 95 %; `high_ohm` None: perhaps none at all; `low_ohm` None:
    any leak would fit (never a number made of nothing). `more_mv`: how much further the second reading fell than
    a healthy one's would have, `sd_mv` the deviation of that.
    """

    ohm: float | None
    low_ohm: float | None
    high_ohm: float | None
    more_mv: float
    sd_mv: float


def leak_from_pair(one: At, other: At, behind: Behind, doubts: PairDoubts | None = None) -> PairLeak:
    """The leak at the contact from two readings; whichever comes first.

    Raises SheetError for readings that are none, for currents too alike to say anything, an impossible temperature.
    """
    doubts = doubts or PairDoubts()
    high, low = (one, other) if one.current_ma >= other.current_ma else (other, one)
    _check(high, low, behind)
    siemens = _solved(high, low, behind)
    half = TWO_SIDED_95 * _spread(high, low, behind, doubts, siemens)
    most, least = siemens + half, siemens - half
    return PairLeak(
        1 / siemens if siemens > 0 else None,
        1 / most if most > 0 else None,
        1 / least if least > 0 else None,
        _excess(high, low, behind, 0.0),
        _spread(high, low, behind, doubts, None),
    )


def expected_second(first: At, second_ma: float, behind: Behind, leak_ohm: float | None) -> float | None:
    """What the same contact of the same board reads at another current, if it has this leak (None: none), in mV.

    None where the first reading leaves no current for the junction: then the leak cannot be that small, and nothing
    is predicted.
    """
    check_temperature(behind.celsius)
    forced_current(second_ma)
    siemens = 0.0 if leak_ohm is None else 1 / leak_ohm
    law = _law(first, behind, siemens)
    if law is None:
        return None
    return drop_on(Ladder(((0.0, siemens, 0.0),), law, 0.0), second_ma, 0.0)


def _nvt(behind: Behind) -> float:
    return behind.ideality * VT_MV_PER_K * (KELVIN + behind.celsius)


def _law(first: At, behind: Behind, siemens: float) -> Law | None:
    """The junction of this board, from one reading and the leak."""
    through = first.current_ma - first.drop_mv * siemens
    across = first.drop_mv - behind.series_ohm * through
    if through <= 0 or across <= 0:
        return None
    nvt = _nvt(behind)
    return Law(saturation_for(across, nvt, through), nvt, behind.series_ohm)


def _excess(high: At, low: At, behind: Behind, siemens: float) -> float:
    """How much further the lower reading fell than this leak explains, mV; minus infinity for a leak beyond it."""
    law = _law(high, behind, siemens)
    through = low.current_ma - low.drop_mv * siemens
    if law is None or through <= -law.saturation_ma:
        return -math.inf
    expected = law.nvt_mv * math.log1p(through / law.saturation_ma) + law.series_ohm * through
    return expected - low.drop_mv


def _solved(high: At, low: At, behind: Behind) -> float:
    """The leak's conductance (S) that leaves no excess, by halving; below zero where the pair speaks the other way.

    The excess falls with the conductance.
    """
    most = min(high.current_ma / high.drop_mv, low.current_ma / low.drop_mv)
    least = -most
    for _ in range(HALVINGS):
        middle = 0.5 * (least + most)
        if _excess(high, low, behind, middle) > 0:
            least = middle
        else:
            most = middle
    return 0.5 * (least + most)


def _spread(high: At, low: At, behind: Behind, doubts: PairDoubts, siemens: float | None) -> float:
    """The deviation of the conductance, or (`siemens` None) of the excess of a healthy line.

    Everything they rest on is moved by a whole deviation, so that it holds where they bend.
    """
    noise = [math.hypot(doubts.noise_mv, doubts.touch_ohm * at.current_ma) for at in (high, low)]
    moved = [
        (high._replace(drop_mv=high.drop_mv + noise[0]), low, behind),
        (high, low._replace(drop_mv=low.drop_mv + noise[1]), behind),
        (high, low._replace(current_ma=low.current_ma * (1 + doubts.ratio)), behind),
        (high, low, behind._replace(ideality=behind.ideality + behind.ideality_sd)),
        (high, low, behind._replace(series_ohm=behind.series_ohm + behind.series_sd_ohm)),
    ]
    if siemens is None:
        here = _excess(high, low, behind, 0.0)
        terms = [_excess(*one, 0.0) - here for one in moved]
    else:
        terms = [_solved(*one) - siemens for one in moved]
    return math.sqrt(math.fsum([term * term for term in terms if math.isfinite(term)]))


def _check(high: At, low: At, behind: Behind) -> None:
    check_temperature(behind.celsius)
    for at in (high, low):
        forced_current(at.current_ma)
        if not (math.isfinite(at.drop_mv) and at.drop_mv > 0):
            raise SheetError(
                "no_such_reading", "two drops above zero are needed", where="$.drop_mv", given=f"{at.drop_mv}",
                expected="mV, more than 0; OL or a short says nothing of a leak's size", example="396",
            )  # fmt: skip
    if high.current_ma < low.current_ma * LEAST_CURRENT_RATIO:
        raise SheetError(
            "currents_too_alike", "the second current has to differ", where="$.current_ma",
            given=f"{high.current_ma:g} and {low.current_ma:g} mA",
            expected=f"a ratio of {LEAST_CURRENT_RATIO:g} or more: another range or another meter", example="1 and 0.1",
        )  # fmt: skip
    if _law(high, behind, 0.0) is None:
        raise SheetError(
            "no_junction_there", "the reading leaves nothing for a junction", where="$.drop_mv",
            given=f"{high.drop_mv:g} mV at {high.current_ma:g} mA behind {behind.series_ohm:g} ohm",
            expected="a drop above what the parts in series take", example="396 mV at 1 mA behind 33 ohm",
        )  # fmt: skip
