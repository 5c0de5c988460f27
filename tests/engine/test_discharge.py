"""How long a charge lasts: never told too early, impossible values refused by name, and the meter has the last word."""

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.engine.bench_doors import discharge, discharge_json
from server.engine.discharge import volts_after
from server.engine.errors import SheetError
from shared_models.discharge import Discharge, DischargeQuestion, LaterMeasurement

A_START = st.floats(-400_000, 400_000)
QUESTIONS = st.builds(
    DischargeQuestion,
    start_mv=A_START,
    capacitance_uf=st.none() | st.floats(1e-3, 1e5),
    bleed_ohm=st.none() | st.floats(1, 1e9),
    led_count=st.none() | st.integers(1, 40),
    later=st.none() | st.builds(LaterMeasurement, after_s=st.floats(0.1, 3600), measured_mv=A_START),
    places=st.sampled_from([(), ("C12", "C88")]),
)


def times(answer: Discharge) -> dict[str, float | None]:
    return {limit.limit: limit.after_s for limit in answer.limits}


@given(QUESTIONS)
def test_the_curve_falls_and_the_lower_limit_comes_later(question: DischargeQuestion) -> None:
    answer = discharge(question)
    volts = [abs(point.volts_mv) for point in answer.curve]
    assert volts == sorted(volts, reverse=True)
    reached = [limit.after_s for limit in sorted(answer.limits, key=lambda limit: -limit.limit_mv)]
    known = [after for after in reached if after is not None]
    assert known == sorted(known)
    assert None not in reached or reached[-1] is None
    assert answer.sentences[-1].startswith("The meter decides")


@given(QUESTIONS)
def test_at_or_under_a_volt_the_measured_value_ends_it(question: DischargeQuestion) -> None:
    answer = discharge(question)
    last_mv = question.start_mv if question.later is None else question.later.measured_mv
    assert answer.ended == (abs(last_mv) <= 1000)
    if answer.ended:
        assert answer.curve == ()
        assert "ends the waiting" in answer.sentences[0]


@given(st.floats(1_100, 400_000), st.floats(0.1, 1e4), st.floats(10, 1e7))
def test_the_time_told_is_when_the_curve_crosses(start_mv: float, uf: float, ohm: float) -> None:
    answer = discharge(DischargeQuestion(start_mv=start_mv, capacitance_uf=uf, bleed_ohm=ohm))
    after = times(answer)["plugging"]
    assert after is not None
    tau = uf * ohm / 1e6
    assert volts_after(start_mv, tau, after + 0.006) <= 1000.0001
    assert volts_after(start_mv, tau, max(0.0, after - 0.006)) >= 999.9999


def test_a_string_never_makes_the_time_shorter() -> None:
    plain = DischargeQuestion(start_mv=40_000, capacitance_uf=4.7, bleed_ohm=1.5e6)
    with_leds = discharge(msgspec.structs.replace(plain, led_count=10))
    assert times(with_leds) == times(discharge(plain))
    assert with_leds.string is not None and with_leds.string.above
    assert "above that they hurry it" in with_leds.sentences[0]


def test_what_drains_it_unknown_asks_for_a_second_number() -> None:
    answer = discharge(DischargeQuestion(start_mv=21_800, led_count=10))
    assert (answer.told_by, answer.tau_s, answer.curve) == ("nothing", None, ())
    assert times(answer)["plugging"] is None
    assert any("measure again after a minute" in sentence for sentence in answer.sentences)


def test_two_measurements_outrank_the_parts() -> None:
    later = LaterMeasurement(after_s=60, measured_mv=10_900)
    answer = discharge(DischargeQuestion(start_mv=21_800, capacitance_uf=4.7, bleed_ohm=1.5e6, later=later))
    assert answer.told_by == "measured"
    assert answer.tau_s == pytest.approx(86.56, abs=0.01)
    assert answer.start_mv == 10_900
    assert times(answer)["plugging"] == pytest.approx(86.56 * 2.3888, abs=0.05)  # counted from the second number


def test_a_voltage_that_does_not_fall_is_still_fed() -> None:
    later = LaterMeasurement(after_s=60, measured_mv=21_900)
    answer = discharge(DischargeQuestion(start_mv=21_800, capacitance_uf=4.7, bleed_ohm=1.5e6, later=later))
    assert answer.still_fed and answer.tau_s is None and answer.curve == ()
    assert "something still feeds it" in answer.sentences[0]


def test_above_sixty_volts_it_says_hands_off() -> None:
    answer = discharge(DischargeQuestion(start_mv=-120_000, capacitance_uf=100, bleed_ohm=2000))
    assert any("hands off" in sentence for sentence in answer.sentences)
    body = times(answer)["body"]
    assert body is not None and 0 < body < 1


def test_each_limit_says_where_it_comes_from() -> None:
    origins = {limit.limit: limit.origin for limit in discharge(DischargeQuestion(start_mv=5)).limits}
    assert origins == {
        "body": "ES1 limit of IEC 62368-1 table 4, read second-hand",
        "plugging": "common practice, no source",
        "honest_reading": "common practice, no source",
    }


@pytest.mark.parametrize(
    ("question", "where", "given_text", "example"),
    [
        ({"capacitance_uf": -1.0}, "capacitance_uf", "-1.0", "capacitance_uf: 4.7"),
        ({"capacitance_uf": 0.0}, "capacitance_uf", "0.0", "capacitance_uf: 4.7"),
        ({"capacitance_uf": 1e9}, "capacitance_uf", "1000000000.0", "capacitance_uf: 4.7"),
        ({"bleed_ohm": 0.0}, "bleed_ohm", "0.0", "bleed_ohm: 5.5e6"),
        ({"bleed_ohm": -5.0}, "bleed_ohm", "-5.0", "bleed_ohm: 5.5e6"),
        ({"led_count": 0}, "led_count", "0", "led_count: 10"),
        ({"later": LaterMeasurement(after_s=0.0, measured_mv=1.0)}, "later.after_s", "0.0", "after_s: 60"),
        ({"start_mv": 1e9}, "start_mv", "1000000000.0", "start_mv: 21800"),
        ({"start_mv": float("nan")}, "start_mv", "nan", "start_mv: 21800"),
        ({"bleed_ohm": float("inf")}, "bleed_ohm", "inf", "bleed_ohm: 5.5e6"),
    ],
)
def test_impossible_values_are_refused_by_name(
    question: dict[str, object], where: str, given_text: str, example: str
) -> None:
    with pytest.raises(SheetError) as refused:
        discharge(DischargeQuestion(**{"start_mv": 21_800.0, **question}))  # type: ignore[arg-type]
    problem = refused.value.problem
    assert (problem.code, problem.where, problem.given, problem.example) == (
        "impossible_value", where, given_text, example,
    )
    assert problem.expected


def test_the_door_takes_and_gives_json() -> None:
    question = DischargeQuestion(start_mv=21_800, capacitance_uf=4.7, bleed_ohm=5.53e6, led_count=10)
    answer = msgspec.json.decode(discharge_json(msgspec.json.encode(question)), type=Discharge)
    assert answer == discharge(question)
    with pytest.raises(msgspec.ValidationError, match=r"`\$.capacitance`|unknown field"):
        discharge_json(b'{"start_mv": 1, "capacitance": 3}')
