"""How long a stored charge lasts: one capacitor, what bleeds it, and a string of LEDs across it.

Source of the formulas: a capacitor through a resistor, V(t) = V0 exp(-t / RC), E = C V^2 / 2 (any
textbook of circuits). The three limits are those of `shared_models.tables`. Where the parts are not
known two measurements give the time constant. A string of LEDs only hastens the beginning, so every
time is counted without it: late rather than early. Nothing here proves anything: the meter does.
"""

import math
from typing import Literal

from server.engine.constants.bench import (
    CURVE_POINTS,
    CURVE_TAIL,
    LARGEST_BLEED_OHM,
    LARGEST_CAPACITANCE_UF,
    LARGEST_START_MV,
    LED_STOP_HIGH_MV,
    LED_STOP_LOW_MV,
    LONGEST_WAIT_S,
    METER_FLOOR_MV,
    MICRO_PER_ONE,
    MOST_LEDS,
    SECONDS_PER_MINUTE,
    UNIT_FACTORS,
)
from server.engine.errors import SheetError
from server.engine.rounding import millivolts, plain
from shared_models.discharge import CurvePoint, Discharge, DischargeQuestion, LedString, LimitKind, LimitTime
from shared_models.tables import BODY_LIMIT_MV, HONEST_READING_LIMIT_MV, PLUGGING_LIMIT_MV

VOLTS = f"millivolts: at most {LARGEST_START_MV / UNIT_FACTORS['V']:.0f} V either way"
PRACTICE = "common practice, no source"
LIMITS: tuple[tuple[LimitKind, float, str, str], ...] = (
    (
        "body",
        BODY_LIMIT_MV,
        "60 V d.c. or less: the limit for the body, dry hands; a board dies far below it",
        "ES1 limit of IEC 62368-1 table 4, read second-hand",
    ),
    ("plugging", PLUGGING_LIMIT_MV, "1 V or less: plugs may come off and go on", PRACTICE),
    ("honest_reading", HONEST_READING_LIMIT_MV, "10 mV or less: a reading is honest here", PRACTICE),
)


def time_constant_s(capacitance_uf: float, bleed_ohm: float) -> float:
    """RC in seconds, from microfarads and ohms."""
    return capacitance_uf * bleed_ohm / MICRO_PER_ONE


def volts_after(start_mv: float, tau_s: float, after_s: float) -> float:
    """Millivolts left `after_s` seconds after `start_mv`, with the time constant `tau_s`; the sign is kept."""
    return start_mv * math.exp(-after_s / tau_s)


def seconds_to(start_mv: float, limit_mv: float, tau_s: float) -> float:
    """Seconds until the magnitude of `start_mv` has fallen to `limit_mv`; 0 where it already has."""
    return max(0.0, tau_s * math.log(abs(start_mv) / limit_mv)) if start_mv else 0.0


def energy_mj(capacitance_uf: float, volts_mv: float) -> float:
    """C V^2 / 2 in millijoules, from microfarads and millivolts."""
    volts = volts_mv / UNIT_FACTORS["V"]
    return 0.5 * capacitance_uf * volts * volts / UNIT_FACTORS["V"]


def bleed_for(capacitance_uf: float, start_mv: float, limit_mv: float, within_s: float) -> float:
    """The largest bleed in ohms that brings `start_mv` down to `limit_mv` within `within_s` seconds."""
    return within_s * MICRO_PER_ONE / (capacitance_uf * math.log(abs(start_mv) / limit_mv))


def discharge(question: DischargeQuestion) -> Discharge:
    """How the voltage falls, when each limit is reached, and what that leaves to prove.

    Raises SheetError for what no capacitor, bleed or measurement can be.
    """
    _refuse_impossible(question)
    first_mv, later = question.start_mv, question.later
    still_fed = later is not None and abs(later.measured_mv) >= abs(first_mv) > METER_FLOOR_MV
    tau, told_by = _tau(question, still_fed)
    start = later.measured_mv if later is not None else first_mv  # all that follows counts from the last number
    limits = tuple(
        LimitTime(limit=kind, limit_mv=limit, after_s=_when(start, limit, tau), words=words, origin=origin)
        for kind, limit, words, origin in LIMITS
    )
    string = _string(question, start)
    curve = _curve(question, start, tau)
    capacitance, bleed = question.capacitance_uf, question.bleed_ohm
    power = None if bleed is None else plain(start * start / bleed / UNIT_FACTORS["V"])
    ended = abs(start) <= PLUGGING_LIMIT_MV
    return Discharge(
        start_mv=millivolts(start),
        ended=ended,
        still_fed=still_fed,
        told_by=told_by,
        limits=limits,
        sentences=_sentences(question, start, string, tau, ended, still_fed),
        tau_s=None if tau is None else plain(tau),
        start_energy_mj=None if capacitance is None else plain(energy_mj(capacitance, start)),
        first_power_mw=power,
        string=string,
        curve=curve,
        prove_at=question.places,
    )


def _tau(question: DischargeQuestion, still_fed: bool) -> tuple[float | None, Literal["parts", "measured", "nothing"]]:
    """The time constant and what told it: two measurements before the parts, since they hold everything that drains."""
    later = question.later
    if still_fed:
        return None, "nothing"
    if later is not None and abs(question.start_mv) > METER_FLOOR_MV:
        # what the meter no longer shows is taken as its last digit: late rather than early
        shown_mv = max(abs(later.measured_mv), METER_FLOOR_MV)
        return later.after_s / math.log(abs(question.start_mv) / shown_mv), "measured"
    if question.capacitance_uf is not None and question.bleed_ohm is not None:
        return time_constant_s(question.capacitance_uf, question.bleed_ohm), "parts"
    return None, "nothing"


def _when(start_mv: float, limit_mv: float, tau_s: float | None) -> float | None:
    if abs(start_mv) <= limit_mv:
        return 0.0
    return None if tau_s is None else plain(seconds_to(start_mv, limit_mv, tau_s))


def _string(question: DischargeQuestion, start_mv: float) -> LedString | None:
    count = question.led_count
    if count is None:
        return None
    return LedString(
        led_count=count,
        stops_low_mv=millivolts(count * LED_STOP_LOW_MV),
        stops_high_mv=millivolts(count * LED_STOP_HIGH_MV),
        above=abs(start_mv) > count * LED_STOP_HIGH_MV,
    )


def _curve(question: DischargeQuestion, start_mv: float, tau_s: float | None) -> tuple[CurvePoint, ...]:
    """Equal steps from the start to a while past the plugging limit; nothing where nothing is known or it is over."""
    if tau_s is None or abs(start_mv) <= PLUGGING_LIMIT_MV:
        return ()
    whole = CURVE_TAIL * seconds_to(start_mv, PLUGGING_LIMIT_MV, tau_s)
    points = []
    for step in range(CURVE_POINTS + 1):
        at = whole * step / CURVE_POINTS
        volts = volts_after(start_mv, tau_s, at)
        energy = None if question.capacitance_uf is None else plain(energy_mj(question.capacitance_uf, volts))
        points.append(CurvePoint(after_s=plain(at), volts_mv=millivolts(volts), energy_mj=energy))
    return tuple(points)


def _sentences(
    question: DischargeQuestion,
    start_mv: float,
    string: LedString | None,
    tau_s: float | None,
    ended: bool,
    still_fed: bool,
) -> tuple[str, ...]:
    said = []
    if ended:
        said.append("It is under 1 V: the measured value ends the waiting.")
    elif still_fed:
        said.append("It does not fall: something still feeds it. Look for the battery, a charger or a second supply.")
    else:
        if string is not None:
            said.append(_string_sentence(string))
        if tau_s is None:
            said.append("What drains it is not known: measure again after a minute, two numbers tell the pace.")
        else:
            when = _duration(seconds_to(start_mv, PLUGGING_LIMIT_MV, tau_s))
            honest = _duration(seconds_to(start_mv, HONEST_READING_LIMIT_MV, tau_s))
            said.append(f"Falling at this pace it is at 1 V after about {when}, at 10 mV after about {honest}.")
    if abs(start_mv) > BODY_LIMIT_MV:
        said.append("Above 60 V: hands off, and do not short it out.")
    if question.places:
        said.append(f"Prove it at {' and at '.join(question.places)}: one place says nothing of the other.")
    said.append("The meter decides; the clock and the power button only help.")
    return tuple(said)


def _string_sentence(string: LedString) -> str:
    low, high = (round(value / UNIT_FACTORS["V"]) for value in (string.stops_low_mv, string.stops_high_mv))
    leds = f"{string.led_count} LEDs in a string stop draining at {low} to {high} V"
    if string.above:
        return f"{leds}; above that they hurry it, below only the divider is left."
    return f"{leds}: from here on only the divider drains it."


def _duration(seconds: float) -> str:
    if seconds > LONGEST_WAIT_S:
        return "more than a day"
    if seconds < 2 * SECONDS_PER_MINUTE:
        return f"{seconds:.0f} s" if seconds >= 1 else "a second"
    return f"{seconds / SECONDS_PER_MINUTE:.1f} min"


def _refuse_impossible(question: DischargeQuestion) -> None:
    _within("start_mv", question.start_mv, -LARGEST_START_MV, LARGEST_START_MV, VOLTS, "21800")
    if question.capacitance_uf is not None:
        _above_zero("capacitance_uf", question.capacitance_uf, LARGEST_CAPACITANCE_UF, "microfarads", "4.7")
    if question.bleed_ohm is not None:
        _above_zero("bleed_ohm", question.bleed_ohm, LARGEST_BLEED_OHM, "ohms; leave it out for none", "5.5e6")
    if question.led_count is not None:
        _above_zero("led_count", question.led_count, MOST_LEDS, "LEDs in series; leave it out for none", "10")
    if question.later is not None:
        _above_zero("later.after_s", question.later.after_s, LONGEST_WAIT_S, "seconds after the start", "60")
        later_mv = question.later.measured_mv
        _within("later.measured_mv", later_mv, -LARGEST_START_MV, LARGEST_START_MV, VOLTS, "2100")


def _above_zero(where: str, given: float, most: float, what: str, example: str) -> None:
    if not 0 < given <= most:
        raise _impossible(where, given, f"above 0 and at most {most:.0f} {what}", example)


def _within(where: str, given: float, least: float, most: float, what: str, example: str) -> None:
    if not least <= given <= most:
        raise _impossible(where, given, f"{least:.0f} to {most:.0f} {what}", example)


def _impossible(where: str, given: float, expected: str, example: str) -> SheetError:
    return SheetError(
        "impossible_value",
        "nothing on a bench has this value",
        where=where,
        given=f"{given}",
        expected=expected,
        example=f"{where.rsplit('.', 1)[-1]}: {example}",
    )
