"""Readings of one meter and temperature carried to another, and what a session has in common.

Source of the law: junction at constant current, SPICE diode model (IS with XTI = 3 and EG = 1.11 eV):
    V(I2, T2) = V t + EG (1 - t) - XTI Vt(T2) ln t + n Vt(T2) ln(I2/I1) + R (I2 - I1),  t = T2/T1,
with V the junction's share at (I1, T1). Grounds, shorts and OL do not move at all.

What a session has in common is therefore not a number of millivolts but two unknowns, the logarithm
of the test current and the temperature, each passed through the path of the contact it is read at.
They are estimated by reweighted least squares under a mixture in which faults are one-sided, from
several starting points, inside hard limits of what meters and benches do: three contacts 200 mV low
cannot become an offset.
"""

import math
from typing import NamedTuple

from server.engine.constants import (
    AIR_HIGH_C,
    AIR_LOW_C,
    AIR_SD_KNOWN_K,
    AIR_SD_UNKNOWN_K,
    BANDGAP_MV,
    CURRENT_HIGH_MA,
    CURRENT_LOW_MA,
    CURRENT_SD_KNOWN,
    CURRENT_SD_SAME_METER,
    CURRENT_SD_UNKNOWN,
    FAULT_DEPTH_MAX_MV,
    FAULT_DEPTH_MIN_MV,
    FAULT_LOW_SHARE,
    KELVIN,
    LOG_2PI_HALF,
    OFFSET_MIN_CONTACTS,
    OFFSET_PRIOR_SD_MV,
    OFFSET_STORY_MV,
    PERCENT,
    REFERENCE_C,
    REFERENCE_CURRENT_MA,
    SESSION_FAULT_SHARES,
    SESSION_STEPS,
    VT_MV_PER_K,
    XTI,
)
from server.engine.roles import Path
from shared_models.reading import Meter


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


def carry(drop_mv: float, path: Path | None, from_ma: float, from_c: float, to_ma: float, to_c: float) -> float:
    """What a reading of `drop_mv` at (from_ma, from_c) would be at (to_ma, to_c), in mV, through `path`."""
    if path is None:
        return drop_mv
    warm = KELVIN + from_c
    ratio = (KELVIN + to_c) / warm
    vt = VT_MV_PER_K * (KELVIN + to_c)
    junction = drop_mv - path.series_ohm * from_ma
    moved = (
        junction * ratio
        + BANDGAP_MV * (1 - ratio)
        - XTI * vt * math.log(ratio)
        + path.ideality * vt * math.log(to_ma / from_ma)
    )
    return moved + path.series_ohm * to_ma


def slopes(drop_mv: float, path: Path | None, current_ma: float, air_c: float) -> tuple[float, float]:
    """mV per unit of ln(current), and mV per kelvin, at this point; (0, 0) without a junction."""
    if path is None:
        return 0.0, 0.0
    kelvin = KELVIN + air_c
    vt = VT_MV_PER_K * kelvin
    junction = drop_mv - path.series_ohm * current_ma
    per_log_current = path.ideality * vt + path.series_ohm * current_ma
    return per_log_current, -(BANDGAP_MV + XTI * vt - junction) / kelvin


def log_current_sd(one: Conditions, other: Conditions) -> float:
    """Deviation of ln(current of `one` / current of `other`): one meter against itself is known well."""
    if one.meter_id == other.meter_id:
        return CURRENT_SD_SAME_METER
    return math.sqrt(one.current_sd * one.current_sd + other.current_sd * other.current_sd)


class Point(NamedTuple):
    """One contact's part in the fit: what it should read, what it reads, the scale, the path."""

    expected_mv: float
    read_mv: float
    scale_mv: float
    path: Path | None


class SessionFit(NamedTuple):
    """The common unknowns: log current and kelvin beside the nominal ones, with their covariance.

    `weights` are the probabilities that each point is healthy. `offset_mv` is for points without a path.
    """

    log_current: float
    kelvin: float
    covariance: tuple[float, float, float]
    weights: list[float]
    offset_mv: float
    offset_sd_mv: float
    used: int


def told_wrongly(
    fit: SessionFit, current_sd: float, air_sd_k: float, fitted_with: tuple[float, float] | None = None
) -> float:
    """ln of how much better the readings fit a current and a temperature nobody told than those that were.

    Both are Normal priors of mean 0 on theta = (ln current, kelvin) beside what was told, the second one wide. With
    the readings' own information L and their pull y (the posterior's precision and mean, less the first prior) the
    evidence of a prior P is -ln det(1 + P L) / 2 + y' (L + 1/P)^-1 y / 2: Bishop, Pattern Recognition and Machine
    Learning, 2006, 3.5.1, for a linear model. `fitted_with`: the deviations the fit was made with, if not those told.
    """
    if fit.used < OFFSET_MIN_CONTACTS:
        return 0.0
    aa, bb, ab = fit.covariance
    determinant = aa * bb - ab * ab
    paa, pbb, pab = bb / determinant, aa / determinant, -ab / determinant
    pull = (paa * fit.log_current + pab * fit.kelvin, pab * fit.log_current + pbb * fit.kelvin)
    told = (current_sd * current_sd, air_sd_k * air_sd_k)
    wide = tuple(sd * sd for sd in told_nothing(current_sd, air_sd_k))
    used = told if fitted_with is None else (fitted_with[0] * fitted_with[0], fitted_with[1] * fitted_with[1])
    information = (max(0.0, paa - 1 / used[0]), max(0.0, pbb - 1 / used[1]), pab)
    return _log_evidence(information, pull, wide) - _log_evidence(information, pull, told)


def told_nothing(current_sd: float, air_sd_k: float) -> tuple[float, float]:
    """The doubts of (ln current, kelvin) once nothing that was told is believed."""
    return math.hypot(current_sd, CURRENT_SD_UNKNOWN), math.hypot(air_sd_k, AIR_SD_UNKNOWN_K)


def _log_evidence(
    information: tuple[float, float, float], pull: tuple[float, float], prior: tuple[float, ...]
) -> float:
    laa, lbb, lab = information
    paa, pbb = laa + 1 / prior[0], lbb + 1 / prior[1]
    determinant = paa * pbb - lab * lab
    fitted = (pbb * pull[0] * pull[0] - 2 * lab * pull[0] * pull[1] + paa * pull[1] * pull[1]) / determinant
    return 0.5 * (fitted - math.log(determinant * prior[0] * prior[1]))


class Tried(NamedTuple):
    """What reweighting came to from one start: the log of the posterior density there, and where."""

    objective: float
    log_current: float
    kelvin: float
    covariance: tuple[float, float, float]
    weights: list[float]


def fit_session(points: list[Point], at: Conditions, current_sd: float, air_sd_k: float) -> SessionFit:
    """The session's common unknowns from all points, by several starts; see the module's words."""
    with_path = [index for index, point in enumerate(points) if point.path is not None]
    best: Tried | None = None
    residuals = sorted(points[index].read_mv - points[index].expected_mv for index in with_path)
    median = residuals[len(residuals) // 2] if residuals else 0.0
    starts = [(0.0, 0.0), _along_prior(median, points, with_path, at, current_sd, air_sd_k)]
    for start in starts if abs(median) > 1 else starts[:1]:
        for share in SESSION_FAULT_SHARES:
            tried = _reweigh(start, share, points, with_path, at, current_sd, air_sd_k)
            if best is None or tried.objective > best.objective:
                best = tried
    if best is None:
        raise AssertionError("at least one start is tried")
    weights = [1.0] * len(points)
    for index, weight in zip(with_path, best.weights, strict=True):
        weights[index] = weight
    offset, offset_sd = _plain_offset([point for point in points if point.path is None])
    used = 0
    for index in with_path:
        used += 1 if weights[index] > 0.5 else 0
    return SessionFit(best.log_current, best.kelvin, best.covariance, weights, offset, offset_sd, used)


def _along_prior(
    shift_mv: float, points: list[Point], with_path: list[int], at: Conditions, current_sd: float, air_sd_k: float
) -> tuple[float, float]:
    """The most likely (log current, kelvin) that moves a typical contact by `shift_mv`."""
    if not with_path:
        return 0.0, 0.0
    middle = points[with_path[len(with_path) // 2]]
    per_log, per_k = slopes(middle.expected_mv, middle.path, at.current_ma, at.air_c)
    spread = (per_log * current_sd) * (per_log * current_sd) + (per_k * air_sd_k) * (per_k * air_sd_k)
    if spread <= 0:
        return 0.0, 0.0
    return shift_mv * per_log * current_sd * current_sd / spread, shift_mv * per_k * air_sd_k * air_sd_k / spread


def _bounded(log_current: float, kelvin: float, at: Conditions) -> tuple[float, float]:
    lowest, highest = math.log(CURRENT_LOW_MA / at.current_ma), math.log(CURRENT_HIGH_MA / at.current_ma)
    return (
        min(max(log_current, min(lowest, 0.0)), max(highest, 0.0)),
        min(max(kelvin, min(AIR_LOW_C - at.air_c, 0.0)), max(AIR_HIGH_C - at.air_c, 0.0)),
    )


def _reweigh(
    start: tuple[float, float],
    share: float,
    points: list[Point],
    with_path: list[int],
    at: Conditions,
    current_sd: float,
    air_sd_k: float,
) -> Tried:
    """Reweighted least squares from one start and one share of faults."""
    log_current, kelvin = start
    inverse_a, inverse_b = 1 / (current_sd * current_sd), 1 / (air_sd_k * air_sd_k)
    depth = FAULT_LOW_SHARE / math.log(FAULT_DEPTH_MAX_MV / FAULT_DEPTH_MIN_MV)
    flat = (1 - FAULT_LOW_SHARE) / (2 * FAULT_DEPTH_MAX_MV)
    rows = []
    for index in with_path:
        point = points[index]
        rows.append((point, slopes(point.expected_mv, point.path, at.current_ma, at.air_c)))
    weights: list[float] = []
    objective, covariance = 0.0, (0.0, 0.0, 0.0)
    for _ in range(SESSION_STEPS):
        to_ma, to_c = at.current_ma * math.exp(log_current), at.air_c + kelvin
        aa, bb, ab, ya, yb = inverse_a, inverse_b, 0.0, 0.0, 0.0
        logs = -0.5 * (log_current * log_current * inverse_a + kelvin * kelvin * inverse_b)
        weights = []
        for point, (per_log, per_k) in rows:
            residual = point.read_mv - carry(point.expected_mv, point.path, at.current_ma, at.air_c, to_ma, to_c)
            z = residual / point.scale_mv
            healthy = (1 - share) * math.exp(-0.5 * z * z - LOG_2PI_HALF) / point.scale_mv
            low = -residual
            faulty = share * (flat + (depth / max(low, FAULT_DEPTH_MIN_MV) if 0 < low < FAULT_DEPTH_MAX_MV else 0.0))
            weight = healthy / (healthy + faulty)
            weights.append(weight)
            logs += math.log(healthy + faulty)
            strength = weight / (point.scale_mv * point.scale_mv)
            linear = residual + per_log * log_current + per_k * kelvin
            aa += strength * per_log * per_log
            bb += strength * per_k * per_k
            ab += strength * per_log * per_k
            ya += strength * per_log * linear
            yb += strength * per_k * linear
        determinant = aa * bb - ab * ab
        covariance = (bb / determinant, aa / determinant, -ab / determinant)
        objective = logs
        log_current, kelvin = _bounded((bb * ya - ab * yb) / determinant, (aa * yb - ab * ya) / determinant, at)
    return Tried(objective, log_current, kelvin, covariance, weights)


def _plain_offset(points: list[Point]) -> tuple[float, float]:
    """A common offset for contacts without a path: shrunk to zero, only from enough of them, and only inside
    what a meter does. Beyond that it is no offset but something to be explained, and nothing is taken out.
    """
    if len(points) < OFFSET_MIN_CONTACTS:
        return 0.0, 0.0
    residuals = sorted(point.read_mv - point.expected_mv for point in points)
    middle = residuals[len(residuals) // 2]
    if abs(middle) > OFFSET_STORY_MV:
        return 0.0, OFFSET_PRIOR_SD_MV
    scale = max(point.scale_mv for point in points)
    precision = 1 / (OFFSET_PRIOR_SD_MV * OFFSET_PRIOR_SD_MV) + len(points) / (scale * scale)
    return middle * (len(points) / (scale * scale)) / precision, math.sqrt(1 / precision)
