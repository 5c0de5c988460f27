"""Readings of one meter and temperature carried to another, and what a session has in common.

Source of the law: junction at constant current, SPICE diode model (IS with XTI = 3 and EG = 1.11 eV):
    V(I2, T2) = V t + EG (1 - t) - XTI Vt(T2) ln t + n Vt(T2) ln(I2/I1) + R (I2 - I1),  t = T2/T1,
with V the junction's share at (I1, T1). The law's +1 is kept where a junction drops only a few n Vt. What leaves
nothing for a junction is a resistance and goes with the current. Grounds, shorts and OL do not move at all.

What a session has in common is therefore not a number of millivolts but two unknowns, the logarithm
of the test current and the temperature, each passed through the path of the contact it is read at
(`common_fit`).
"""

import math
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from server.engine.common_fit import CommonFit, Point
from server.engine.constants.bench import UNIT_FACTORS
from server.engine.constants.sessions import (
    AIR_SD_KNOWN_K,
    AIR_SD_UNKNOWN_K,
    BANDGAP_MV,
    CURRENT_HIGH_MA,
    CURRENT_LOW_MA,
    CURRENT_SD_KNOWN,
    CURRENT_SD_SAME_METER,
    CURRENT_SD_UNKNOWN,
    DIODE_MODE_MAX_MV,
    KELVIN,
    OFFSET_MIN_CONTACTS,
    OFFSET_PRIOR_SD_MV,
    OFFSET_STORY_MV,
    PERCENT,
    REFERENCE_C,
    REFERENCE_CURRENT_MA,
    SESSION_HIGH_START,
    VT_MV_PER_K,
    XTI,
)
from server.engine.fit_arrow import Prior
from server.engine.roles import Path
from shared_models.reading import Meter
from shared_models.tables import DIODE_MODE_WHY


class Conditions(NamedTuple):
    """Under what a reading was taken: meter, nominal current and its log deviation, temperature and its deviation."""

    meter_id: str
    current_ma: float
    current_sd: float
    told: bool
    air_c: float
    air_sd_k: float


def conditions_of(meter_id: str, meter: Meter | None, air_c: float | None) -> Conditions:
    """Conditions from a meter's sheet (or none) and the air temperature (or none)."""
    told = meter is not None and meter.test_current_ma is not None
    current = meter.test_current_ma if meter is not None and meter.test_current_ma is not None else REFERENCE_CURRENT_MA
    sd = CURRENT_SD_UNKNOWN
    if told and meter is not None:
        sd = meter.test_current_sd_pct / PERCENT if meter.test_current_sd_pct is not None else CURRENT_SD_KNOWN
    return Conditions(
        meter_id,
        current,
        sd,
        told,
        REFERENCE_C if air_c is None else air_c,
        AIR_SD_UNKNOWN_K if air_c is None else AIR_SD_KNOWN_K,
    )


def why_not_on_sockets(open_mv: float | None) -> str | None:
    """Why a meter that puts `open_mv` on its leads in diode mode never goes on a socket; None: it may."""
    if open_mv is None or open_mv <= DIODE_MODE_MAX_MV:
        return None
    return f"It puts {open_mv / UNIT_FACTORS['V']:.1f} V on its leads in diode mode; {DIODE_MODE_WHY}"


def possible_current(current_ma: float) -> bool:
    """Half of the least a diode test forces, to twice the most: a new kind of meter is not a slip."""
    return CURRENT_LOW_MA * 0.5 <= current_ma <= CURRENT_HIGH_MA * 2


class AboveLimit(NamedTuple):
    """Numbers that a meter showed above the limit its sheet gives it: the highest, and how many there are."""

    meter_name: str
    limit_mv: float
    highest_mv: float
    numbers: int

    @property
    def limit_is_wrong(self) -> bool:
        """One number may be mistyped; of more the sheet's limit is."""
        return self.numbers > 1


NOTHING_ABOVE: Mapping[str, AboveLimit] = {}


def above_their_limit(
    meters: Iterable[Meter], shown: Iterable[tuple[str, float]], before: Mapping[str, AboveLimit] = NOTHING_ABOVE
) -> dict[str, AboveLimit]:
    """By meter what it cannot have shown, if its sheet is right. `shown`: (meter, mV) of every drop that was typed;
    `before`: what was found so of others of these meters.
    """
    none = {
        meter.id: AboveLimit(meter.name, meter.open_circuit_mv, 0.0, 0)
        for meter in meters
        if meter.open_circuit_mv is not None
    }
    found = dict(before)
    for meter_id, drop_mv in shown:
        if meter_id in none and drop_mv > none[meter_id].limit_mv:
            so_far = found.get(meter_id, none[meter_id])
            found[meter_id] = so_far._replace(
                highest_mv=max(so_far.highest_mv, drop_mv), numbers=so_far.numbers + 1
            )
    return found


def carry(drop_mv: float, path: Path | None, from_ma: float, from_c: float, to_ma: float, to_c: float) -> float:
    """What a reading of `drop_mv` at (from_ma, from_c) would be at (to_ma, to_c), in mV, through `path`."""
    if path is None:
        return drop_mv
    warm = KELVIN + from_c
    ratio = (KELVIN + to_c) / warm
    vt = VT_MV_PER_K * (KELVIN + to_c)
    junction = drop_mv - path.series_ohm * from_ma
    if junction <= 0:
        return drop_mv * to_ma / from_ma
    moved = (
        junction * ratio
        + BANDGAP_MV * (1 - ratio)
        - XTI * vt * math.log(ratio)
        + path.ideality * vt * math.log(to_ma / from_ma)
    )
    # I / IS = exp(V / n Vt) - 1 before, V = n Vt ln(1 + I / IS) after
    nvt = path.ideality * vt
    log_over = moved / nvt + math.log(-math.expm1(-junction * ratio / nvt))
    moved = nvt * (max(log_over, 0.0) + math.log1p(math.exp(-abs(log_over))))
    return moved + path.series_ohm * to_ma


def slopes(drop_mv: float, path: Path | None, current_ma: float, air_c: float) -> tuple[float, float]:
    """mV per unit of ln(current), and mV per kelvin, at this point; (0, 0) without a junction."""
    if path is None:
        return 0.0, 0.0
    kelvin = KELVIN + air_c
    vt = VT_MV_PER_K * kelvin
    junction = drop_mv - path.series_ohm * current_ma
    if junction <= 0:
        return drop_mv, 0.0
    share = -math.expm1(-junction / (path.ideality * vt))  # I / (I + IS)
    per_log_current = path.ideality * vt * share + path.series_ohm * current_ma
    return per_log_current, (junction - share * (BANDGAP_MV + XTI * vt)) / kelvin


def log_current_sd(one: Conditions, other: Conditions) -> float:
    """Deviation of ln(current of `one` / current of `other`): one meter against itself is known well."""
    if one.meter_id == other.meter_id:
        return CURRENT_SD_SAME_METER
    return math.sqrt(one.current_sd * one.current_sd + other.current_sd * other.current_sd)


class SessionFit(NamedTuple):
    """What a session has in common: `common` for contacts with a path, a plain offset for those without.

    `weights`: the probability that each contact of the fit is healthy, by (contact, lead); `without`:
    where only a few were read, the fit made without each of them.
    """

    common: CommonFit
    weights: dict[tuple[int, str], float]
    without: dict[tuple[int, str], CommonFit]
    offset_mv: float
    offset_sd_mv: float
    used: int


def told_nothing(current_sd: float, air_sd_k: float) -> tuple[float, float]:
    """The doubts of (ln current, kelvin) once nothing that was told is believed."""
    return math.hypot(current_sd, CURRENT_SD_UNKNOWN), math.hypot(air_sd_k, AIR_SD_UNKNOWN_K)


def starts_of(points: list[Point], prior: Prior) -> list[tuple[float, float]]:
    """Where to start looking: the sheet, the middle reading, and a high one, since faults mostly read low."""
    if not points:
        return [(0.0, 0.0)]
    residuals = sorted(point.read_mv - point.expected_mv for point in points)
    starts = [(0.0, 0.0)]
    for place in (len(residuals) // 2, int(SESSION_HIGH_START * (len(residuals) - 1))):
        if abs(residuals[place]) > 1:
            starts.append(_along_prior(residuals[place], points, prior))
    return starts


def _along_prior(shift_mv: float, points: list[Point], prior: Prior) -> tuple[float, float]:
    """The most likely (log current, kelvin) that moves a typical contact by `shift_mv`."""
    middle = points[len(points) // 2]
    per_log, per_k = slopes(middle.expected_mv, middle.path, prior.current_ma, prior.air_c)
    by_current, by_air = per_log * prior.current_sd, per_k * prior.air_sd_k
    spread = by_current * by_current + by_air * by_air
    return shift_mv * by_current * prior.current_sd / spread, shift_mv * by_air * prior.air_sd_k / spread


def plain_offset(points: list[tuple[float, float, float]]) -> tuple[float, float]:
    """A common offset for contacts without a path, from (expected, read, scale) each: shrunk to zero, only from
    enough of them, and only inside what a meter does. Beyond that it is no offset but something to be explained,
    and nothing is taken out.
    """
    if len(points) < OFFSET_MIN_CONTACTS:
        return 0.0, 0.0
    residuals = sorted(read - expected for expected, read, _ in points)
    middle = residuals[len(residuals) // 2]
    if abs(middle) > OFFSET_STORY_MV:
        return 0.0, OFFSET_PRIOR_SD_MV
    scale = max(one for _, _, one in points)
    precision = 1 / (OFFSET_PRIOR_SD_MV * OFFSET_PRIOR_SD_MV) + len(points) / (scale * scale)
    return middle * (len(points) / (scale * scale)) / precision, math.sqrt(1 / precision)
