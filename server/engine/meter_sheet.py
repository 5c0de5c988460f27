"""A meter's sheet from known resistors in diode mode (`resistor_line`).

The diode: Shockley's law at two currents of one meter, V1 - V2 = n Vt ln(I1 / I2), the second current less by
what the resistor beside it takes. A meter above 4 V in diode mode is refused for sockets.
"""

import math

from server.engine.accept import sane_air
from server.engine.constants.meters import (
    BESIDE_TOLERANCE_PCT,
    DIODE_NUMBER_SD_MV,
    IDEALITY_HIGHEST,
    IDEALITY_LOWEST,
    LARGEST_TEST_RESISTOR_OHM,
    LIMIT_NEAR,
    LINE_DOUBT_SD,
    METER_ZERO_MV,
    RESISTOR_SPREAD,
    THOUSAND,
)
from server.engine.constants.readings import GAIN_SD
from server.engine.constants.sessions import (
    ABSURD_AIR_HIGH_C,
    ABSURD_AIR_LOW_C,
    AIR_SD_KNOWN_K,
    AIR_SD_UNKNOWN_K,
    CURRENT_HIGH_MA,
    CURRENT_LOW_MA,
    KELVIN,
    PERCENT,
    REFERENCE_C,
    VT_MV_PER_K,
)
from server.engine.errors import SheetError
from server.engine.meters import possible_current, why_not_on_sockets
from server.engine.quantities import read_text
from server.engine.resistor_line import RESISTOR_EXAMPLE, Line, doubted_line, line_through
from server.engine.rounding import milliamperes, millivolts, plain
from server.engine.wording_units import current_words, ohm_words
from shared_models.meters import DiodeShown, MeterSheet, MeterSheetQuestion, ResistorShown
from shared_models.reading import OverRange, Volts


def meter_sheet(question: MeterSheetQuestion) -> MeterSheet:
    """The sheet of one meter. Raises SheetError, with the resistor meant, for what cannot be."""
    checked_air(question.air_c)
    shown = [
        number_shown(each.shown, question.display_unit, f"$.resistors[{index}].shown")
        for index, each in enumerate(question.resistors)
    ]
    known: list[tuple[ResistorShown, float]] = []
    for index, (each, shown_mv) in enumerate(zip(question.resistors, shown, strict=True)):
        _check_resistor(each, shown_mv, f"$.resistors[{index}]")
        if shown_mv is not None:
            known.append((each, shown_mv))
    line, doubts = doubted_line(line_through(known), known)
    sentences = [f"Forces {line.current_ma:.3f} mA, from {len(known)} resistors."]
    sentences += doubts
    lowest, highest, number = _open_circuit(question, [mv for _, mv in known], line)
    ideality = None if question.diode is None else _ideality(question.diode, question, line, sentences)
    why_not = _why_not(lowest, number)
    if why_not is not None:
        sentences.append(why_not)
    elif number is None:
        between = "" if highest is None else f", at most {highest:.0f} mV"
        sentences.append(
            f"Its limit is not known: more than {lowest:.0f} mV{between}. Measure across its open leads with another "
            "meter; above 4 V it never goes on a socket."
        )
    return MeterSheet(
        test_current_ma=milliamperes(line.current_ma),
        test_current_sd_pct=plain(PERCENT * math.hypot(line.current_sd_ma / line.current_ma, GAIN_SD)),
        offset_mv=millivolts(line.offset_mv),
        offset_sd_mv=millivolts(line.offset_sd_mv),
        open_at_least_mv=millivolts(lowest),
        open_at_most_mv=None if highest is None else millivolts(highest),
        open_circuit_mv=None if number is None else millivolts(number),
        ideality=None if ideality is None else plain(ideality[0]),
        ideality_sd=None if ideality is None else plain(ideality[1]),
        fits_sockets=why_not is None,
        why_not=why_not,
        sentences=tuple(sentences),
    )


def number_shown(text: str, unit: str, where: str) -> float | None:
    """Millivolts on the display; None for OL. Raises SheetError for a text that is neither."""
    value = read_text(text, "V" if unit == "V" else "mV", "volts")
    if isinstance(value, OverRange):
        return None
    if isinstance(value, Volts):
        return value.volts_mv
    raise SheetError(
        "not_a_display", f"'{text}' is not what a display shows in diode mode", where=where, given=text,
        expected=f"a number in {unit}, or OL", example="470" if unit == "mV" else "0.470",
    )


def _check_resistor(each: ResistorShown, shown_mv: float | None, where: str) -> None:
    ohm = each.resistor_ohm
    if not 0 < ohm <= LARGEST_TEST_RESISTOR_OHM:
        raise SheetError(
            "no_such_resistor", f"{ohm:g} ohm is no resistor to try a meter with", where=f"{where}.resistor_ohm",
            given=f"{ohm:g}", expected="more than 0 ohm; one that shows between 50 mV and 1.5 V", example="470",
        )
    if not 0 < each.tolerance_pct < PERCENT:
        raise SheetError(
            "no_such_tolerance", f"{each.tolerance_pct:g} % is no tolerance", where=f"{where}.tolerance_pct",
            given=f"{each.tolerance_pct:g}", expected="per cent, more than 0", example="1",
        )
    if shown_mv is None:
        return
    current_ma = shown_mv / ohm
    if possible_current(current_ma):
        return
    fits = next((factor for factor in (THOUSAND, 1 / THOUSAND) if possible_current(current_ma / factor)), None)
    meant = "" if fits is None else f": did you mean {ohm_words(ohm * fits)}?"
    raise SheetError(
        "resistor_by_a_thousand" if fits is not None else "resistor_does_not_fit",
        f"{shown_mv:g} mV across {ohm_words(ohm)} would be {current_words(current_ma)}{meant}",
        where=f"{where}.resistor_ohm", given=ohm_words(ohm),
        expected=f"a resistor at which the current is {CURRENT_LOW_MA:g} to {CURRENT_HIGH_MA:g} mA",
        example=f"{ohm * fits:g}" if fits is not None else RESISTOR_EXAMPLE,
    )


def _open_circuit(
    question: MeterSheetQuestion, shown: list[float], line: Line
) -> tuple[float, float | None, float | None]:
    """The open-circuit limit: at least, at most, and the number where one is known; mV.

    Raises SheetError for a number below what the meter showed across a resistor.
    """
    unit = question.display_unit
    over = [each.resistor_ohm for each in question.resistors if number_shown(each.shown, unit, "$") is None]
    number = question.open_measured_mv
    if number is None and question.open_shown is not None:
        number = number_shown(question.open_shown, question.display_unit, "$.open_shown")
    if number is not None:
        number = abs(number)  # the leads of the one that measures may be the other way round
        _check_limit(number, max(shown), "$.open_shown" if question.open_measured_mv is None else "$.open_measured_mv")
    seen = shown if number is None else [*shown, number]
    lowest = max(seen)
    highest = max(lowest, min(over) * line.current_ma + line.offset_mv) if over else None
    if number is None and highest is not None and highest <= LIMIT_NEAR * lowest:
        number = 0.5 * (lowest + highest)
    return lowest, highest, number


def _check_limit(limit_mv: float, shown_mv: float, where: str) -> None:
    """A meter puts no less on open leads than across a resistor, but for what two displays differ."""
    if limit_mv >= shown_mv * (1 - LINE_DOUBT_SD * GAIN_SD) - METER_ZERO_MV:
        return
    raise SheetError(
        "limit_below_shown", f"{limit_mv:g} mV across open leads is less than it showed across a resistor", where=where,
        given=f"{limit_mv:g} mV", expected=f"{shown_mv:g} mV or more", example="2900",
    )


def _why_not(lowest: float, number: float | None) -> str | None:
    return why_not_on_sockets(lowest if number is None else max(lowest, number))


def _ideality(
    diode: DiodeShown, question: MeterSheetQuestion, line: Line, sentences: list[str]
) -> tuple[float, float] | None:
    """n of the diode and its deviation, from the meter's own current and less of it; a check of both."""
    alone = number_shown(diode.shown_alone, question.display_unit, "$.diode.shown_alone")
    beside = number_shown(diode.shown_beside, question.display_unit, "$.diode.shown_beside")
    if not diode.beside_ohm > 0:
        raise SheetError(
            "no_such_resistor", "the resistor beside the diode has no such value", where="$.diode.beside_ohm",
            given=f"{diode.beside_ohm:g}", expected="ohms, more than 0", example="470",
        )
    left_ma = 0.0 if beside is None else line.current_ma - beside / diode.beside_ohm
    if alone is None or beside is None or not 0 < left_ma < line.current_ma or beside >= alone:
        sentences.append("The diode says nothing: with the resistor beside it it has to show less, and not OL.")
        return None
    vt = VT_MV_PER_K * (KELVIN + checked_air(question.air_c))
    log_ratio = math.log(line.current_ma / left_ma)
    ideality = (alone - beside) / (vt * log_ratio)
    sd = _ideality_sd(diode, question, line, beside, left_ma, vt, ideality)
    if not IDEALITY_LOWEST - LINE_DOUBT_SD * sd <= ideality <= IDEALITY_HIGHEST + LINE_DOUBT_SD * sd:
        sentences.append(f"A silicon diode has n from 1 to 2; this one {ideality:.1f}: look at the resistors again.")
    return ideality, sd


def _ideality_sd(
    diode: DiodeShown,
    question: MeterSheetQuestion,
    line: Line,
    beside_mv: float,
    left_ma: float,
    vt: float,
    ideality: float,
) -> float:
    """By propagation: both numbers, the meter's current, the resistor beside the diode, the temperature."""
    log_ratio = math.log(line.current_ma / left_ma)
    touch = DIODE_NUMBER_SD_MV / (vt * log_ratio)
    # a millivolt more beside is less to divide, and less current left
    touch_beside = touch + ideality / log_ratio * DIODE_NUMBER_SD_MV / (diode.beside_ohm * left_ma)
    by_current = ideality / log_ratio * (1 / left_ma - 1 / line.current_ma) * line.current_sd_ma
    same = [each.tolerance_pct for each in question.resistors if each.resistor_ohm == diode.beside_ohm]
    share = (same[0] if same else BESIDE_TOLERANCE_PCT) / PERCENT * RESISTOR_SPREAD
    by_resistor = ideality / log_ratio * beside_mv / diode.beside_ohm / left_ma * share
    air_sd_k = AIR_SD_UNKNOWN_K if question.air_c is None else AIR_SD_KNOWN_K
    by_air = ideality * VT_MV_PER_K * air_sd_k / vt
    return math.hypot(touch, touch_beside, by_current, by_resistor, by_air)


def checked_air(air_c: float | None) -> float:
    """The air's temperature, or the usual one where it was not told. Raises SheetError for one that no bench has."""
    if air_c is None:
        return REFERENCE_C
    if sane_air(air_c) is None:
        raise SheetError(
            "absurd_air", f"{air_c:g} °C is no air temperature at a bench", where="$.air_c", given=f"{air_c:g}",
            expected=f"{ABSURD_AIR_LOW_C:g} to {ABSURD_AIR_HIGH_C:g} °C", example="23",
        )
    return air_c
