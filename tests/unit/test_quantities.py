"""What is typed becomes a value with its unit, or a question; what is written reads back as itself.

The durable truth is the typed text; the engine gives it a value later, on the server or on the phone. A
text that fits two values is asked about and never guessed.
"""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from server.engine.quantities import Doubt, read_text, write_text
from shared_models.reading import DisplayUnit, Draw, Drop, Ohms, OutOfReach, OverRange, ReadingKind, Value, Volts

UNITS: dict[ReadingKind, tuple[DisplayUnit, ...]] = {
    "drop": ("mV", "V"),
    "volts": ("mV", "V"),
    "ohms": ("ohm", "kohm", "Mohm"),
    "draw": ("mA", "A"),
}
ALL_UNITS: tuple[DisplayUnit, ...] = ("mV", "V", "ohm", "kohm", "Mohm", "mA", "A")

A_DROP, A_VOLTAGE = st.floats(-20, 4000), st.floats(-1e6, 1e6)
A_RESISTANCE, A_CURRENT = st.floats(0, 1e9), st.floats(-1e5, 1e5)


@st.composite
def values_with_units(draw: st.DrawFn) -> tuple[Value, DisplayUnit, ReadingKind]:
    """Any value a reading can have, a unit it is shown in, and its kind."""
    kind = draw(st.sampled_from(list(UNITS)))
    unit = draw(st.sampled_from(UNITS[kind]))
    if draw(st.integers(0, 9)) == 0:
        return draw(st.sampled_from([OverRange(), OutOfReach()])), unit, kind
    if kind == "drop":
        return Drop(drop_mv=draw(A_DROP)), unit, kind
    if kind == "volts":
        return Volts(volts_mv=draw(A_VOLTAGE)), unit, kind
    if kind == "ohms":
        return Ohms(ohm=draw(A_RESISTANCE)), unit, kind
    return Draw(draw_ma=draw(A_CURRENT)), unit, kind


def number_of(value: Value) -> float | None:
    """The number inside a value; None for OL and out of reach."""
    if isinstance(value, Drop):
        return value.drop_mv
    if isinstance(value, Ohms):
        return value.ohm
    if isinstance(value, Volts):
        return value.volts_mv
    return value.draw_ma if isinstance(value, Draw) else None


@given(values_with_units(), st.sampled_from(ALL_UNITS))
def test_what_is_written_reads_back_as_the_same_value_whatever_the_display_shows(
    made: tuple[Value, DisplayUnit, ReadingKind], shown: DisplayUnit
) -> None:
    value, unit, kind = made
    again = read_text(write_text(value, unit), shown, kind)
    assert type(again) is type(value)
    if isinstance(again, Doubt):
        return
    before, after = number_of(value), number_of(again)
    if before is not None and after is not None:
        assert math.isclose(after, before, rel_tol=1e-12, abs_tol=1e-9)


@given(values_with_units(), st.sampled_from(ALL_UNITS))
def test_a_text_that_was_read_back_is_written_the_same_again(
    made: tuple[Value, DisplayUnit, ReadingKind], shown: DisplayUnit
) -> None:
    value, unit, kind = made
    text = write_text(value, unit)
    again = read_text(text, shown, kind)
    assert not isinstance(again, Doubt)
    third = read_text(write_text(again, unit), shown, kind)
    assert not isinstance(third, Doubt)
    before, after = number_of(again), number_of(third)
    assert (before is None) == (after is None)
    if before is not None and after is not None:
        assert math.isclose(after, before, rel_tol=1e-12, abs_tol=1e-9)


@given(st.integers(-20, 4000))
def test_whole_millivolts_survive_to_the_last_bit(drop_mv: int) -> None:
    for unit in UNITS["drop"]:
        assert read_text(write_text(Drop(drop_mv=float(drop_mv)), unit), "mV", "drop") == Drop(drop_mv=drop_mv)


@given(st.text(max_size=40), st.sampled_from(ALL_UNITS), st.sampled_from(list(UNITS)))
@example("9" * 40, "V", "drop")
@example("-" + "9" * 39, "A", "draw")
@example("٤٥٢", "mV", "drop")
@example("4,5,2", "mV", "drop")
@example("", "mV", "drop")
@example("\u212a", "ohm", "ohms")
@example("1ΜΩ", "ohm", "ohms")
@example("5 ω", "ohm", "ohms")
@example("5 KΩ", "ohm", "ohms")
@example("²", "mV", "drop")
@example("5 ohmſ", "ohm", "ohms")
@example("5 \u2126", "ohm", "ohms")
def test_no_text_whatever_breaks_it_and_no_value_is_without_end(
    text: str, unit: DisplayUnit, kind: ReadingKind
) -> None:
    told = read_text(text, unit, kind)
    if isinstance(told, Doubt):
        assert told.code
        assert told.sentence
        return
    number = number_of(told)
    assert number is None or math.isfinite(number)


NUMBERS = st.from_regex(r"[+-]?[0-9]{0,5}[.,]?[0-9]{0,4} ?(mV|V|ohm|k|M|R|mA|A|Ω|kΩ|MΩ)?", fullmatch=True)


@given(NUMBERS, st.sampled_from(ALL_UNITS), st.sampled_from(list(UNITS)))
def test_anything_like_a_number_gets_a_value_of_its_kind_or_a_question(
    text: str, unit: DisplayUnit, kind: ReadingKind
) -> None:
    told = read_text(text, unit, kind)
    right = {"drop": Drop, "volts": Volts, "ohms": Ohms, "draw": Draw}[kind]
    assert isinstance(told, right | Doubt)


TAKEN: list[tuple[str, DisplayUnit, ReadingKind, Value]] = [
    ("452", "mV", "drop", Drop(drop_mv=452)),
    ("0.452 V", "mV", "drop", Drop(drop_mv=452)),
    ("0,452 V", "mV", "drop", Drop(drop_mv=452)),
    ("0.452", "V", "drop", Drop(drop_mv=452)),
    (".452 V", "mV", "drop", Drop(drop_mv=452)),
    (".452", "V", "drop", Drop(drop_mv=452)),
    ("452mv", "V", "drop", Drop(drop_mv=452)),
    ("  452   mV ", "V", "drop", Drop(drop_mv=452)),
    ("+452", "mV", "drop", Drop(drop_mv=452)),
    ("0", "mV", "drop", Drop(drop_mv=0)),
    ("0", "V", "drop", Drop(drop_mv=0)),
    ("-3", "mV", "drop", Drop(drop_mv=-3)),
    ("3.4 mV", "V", "drop", Drop(drop_mv=3.4)),
    ("4.0", "mV", "drop", Drop(drop_mv=4)),
    ("1", "V", "drop", Drop(drop_mv=1000)),
    ("1.446", "V", "drop", Drop(drop_mv=1446)),
    ("OL", "mV", "drop", OverRange()),
    ("0L", "mV", "drop", OverRange()),
    ("ol", "V", "drop", OverRange()),
    ("O.L", "V", "drop", OverRange()),
    (".OL", "ohm", "ohms", OverRange()),
    ("OL", "kohm", "ohms", OverRange()),
    ("out of reach", "mV", "drop", OutOfReach()),
    ("4k7", "ohm", "ohms", Ohms(ohm=4700)),
    ("4K7", "Mohm", "ohms", Ohms(ohm=4700)),
    ("1M5", "ohm", "ohms", Ohms(ohm=1_500_000)),
    ("2R2", "kohm", "ohms", Ohms(ohm=2.2)),
    ("47R", "kohm", "ohms", Ohms(ohm=47)),
    ("10k", "ohm", "ohms", Ohms(ohm=10_000)),
    ("4,7k", "ohm", "ohms", Ohms(ohm=4700)),
    ("4.7", "kohm", "ohms", Ohms(ohm=4700)),
    ("100 kΩ", "ohm", "ohms", Ohms(ohm=100_000)),
    ("100 Ω", "kohm", "ohms", Ohms(ohm=100)),
    ("1 M", "ohm", "ohms", Ohms(ohm=1_000_000)),
    ("0.3", "ohm", "ohms", Ohms(ohm=0.3)),
    ("21.8 V", "mV", "volts", Volts(volts_mv=21_800)),
    ("-4", "mV", "volts", Volts(volts_mv=-4)),
    ("0.3 A", "mA", "draw", Draw(draw_ma=300)),
]


@pytest.mark.parametrize(("text", "unit", "kind", "value"), TAKEN, ids=lambda one: str(one))
def test_what_technicians_type_gets_its_value(text: str, unit: DisplayUnit, kind: ReadingKind, value: Value) -> None:
    told = read_text(text, unit, kind)
    assert type(told) is type(value), told
    assert not isinstance(told, Doubt)
    expected = number_of(value)
    if expected is None:
        assert told == value
    else:
        assert number_of(told) == pytest.approx(expected, rel=1e-12)


ASKED: list[tuple[str, DisplayUnit, ReadingKind, str, str, tuple[str, ...]]] = [
    ("0.452", "mV", "drop", "fits_two_units", "'0.452' fits two units: is it 0.452 V or 0.452 mV?",
     ("0.452 V", "0.452 mV")),
    (".452", "mV", "drop", "fits_two_units", "'.452' fits two units: is it .452 V or .452 mV?", (".452 V", ".452 mV")),
    ("452", "V", "drop", "fits_two_units", "'452' V is more than a diode test shows: is it 452 mV?", ("452 mV",)),
    ("abc", "mV", "drop", "not_a_reading", "'abc' is not a reading (try 452, 0.452 V, 4k7, or OL).", ()),
    ("4.7.2", "mV", "drop", "not_a_reading", "'4.7.2' is not a reading (try 452, 0.452 V, 4k7, or OL).", ()),
    ("", "mV", "drop", "not_a_reading", "'' is not a reading (try 452, 0.452 V, 4k7, or OL).", ()),
    ("4k7", "mV", "drop", "not_a_reading", "'4k7' is not a reading (try 452, 0.452 V, 4k7, or OL).", ()),
    ("٤٥٢", "mV", "drop", "not_a_reading", "'٤٥٢' is not a reading (try 452, 0.452 V, 4k7, or OL).", ()),
    ("9999", "mV", "drop", "absurd", "'9999' mV is more than a diode test shows (4 V at most); type it again.", ()),
    ("-200", "mV", "drop", "negative_drop",
     "'-200' mV: a drop is not negative; voltage is left on the line, or the leads are swapped.", ()),
    ("-5", "ohm", "ohms", "negative_ohms", "'-5': a resistance is not negative; voltage is left on the line.", ()),
    ("452 ohm", "mV", "drop", "unit_does_not_fit", "'452 ohm' in ohm does not fit a reading in mV or V.",
     ("452 mV", "452 V")),
    ("452", "mV", "ohms", "unit_does_not_fit", "'452' in mV does not fit a reading in ohm or kohm or Mohm.",
     ("452 ohm", "452 kohm", "452 Mohm")),
]  # fmt: skip


@pytest.mark.parametrize(("text", "unit", "kind", "code", "sentence", "could_be"), ASKED, ids=lambda one: str(one))
def test_what_does_not_say_one_value_is_asked_about_in_these_words(
    text: str, unit: DisplayUnit, kind: ReadingKind, code: str, sentence: str, could_be: tuple[str, ...]
) -> None:
    told = read_text(text, unit, kind)
    assert told == Doubt(code, sentence, could_be)


@pytest.mark.parametrize("text", [one for row in ASKED for one in row[5]])
def test_every_answer_a_question_offers_is_a_text_that_reads(text: str) -> None:
    kind: ReadingKind = "ohms" if text.endswith("ohm") else "drop"
    told = read_text(text, "mV", kind)
    assert not isinstance(told, Doubt) or told.code == "absurd"


@pytest.mark.parametrize(("kind", "value"), [("drop", Drop(drop_mv=1)), ("ohms", Ohms(ohm=1))])
def test_a_value_is_not_written_in_a_unit_of_another_kind(kind: ReadingKind, value: Value) -> None:
    for unit in ALL_UNITS:
        if unit not in UNITS[kind]:
            with pytest.raises(ValueError, match="is not written in"):
                write_text(value, unit)
