"""The straight line through known resistors in diode mode, and what makes it doubtful: V = I R + V0.

Source: ordinary weighted least squares of a straight line (any textbook of statistics); a tolerance is a
rectangular distribution, its deviation the half-width over the root of three (JCGM 100:2008, 4.3.7).
"""

import math
from typing import NamedTuple

from server.engine.constants.meters import DIODE_NUMBER_SD_MV, LINE_DOUBT_SD, METER_ZERO_MV, RESISTOR_SPREAD
from server.engine.constants.sessions import CURRENT_HIGH_MA, CURRENT_LOW_MA, CURRENT_SD_UNKNOWN, PERCENT
from server.engine.errors import SheetError
from server.engine.wording_units import ohm_words
from shared_models.meters import ResistorShown

RESISTOR_EXAMPLE = '{"resistor_ohm":470,"shown":"470"}'


class Line(NamedTuple):
    """V = current_ma * R + offset_mv, with the deviations of both; ohm, mV, mA."""

    current_ma: float
    current_sd_ma: float
    offset_mv: float
    offset_sd_mv: float


def line_through(known: list[tuple[ResistorShown, float]]) -> Line:
    """The weighted line; weights from the tolerances at the current of the line before. Raises SheetError."""
    if len({each.resistor_ohm for each, _ in known}) < 2:
        raise SheetError(
            "too_few_resistors", "two different resistors that show a number are needed", where="$.resistors",
            given=f"{len(known)} that show a number", expected="at least two of different value",
            example=f'[{{"resistor_ohm":100,"shown":"100"}},{RESISTOR_EXAMPLE}]',
        )
    current = math.fsum([mv / each.resistor_ohm for each, mv in known]) / len(known)
    line = Line(current, 0.0, 0.0, 0.0)
    for _ in range(2):
        line = _weighted(known, line.current_ma)
    if line.current_ma <= 0:
        raise SheetError(
            "line_falls", "the larger resistor shows less than the smaller", where="$.resistors",
            given=", ".join(f"{ohm_words(each.resistor_ohm)}: {mv:g} mV" for each, mv in known),
            expected="more millivolts at more ohms: are two of them mixed up?", example=RESISTOR_EXAMPLE,
        )
    return line


def _variance(each: ResistorShown, current_ma: float) -> float:
    """Of what a resistor shows, mV squared: by its tolerance, and by the touch."""
    resistor_mv = current_ma * each.resistor_ohm * each.tolerance_pct / PERCENT * RESISTOR_SPREAD
    return resistor_mv * resistor_mv + DIODE_NUMBER_SD_MV * DIODE_NUMBER_SD_MV


def _weighted(known: list[tuple[ResistorShown, float]], current_ma: float) -> Line:
    weights = [1 / _variance(each, current_ma) for each, _ in known]
    total = math.fsum(weights)
    middle = math.fsum([w * each.resistor_ohm for w, (each, _) in zip(weights, known, strict=True)]) / total
    level = math.fsum([w * mv for w, (_, mv) in zip(weights, known, strict=True)]) / total
    gaps = [(w, each.resistor_ohm - middle, mv - level) for w, (each, mv) in zip(weights, known, strict=True)]
    spread = math.fsum([w * ohm * ohm for w, ohm, _ in gaps])
    slope = math.fsum([w * ohm * mv for w, ohm, mv in gaps]) / spread
    offset_sd = math.sqrt(1 / total + middle * middle / spread)
    return Line(slope, math.sqrt(1 / spread), level - slope * middle, offset_sd)


def doubted_line(line: Line, known: list[tuple[ResistorShown, float]]) -> tuple[Line, list[str]]:
    """The line, less sure where its resistors contradict each other, and what makes it doubtful. Raises SheetError.

    The deviations grow by the root of chi-square a degree of freedom (Birge 1932, Phys. Rev. 40, 207).
    """
    told = []
    if abs(line.offset_mv) > METER_ZERO_MV + LINE_DOUBT_SD * line.offset_sd_mv:
        told.append(
            f"At 0 ohm it would show {line.offset_mv:.0f} mV: short the leads, and look at the resistors' markings."
        )
    if not CURRENT_LOW_MA <= line.current_ma <= CURRENT_HIGH_MA:
        told.append(f"Diode tests force {CURRENT_LOW_MA:g} to {CURRENT_HIGH_MA:g} mA: this is out of that.")
    if len(known) == 2:
        told.append("Two resistors cannot contradict each other: a third would show a wrong marking.")
    off = _off_the_line(line, known)
    if off is not None:
        told.append(off[1])
        line = line._replace(current_sd_ma=line.current_sd_ma * off[0], offset_sd_mv=line.offset_sd_mv * off[0])
    if line.current_sd_ma > CURRENT_SD_UNKNOWN * line.current_ma:
        raise SheetError(
            "resistors_too_alike", "these resistors leave the current as unknown as without them", where="$.resistors",
            given=", ".join(ohm_words(each.resistor_ohm) for each, _ in known),
            expected="two values far apart, well marked",
            example='[{"resistor_ohm":100,"shown":"100"},' + RESISTOR_EXAMPLE + "]",
        )
    return line, told


def _off_the_line(line: Line, known: list[tuple[ResistorShown, float]]) -> tuple[float, str] | None:
    """(by how much the deviations are too small, which resistors contradict the others); None where none does."""
    if len(known) <= 2:
        return None
    off_sd = [
        (mv - line.current_ma * each.resistor_ohm - line.offset_mv) / math.sqrt(_variance(each, line.current_ma))
        for each, mv in known
    ]
    degrees = len(known) - 2
    square = math.fsum([one * one for one in off_sd])
    if square <= LINE_DOUBT_SD * LINE_DOUBT_SD * degrees:
        return None
    worst, _ = max(zip(known, off_sd, strict=True), key=lambda one: abs(one[1]))
    which = "" if degrees == 1 else f", {ohm_words(worst[0].resistor_ohm)} most of all"
    return math.sqrt(square / degrees), f"The resistors contradict each other{which}: look at their markings again."
