"""A meter's sheet: the current it was made with comes back, slips by a thousand are named, 4 V is the end."""

import math
import random
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.engine.constants.meters import PAIR_SERIES_OHM, PAIR_SERIES_OWN_SD_OHM, PAIR_SERIES_SD_OHM
from server.engine.constants.readings import GAIN_SD, LEAD_NOISE_OHM, NOISE_MV
from server.engine.constants.sessions import (
    AIR_SD_KNOWN_K,
    BULK_OHM,
    IDEALITY,
    IDEALITY_OWN_SD,
    IDEALITY_SD,
    KELVIN,
    OFFSET_SD_MV,
    VT_MV_PER_K,
)
from server.engine.errors import SheetError
from server.engine.meter_pair import log_ratio, meter_pair
from server.engine.meter_sheet import meter_sheet
from server.engine.wording_units import current_words, forced_words
from shared_models.meters import DiodeShown, MeterPairQuestion, MeterSheetQuestion, ResistorShown, SameContact

E24 = (100.0, 110.0, 120.0, 150.0, 220.0, 330.0, 470.0, 680.0, 910.0, 1000.0)
"""Values of the E24 series, IEC 60063."""

currents = st.floats(0.16, 2.9)
pairs = st.lists(st.sampled_from(E24), min_size=2, max_size=5, unique=True).filter(
    lambda ohms: max(ohms) > 2 * min(ohms)
)


def shown(ohm: float, current_ma: float, offset_mv: float = 0.0, **more: float) -> ResistorShown:
    """A resistor and what an ideal display shows of it."""
    return ResistorShown(resistor_ohm=ohm, shown=f"{ohm * current_ma + offset_mv:.3f}", **more)


def refused(question: MeterSheetQuestion) -> SheetError:
    """The refusal of a question that must not be answered."""
    with pytest.raises(SheetError) as caught:
        meter_sheet(question)
    return caught.value


@given(currents, st.floats(-3, 3), pairs)
def test_the_current_and_the_offset_it_was_made_with_come_back(
    current_ma: float, offset_mv: float, ohms: list[float]
) -> None:
    sheet = meter_sheet(MeterSheetQuestion(resistors=tuple(shown(ohm, current_ma, offset_mv) for ohm in ohms)))
    assert sheet.test_current_ma == pytest.approx(current_ma, abs=2e-4)
    assert sheet.offset_mv == pytest.approx(offset_mv, abs=0.05)


@given(currents, pairs, st.randoms(use_true_random=False))
def test_the_order_of_the_resistors_has_no_meaning(current_ma: float, ohms: list[float], shuffler: object) -> None:
    rows = [shown(ohm, current_ma) for ohm in ohms]
    straight = meter_sheet(MeterSheetQuestion(resistors=tuple(rows)))
    shuffler.shuffle(rows)  # type: ignore[attr-defined]
    other = meter_sheet(MeterSheetQuestion(resistors=tuple(rows)))
    assert (other.test_current_ma, other.offset_mv) == pytest.approx((straight.test_current_ma, straight.offset_mv))


def test_the_uncertainty_is_that_of_a_line_through_two_points() -> None:
    """sd(I)^2 = (s1^2 + s2^2) / (R2 - R1)^2, each s = hypot(I R tolerance / sqrt 3, 1 mV); the gain beside it."""
    sheet = meter_sheet(MeterSheetQuestion(resistors=(shown(100, 1.0), shown(470, 1.0))))
    first, second = math.hypot(1.0 / math.sqrt(3), 1.0), math.hypot(4.7 / math.sqrt(3), 1.0)
    line_sd = math.hypot(first, second) / 370
    assert sheet.test_current_sd_pct == pytest.approx(100 * math.hypot(line_sd, 0.0025), abs=0.006)
    loose = (shown(100, 1.0, tolerance_pct=5), shown(470, 1.0, tolerance_pct=5))
    wider = meter_sheet(MeterSheetQuestion(resistors=loose))
    assert wider.test_current_sd_pct > 2 * sheet.test_current_sd_pct


@pytest.mark.parametrize(("typed", "at_mv", "current", "meant"), [
    (1.0, "470", "470 mA", "1 kohm"),
    (0.47, "470", "1 A", "470 ohm"),
    (470_000.0, "470", "1 µA", "470 ohm"),
])
def test_a_resistor_typed_wrong_by_a_thousand_is_named(typed: float, at_mv: str, current: str, meant: str) -> None:
    rows = (shown(100, 1.0), ResistorShown(resistor_ohm=typed, shown=at_mv))
    problem = refused(MeterSheetQuestion(resistors=rows)).problem
    assert problem.code == "resistor_by_a_thousand"
    assert problem.where == "$.resistors[1].resistor_ohm"
    assert current in problem.message and f"did you mean {meant}?" in problem.message
    mended = ResistorShown(resistor_ohm=float(problem.example), shown=at_mv)
    assert meter_sheet(MeterSheetQuestion(resistors=(rows[0], mended))).fits_sockets


def test_a_current_is_said_in_the_unit_it_rounds_to() -> None:
    assert [current_words(ma) for ma in (999.99999, 999.4, 0.0009999)] == ["1 A", "999 mA", "1 µA"]


def test_a_test_current_is_told_in_hundredths_and_a_smaller_one_than_any_by_its_digits() -> None:
    assert [forced_words(ma) for ma in (1.0249, 0.1, 0.05, 0.001)] == ["1.02 mA", "0.10 mA", "0.05 mA", "1 µA"]


def test_two_resistors_close_on_either_side_of_the_limit_give_it() -> None:
    near = (shown(100, 1.0), shown(1300, 1.0), ResistorShown(resistor_ohm=1500, shown="OL"))
    assert meter_sheet(MeterSheetQuestion(resistors=near)).open_circuit_mv == pytest.approx(1400, abs=2)
    far = (shown(100, 1.0), shown(470, 1.0), ResistorShown(resistor_ohm=1500, shown="OL"))
    told = meter_sheet(MeterSheetQuestion(resistors=far))
    assert told.open_circuit_mv is None and "more than 470 mV, at most 1500 mV" in " ".join(told.sentences)


@given(currents, st.sampled_from(E24), st.sampled_from([1000.0, 0.001]))
def test_every_slip_by_a_thousand_is_caught(current_ma: float, ohm: float, factor: float) -> None:
    slipped = ResistorShown(resistor_ohm=ohm * factor, shown=f"{ohm * current_ma:.3f}")
    problem = refused(MeterSheetQuestion(resistors=(shown(120, current_ma), slipped))).problem
    assert problem.code == "resistor_by_a_thousand"
    assert float(problem.example) == pytest.approx(ohm, rel=1e-4)


@pytest.mark.parametrize(("rows", "code"), [
    ((), "too_few_resistors"),
    ((ResistorShown(resistor_ohm=470, shown="470"),), "too_few_resistors"),
    ((ResistorShown(resistor_ohm=470, shown="470"), ResistorShown(resistor_ohm=470, shown="471")), "too_few_resistors"),
    ((ResistorShown(resistor_ohm=470, shown="470"), ResistorShown(resistor_ohm=2200, shown="OL")), "too_few_resistors"),
    ((ResistorShown(resistor_ohm=-470, shown="470"),), "no_such_resistor"),
    ((ResistorShown(resistor_ohm=0, shown="470"),), "no_such_resistor"),
    ((ResistorShown(resistor_ohm=470, shown="470", tolerance_pct=0),), "no_such_tolerance"),
    ((ResistorShown(resistor_ohm=470, shown="about half"),), "not_a_display"),
    ((ResistorShown(resistor_ohm=100, shown="470"), ResistorShown(resistor_ohm=470, shown="100")), "line_falls"),
])
def test_what_cannot_be_is_refused_with_an_example(rows: tuple[ResistorShown, ...], code: str) -> None:
    problem = refused(MeterSheetQuestion(resistors=rows)).problem
    assert problem.code == code and problem.where.startswith("$.resistors") and problem.example


def test_a_meter_above_4_volts_is_refused_for_sockets_with_the_reason() -> None:
    rows = (shown(100, 1.0), shown(470, 1.0))
    sheet = meter_sheet(MeterSheetQuestion(resistors=rows, open_measured_mv=5400.0))
    assert not sheet.fits_sockets
    assert sheet.why_not is not None and "5.4 V" in sheet.why_not and sheet.why_not in sheet.sentences
    assert meter_sheet(MeterSheetQuestion(resistors=rows, open_measured_mv=4000.0)).fits_sockets
    shows_it_itself = MeterSheetQuestion(resistors=(shown(100, 1.0), shown(4700, 1.0)))
    assert not meter_sheet(shows_it_itself).fits_sockets


def test_the_open_circuit_limit_is_what_was_seen_and_no_more() -> None:
    rows = (shown(100, 1.0), shown(470, 1.0), ResistorShown(resistor_ohm=2200, shown="OL"))
    told = meter_sheet(MeterSheetQuestion(resistors=rows, open_shown="OL"))
    assert (told.open_at_least_mv, told.open_circuit_mv) == (470.0, None)
    assert told.open_at_most_mv == pytest.approx(2200, abs=1)
    assert any("limit is not known: more than 470 mV" in sentence for sentence in told.sentences)
    volts = MeterSheetQuestion(
        resistors=(ResistorShown(resistor_ohm=100, shown="0.100"), ResistorShown(resistor_ohm=470, shown="0,470")),
        display_unit="V", open_shown="2.81",
    )
    assert meter_sheet(volts).open_circuit_mv == 2810.0


@pytest.mark.parametrize("fields", [{"open_measured_mv": -5400.0}, {"open_shown": "-5400"}])
def test_leads_the_other_way_round_do_not_make_a_meter_of_5_volts_fit_sockets(fields: dict[str, Any]) -> None:
    sheet = meter_sheet(MeterSheetQuestion(resistors=(shown(100, 1.0), shown(470, 1.0)), **fields))
    assert (sheet.fits_sockets, sheet.open_circuit_mv) == (False, 5400.0)


@pytest.mark.parametrize(("fields", "where"), [
    ({"open_measured_mv": 0.0}, "$.open_measured_mv"),
    ({"open_measured_mv": 2.9}, "$.open_measured_mv"),
    ({"open_shown": "300"}, "$.open_shown"),
])
def test_a_limit_below_what_the_meter_showed_is_refused(fields: dict[str, Any], where: str) -> None:
    question = MeterSheetQuestion(resistors=(shown(100, 1.0), shown(470, 1.0)), **fields)
    problem = refused(question).problem
    assert (problem.code, problem.where) == ("limit_below_shown", where)
    just_below = MeterSheetQuestion(resistors=(shown(100, 1.0), shown(470, 1.0)), open_measured_mv=468.0)
    assert meter_sheet(just_below).open_circuit_mv == 468.0


def test_a_third_resistor_shows_a_wrong_marking_and_the_current_is_less_sure() -> None:
    """330 marked on a resistor of 360 ohm: the line through 100, 330 and 680 misses it."""
    right = (shown(100, 1.0), shown(330, 1.0), shown(680, 1.0))
    wrong = (shown(100, 1.0), ResistorShown(resistor_ohm=330, shown="360"), shown(680, 1.0))
    sure, doubted = (meter_sheet(MeterSheetQuestion(resistors=rows)) for rows in (right, wrong))
    assert not any("contradict each other:" in sentence for sentence in sure.sentences)
    assert any("The resistors contradict each other: look" in sentence for sentence in doubted.sentences)
    assert abs(doubted.test_current_ma - 1) < 2 * doubted.test_current_sd_pct / 100
    assert doubted.test_current_sd_pct > 5 * sure.test_current_sd_pct
    four = meter_sheet(MeterSheetQuestion(resistors=(*wrong, shown(220, 1.0))))
    assert any("330 ohm most of all" in sentence for sentence in four.sentences)


def test_resistors_that_leave_the_current_unknown_are_refused() -> None:
    problem = refused(MeterSheetQuestion(resistors=(shown(100, 1.0), shown(101, 1.0)))).problem
    assert (problem.code, problem.where) == ("resistors_too_alike", "$.resistors")


@pytest.mark.parametrize("air_c", [-60.0, 61.0, 119.0])
def test_air_no_bench_has_is_refused(air_c: float) -> None:
    rows = (shown(100, 1.0), shown(470, 1.0))
    assert refused(MeterSheetQuestion(resistors=rows, air_c=air_c)).problem.code == "absurd_air"
    with pytest.raises(SheetError) as caught:
        meter_pair(MeterPairQuestion(contacts=contacts(0.8), air_c=air_c))
    assert (caught.value.problem.code, caught.value.problem.where) == ("absurd_air", "$.air_c")


def test_the_ideality_is_known_as_well_as_what_it_rests_on() -> None:
    """Drawn: meter of 1 mA, resistors of 1 %, numbers to a millivolt, air told to 3 K; the diode has n = 1.6."""
    rng, off = random.Random("ideality"), []
    for _ in range(400):
        celsius = rng.gauss(23, AIR_SD_KNOWN_K)
        vt = VT_MV_PER_K * (KELVIN + celsius)
        ohms = {ohm: ohm * (1 + rng.uniform(-0.01, 0.01)) for ohm in (100.0, 470.0, 1000.0)}
        low, high = 0.0, 1.0
        left, beside = 0.5, 560.0
        for _ in range(60):  # what the diode is left with beside 1 kohm, by halving
            left = 0.5 * (low + high)
            beside = 560 + 1.6 * vt * math.log(left)
            low, high = (left, high) if left + beside / ohms[1000.0] < 1.0 else (low, left)
        across = {ohm: f"{ohms[ohm] + rng.gauss(0, 1):.2f}" for ohm in (100.0, 470.0)}
        diode = DiodeShown(
            shown_alone=f"{560 + rng.gauss(0, 1):.2f}", shown_beside=f"{beside + rng.gauss(0, 1):.2f}", beside_ohm=1000
        )
        resistors = tuple(ResistorShown(resistor_ohm=ohm, shown=mv) for ohm, mv in across.items())
        sheet = meter_sheet(MeterSheetQuestion(resistors=resistors, diode=diode, air_c=23.0))
        assert sheet.ideality is not None and sheet.ideality_sd is not None
        off.append(abs(sheet.ideality - 1.6) / sheet.ideality_sd)
    assert 0.88 <= sum(one < 1.645 for one in off) / len(off) <= 0.97


@given(st.floats(1.0, 2.0), st.floats(0.4, 2.0), st.floats(-10, 40))
def test_the_ideality_of_a_diode_comes_back(n: float, current_ma: float, air_c: float) -> None:
    vt = VT_MV_PER_K * (KELVIN + air_c)
    beside_ohm, alone = 470.0 / current_ma, 560.0
    beside = alone
    for _ in range(200):  # the diode's own drop with the resistor beside it, by halving steps
        taken = current_ma - beside / beside_ohm
        beside += 0.2 * (alone + n * vt * math.log(max(taken, 1e-9) / current_ma) - beside)
    question = MeterSheetQuestion(
        resistors=(shown(100, current_ma), shown(470, current_ma)), air_c=air_c,
        diode=DiodeShown(shown_alone=f"{alone:.3f}", shown_beside=f"{beside:.3f}", beside_ohm=beside_ohm),
    )
    sheet = meter_sheet(question)
    assert sheet.ideality is not None and sheet.ideality_sd is not None
    assert sheet.ideality == pytest.approx(n, abs=0.05 + sheet.ideality_sd)


def contacts(ratio: float, n: int = 6, first_ma: float = 1.0) -> tuple[SameContact, ...]:
    """Contacts as two ideal meters would read them, through an input clamp of the assumed ideality and series part."""
    vt = VT_MV_PER_K * (KELVIN + 23.0)
    moved = IDEALITY * vt * math.log(ratio) + (BULK_OHM + PAIR_SERIES_OHM) * first_ma * (ratio - 1)
    return tuple(
        SameContact(contact=str(k), first_shown=f"{440 + 5 * k}", second_shown=f"{440 + 5 * k + moved:.3f}")
        for k in range(1, n + 1)
    )


@given(st.floats(0.3, 3.0), st.integers(3, 12))
def test_two_meters_on_the_same_contacts_give_their_ratio_with_an_interval(ratio: float, n: int) -> None:
    pair = meter_pair(MeterPairQuestion(contacts=contacts(ratio, n)))
    assert pair.ratio == pytest.approx(ratio, rel=1e-3)
    assert pair.ratio_low < ratio < pair.ratio_high
    assert pair.contacts_used == n and pair.odd_contacts == ()


@pytest.mark.parametrize("ratio", [0.3, 0.8, 1.9])
def test_the_interval_of_two_meters_covers_as_often_as_it_says(ratio: float) -> None:
    """Contacts drawn from the stated spreads: n and series parts, common and each one's own, one hand, zeros, gains."""
    rng = random.Random(f"pair {ratio}")
    vt, inside, tried = VT_MV_PER_K * (KELVIN + 23.0), 0, 1600
    for place in range(tried):
        common, in_line = rng.gauss(IDEALITY, IDEALITY_SD), rng.gauss(BULK_OHM + PAIR_SERIES_OHM, PAIR_SERIES_SD_OHM)
        zeros, gains = ([rng.gauss(0, sd) for _ in range(2)] for sd in (OFFSET_SD_MV, GAIN_SD))
        rows = []
        for k in range((2, 3, 6, 15)[place % 4]):
            at = 450 + rng.gauss(0, 10)
            moved = rng.gauss(common, IDEALITY_OWN_SD) * vt * math.log(ratio)
            moved += rng.gauss(in_line, PAIR_SERIES_OWN_SD_OHM) * (ratio - 1)
            first, second = (
                mv * (1 + gain) + zero + rng.gauss(0, math.hypot(NOISE_MV, LEAD_NOISE_OHM * current_ma))
                for mv, zero, gain, current_ma in zip((at, at + moved), zeros, gains, (1.0, ratio), strict=True)
            )
            rows.append(SameContact(contact=str(k), first_shown=f"{first:.1f}", second_shown=f"{second:.1f}"))
        pair = meter_pair(MeterPairQuestion(contacts=tuple(rows)))
        inside += pair.ratio_low < ratio < pair.ratio_high
    assert 0.93 <= inside / tried <= 0.97


def test_two_contacts_give_an_interval_that_is_of_use_and_say_how_many_more_would_help() -> None:
    two, twenty = (meter_pair(MeterPairQuestion(contacts=contacts(0.4, n))) for n in (2, 20))
    assert two.ratio_high / two.ratio_low < 3.5
    assert two.contacts_enough is not None and two.contacts_enough > 2
    assert f"{two.contacts_enough} contacts would narrow it" in " ".join(two.sentences)
    assert twenty.ratio_high / twenty.ratio_low < two.ratio_high / two.ratio_low
    assert "two known resistors do" in " ".join(twenty.sentences)


def test_the_second_meters_deviation_holds_the_first_ones() -> None:
    rows = contacts(0.8, 8)
    well, badly = (
        meter_pair(MeterPairQuestion(contacts=rows, first_current_sd_pct=pct)).second_current_sd_pct for pct in (1, 20)
    )
    assert well is not None and badly is not None
    assert badly == pytest.approx(math.hypot(20, math.sqrt(well * well - 1)), abs=0.02)


def test_one_contact_that_moved_otherwise_is_named_and_hardly_counts() -> None:
    rows = (*contacts(0.5, 7), SameContact(contact="wild", first_shown="450", second_shown="250"))
    pair = meter_pair(MeterPairQuestion(contacts=rows))
    assert pair.odd_contacts == ("wild",)
    assert pair.ratio == pytest.approx(0.5, abs=0.05)


def test_grounds_and_over_say_nothing_of_the_current() -> None:
    rows = (
        SameContact(contact="1", first_shown="0", second_shown="0"),
        SameContact(contact="2", first_shown="OL", second_shown="OL"),
        *contacts(0.5, 1),
    )
    with pytest.raises(SheetError) as caught:
        meter_pair(MeterPairQuestion(contacts=rows))
    assert caught.value.problem.code == "too_few_contacts"
    assert msgspec.json.decode(caught.value.problem.example, type=list[SameContact])


@pytest.mark.parametrize("second_mv", [-230, -300, 400])
def test_a_second_current_that_no_diode_test_forces_is_refused(second_mv: int) -> None:
    rows = tuple(
        SameContact(contact=str(mv), first_shown=str(mv), second_shown=str(mv + second_mv)) for mv in (452, 520, 611)
    )
    with pytest.raises(SheetError) as caught:
        meter_pair(MeterPairQuestion(contacts=rows))
    problem = caught.value.problem
    assert (problem.code, problem.where) == ("second_does_not_fit", "$.contacts")
    assert "0.00 mA" not in problem.message + problem.given


def test_a_second_current_beyond_diode_tests_that_may_be_one_is_doubted() -> None:
    pair = meter_pair(MeterPairQuestion(contacts=contacts(0.5, first_ma=0.2), first_current_ma=0.2))
    assert pair.second_current_ma == pytest.approx(0.1, abs=0.005)
    assert any("this is out of that" in sentence for sentence in pair.sentences)
    assert not any("this is out" in one for one in meter_pair(MeterPairQuestion(contacts=contacts(0.5))).sentences)


@given(st.floats(-300, 600), st.floats(20, 60), st.floats(0, 500))
def test_the_ratio_solves_its_equation(change_mv: float, junction_mv: float, series_mv: float) -> None:
    x = log_ratio(change_mv, junction_mv, series_mv)
    assert junction_mv * x + series_mv * (math.exp(x) - 1) == pytest.approx(change_mv, abs=1e-6)
