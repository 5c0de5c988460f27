"""Two meters on the same healthy contacts: how much more current the second forces.

Source of the law: a junction with a resistance in series, V2 - V1 = n Vt ln(k) + R I1 (k - 1) with k the
ratio of the currents; it rises with k, so each contact gives one k. The contacts' centre is Huber's
location of ln k (`robust`). How far contacts scatter is not left to two of them: a scaled inverse chi-square
prior (Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6), worth `PAIR_PRIOR_DF` contacts, holds what a touch
with either meter, the junctions' own spread of n and parts in series that nobody described make of it; Student's t
has the degrees of both. What all contacts share (the junctions' n is known to a sixth or so, the zeros of two
meters to a few millivolts) is added to it and does not shrink.
"""

import math

from server.engine.constants.meters import (
    PAIR_COVERAGE,
    PAIR_LEAST_MV,
    PAIR_MOST_DF,
    PAIR_ODD_SCALES,
    PAIR_PRIOR_DF,
    PAIR_SERIES_OHM,
    PAIR_SERIES_OWN_SD_OHM,
    PAIR_SERIES_SD_OHM,
    PAIR_SHARE_WANTED,
    PAIR_STEPS,
)
from server.engine.constants.readings import GAIN_SD, LEAD_NOISE_OHM, NOISE_MV
from server.engine.constants.sessions import (
    BULK_OHM,
    CURRENT_HIGH_MA,
    CURRENT_LOW_MA,
    DIODE_MODE_MAX_MV,
    IDEALITY,
    IDEALITY_OWN_SD,
    IDEALITY_SD,
    KELVIN,
    OFFSET_SD_MV,
    PERCENT,
    VT_MV_PER_K,
)
from server.engine.errors import SheetError
from server.engine.meter_sheet import checked_air, number_shown
from server.engine.meters import possible_current
from server.engine.robust import huber_location, mad_scale_of_few
from server.engine.rounding import milliamperes, plain
from server.engine.student import StudentT
from server.engine.wording_units import forced_words
from shared_models.meters import MeterPair, MeterPairQuestion


def meter_pair(question: MeterPairQuestion) -> MeterPair:
    """The ratio of the two currents with its interval. Raises SheetError for what cannot be compared."""
    first_ma = question.first_current_ma
    if not possible_current(first_ma):
        raise SheetError(
            "no_such_current", f"{first_ma:g} mA is no current of a diode test", where="$.first_current_ma",
            given=f"{first_ma:g}", expected=f"{CURRENT_LOW_MA:g} to {CURRENT_HIGH_MA:g} mA", example="1.0",
        )
    if not 0 <= question.first_current_sd_pct <= PERCENT:
        raise SheetError(
            "no_such_deviation", f"{question.first_current_sd_pct:g} % is no deviation of a current",
            where="$.first_current_sd_pct", given=f"{question.first_current_sd_pct:g}", expected="0 to 100 %",
            example="2",
        )
    vt = VT_MV_PER_K * (KELVIN + checked_air(question.air_c))
    moved, middle_mv = _moved_mv(question)
    if len(moved) < 2:
        raise SheetError(
            "too_few_contacts", "two contacts that show a junction on both meters are needed", where="$.contacts",
            given=f"{len(moved)} with numbers above {PAIR_LEAST_MV:g} mV on both",
            expected="at least two; grounds and OL say nothing of the current",
            example='[{"contact":"3","first_shown":"452","second_shown":"431"}]',
        )
    series_mv = (BULK_OHM + PAIR_SERIES_OHM) * first_ma
    logs = [log_ratio(change, IDEALITY * vt, series_mv) for _, change in moved]
    middle = sorted(logs)[len(logs) // 2]
    own = _scatter_expected(middle, IDEALITY * vt, first_ma)
    centre = huber_location(logs, max(mad_scale_of_few(logs), own))
    scale = _scatter(logs, own)
    df = PAIR_PRIOR_DF + len(logs) - 1
    shared = _shared(centre, IDEALITY * vt, first_ma, middle_mv)
    own_sd = scale / math.sqrt(len(logs))
    sd = math.hypot(own_sd, shared)
    low, high = StudentT(_degrees(df, own_sd, sd), centre, sd).limits(PAIR_COVERAGE)
    _check_second(first_ma, low, centre, high)
    odd = [name for (name, _), each in zip(moved, logs, strict=True) if abs(each - centre) > PAIR_ODD_SCALES * scale]
    ratio = math.exp(centre)
    enough = _enough(scale, shared, df)
    return MeterPair(
        ratio=milliamperes(ratio),
        ratio_low=milliamperes(math.exp(low)),
        ratio_high=milliamperes(math.exp(high)),
        second_current_ma=milliamperes(first_ma * ratio),
        second_current_sd_pct=plain(PERCENT * min(1.0, math.hypot(sd, question.first_current_sd_pct / PERCENT))),
        contacts_used=len(logs),
        contacts_enough=enough,
        sentences=_sentences(first_ma, (low, centre, high), len(logs), enough, odd),
        odd_contacts=tuple(odd),
    )


def _per_log(log: float, junction_mv: float, first_ma: float) -> float:
    """By how many millivolts a contact moves for one unit of the ratio's logarithm, at that ratio."""
    return junction_mv + (BULK_OHM + PAIR_SERIES_OHM) * first_ma * math.exp(log)


def _scatter_expected(log: float, junction_mv: float, first_ma: float) -> float:
    """How far one contact's logarithm strays by itself: a touch with either meter, its own n, what it has in series.

    One hand touches with both: what another meter adds, its zero and its gain, all contacts share.
    """
    leads_mv = LEAD_NOISE_OHM * first_ma * math.hypot(1, math.exp(log))
    touches = math.hypot(NOISE_MV, NOISE_MV, leads_mv)
    ideality = abs(log) * junction_mv * IDEALITY_OWN_SD / IDEALITY
    series = PAIR_SERIES_OWN_SD_OHM * first_ma * abs(math.expm1(log))
    return math.hypot(touches, ideality, series) / _per_log(log, junction_mv, first_ma)


def _shared(log: float, junction_mv: float, first_ma: float, read_mv: float) -> float:
    """How far the logarithm is off for all contacts alike: n, what lies in series, both zeros and both gains."""
    ideality = abs(log) * junction_mv * IDEALITY_SD / IDEALITY
    series = PAIR_SERIES_SD_OHM * first_ma * abs(math.expm1(log))
    meters = math.sqrt(2) * math.hypot(OFFSET_SD_MV, GAIN_SD * read_mv)
    return math.hypot(ideality, series, meters) / _per_log(log, junction_mv, first_ma)


def _degrees(df: float, own: float, whole: float) -> float:
    """Degrees of freedom of a deviation whose one part, `own`, has `df` and whose other part is known.

    Welch and Satterthwaite's formula (JCGM 100:2008, G.4.2).
    """
    share = own / whole
    return min(df / (share * share * share * share), PAIR_MOST_DF) if share > 0 else PAIR_MOST_DF


def _check_second(first_ma: float, low: float, centre: float, high: float) -> None:
    """Refuses a second current that no diode test forces, however far its interval reaches."""
    low_ma, second_ma, high_ma = (first_ma * math.exp(each) for each in (low, centre, high))
    nearest_ma = low_ma if second_ma > CURRENT_HIGH_MA else high_ma
    if not possible_current(second_ma) and not possible_current(nearest_ma):
        raise SheetError(
            "second_does_not_fit",
            f"the second meter would force {forced_words(second_ma)}, which no diode test does",
            where="$.contacts", given=f"{forced_words(low_ma)} to {forced_words(high_ma)}",
            expected=f"numbers at which it forces {CURRENT_LOW_MA:g} to {CURRENT_HIGH_MA:g} mA: were both on the same "
            "contacts, in diode mode, in the same unit?",
            example='[{"contact":"3","first_shown":"452","second_shown":"431"}]',
        )


def _scatter(logs: list[float], expected: float) -> float:
    """One contact's deviation from the centre: what is seen, and what is expected of a touch, by their degrees."""
    seen, more = mad_scale_of_few(logs), len(logs) - 1
    square = (PAIR_PRIOR_DF * expected * expected + more * seen * seen) / (PAIR_PRIOR_DF + more)
    return math.sqrt(square)


def _enough(scale: float, shared: float, df: float) -> int:
    """So many contacts bring their own scatter to `PAIR_SHARE_WANTED`, or to half of what they all share."""
    _, times = StudentT(df, 0.0, 1.0).limits(PAIR_COVERAGE)
    wanted = max(PAIR_SHARE_WANTED, 0.5 * times * shared)
    return max(2, math.ceil(times * scale / wanted * (times * scale / wanted)))


def _moved_mv(question: MeterPairQuestion) -> tuple[list[tuple[str, float]], float]:
    """Contact, and by how much the second shows more, mV, where both show a junction; and a middle reading."""
    moved, shown = [], [0.0]
    for index, each in enumerate(question.contacts):
        first = number_shown(each.first_shown, question.first_unit, f"$.contacts[{index}].first_shown")
        second = number_shown(each.second_shown, question.second_unit, f"$.contacts[{index}].second_shown")
        _check_shown(max(first or 0.0, second or 0.0), index)
        if first is not None and second is not None and min(first, second) >= PAIR_LEAST_MV:
            moved.append((each.contact, second - first))
            shown.append(first)
    return moved, sorted(shown)[len(shown) // 2]


def _check_shown(highest_mv: float, index: int) -> None:
    if highest_mv > DIODE_MODE_MAX_MV:
        raise SheetError(
            "absurd", f"{highest_mv:g} mV is more than a diode test shows on a socket", where=f"$.contacts[{index}]",
            given=f"{highest_mv:g} mV", expected=f"at most {DIODE_MODE_MAX_MV:g} mV, or OL", example="452",
        )


def log_ratio(change_mv: float, junction_mv: float, series_mv: float) -> float:
    """x with `junction_mv` x + `series_mv` (exp(x) - 1) = `change_mv`, by Newton from the side it falls on.

    `junction_mv` is n Vt, `series_mv` the series resistance times the first current.
    """
    # from above the root of a convex rising function Newton never overshoots; each term alone is a bound above
    x = max(0.0, change_mv / junction_mv)
    if series_mv > 0 and change_mv > 0:
        x = min(x, math.log1p(change_mv / series_mv))
    for _ in range(PAIR_STEPS):
        grown = series_mv * math.exp(x)
        x -= (junction_mv * x + grown - series_mv - change_mv) / (junction_mv + grown)
    return x


def _sentences(
    first_ma: float, logs: tuple[float, float, float], contacts: int, enough: int, odd: list[str]
) -> tuple[str, ...]:
    low, ma, high = (forced_words(first_ma * math.exp(each)) for each in logs)
    between = f"{low.removesuffix(' mA')} to {high.removesuffix(' mA')}"
    told = [f"The second meter forces {ma} ({between}), from {contacts} contacts."]
    if not CURRENT_LOW_MA <= first_ma * math.exp(logs[1]) <= CURRENT_HIGH_MA:
        told.append(f"Diode tests force {CURRENT_LOW_MA:g} to {CURRENT_HIGH_MA:g} mA: this is out of that.")
    if contacts < enough:
        told.append(f"{enough} contacts would narrow it; more than that hardly do.")
    else:
        told.append("More contacts hardly narrow it: two known resistors do.")
    if odd:
        told.append(f"Contact {', '.join(odd)} moved otherwise than the rest and hardly counts: touch it again.")
    return tuple(told)
