"""The circuit's answers as sentences: only what the path supports, with the numbers beside."""

import math

import pytest

from server.engine.circuit.behind import circuit_behind
from server.engine.circuit.meaning import Doubts, what_it_means
from server.engine.circuit.parts import Circuit, forced_current
from server.engine.circuit.readings import prepared, read
from server.engine.faulted import View
from server.engine.in_ohms import plainly_in_ohms, spread_of
from server.engine.wording_ohms import interval, means, would_not_show
from shared_models.board import BoardVersion, ChipPin, Contact, Part, SeriesPart, ShuntPart
from shared_models.opinion import Reason
from tests.support.benches import line as connector_line

METER = forced_current(1.02)


def line(*shunts: str) -> Circuit:
    """33 ohm between the socket and a chip; D5, an ESD array, behind it; further shunts at the socket."""
    path = (
        *(ShuntPart(part=name) for name in shunts),
        SeriesPart(part="R214", ohm=33.0),
        ShuntPart(part="D5"),
        ChipPin(part="U1", pin="A4"),
    )
    board = BoardVersion(id="b", device="d", board="b", sockets=(), parts=(Part(ref="D5", kind="esd_array"),))
    circuit = circuit_behind(Contact(number="7", role="bus", path=path), board)
    assert circuit is not None
    return circuit


def said(drop_mv: float, circuit: Circuit, doubts: Doubts | None = None) -> Reason | None:
    return means("7", what_it_means(prepared(circuit, 23), METER, "red", drop_mv, doubts), circuit)


def test_a_short_behind_the_series_part_names_what_it_may_be_and_not_the_socket() -> None:
    told = said(45.0, line(), Doubts(parts=(("R214", 0.03),)))
    assert told is not None
    assert told.code == "short_behind"
    assert told.sentence == (
        "45 mV at 1.02 mA is 44 ohm. R214 (33 ohm) lies between: 11 ± 4 ohm are left, so D5 or U1.A4's clamp, "
        "not the socket."
    )
    assert told.parts == ("D5", "U1.A4.lower", "U1.A4.upper")
    numbers = {number.name: number.value for number in told.numbers}
    assert numbers["left_low_ohm"] < numbers["left_ohm"] < numbers["left_high_ohm"]


def test_a_short_before_the_series_part_is_one_at_the_socket() -> None:
    told = said(5.0, line("C3"))
    assert told is not None
    assert told.sentence == "5 mV at 1.02 mA is 5 ohm. That is a short before R214: the socket, C3."
    assert told.parts == ("C3",)
    bare = said(5.0, line())
    assert bare is not None
    assert bare.sentence.endswith("the socket or what is soldered to it.")


def test_a_leak_that_two_places_explain_is_said_of_both() -> None:
    told = said(420.0, line(), Doubts(healthy_mv=4))
    assert told is not None
    assert told.code == "leak_at_places"
    assert "at the socket, or" in told.sentence
    assert "behind R214" in told.sentence
    assert told.sentence.endswith("would read this. The number alone does not say which.")


def test_a_healthy_reading_says_nothing() -> None:
    circuit = line()
    healthy = read(prepared(circuit, 23), METER, "red").drop_mv or 0.0
    assert said(healthy + 3, circuit, Doubts(healthy_mv=4)) is None


def test_what_would_not_show() -> None:
    told = would_not_show("7", 2943.0)
    assert told.sentence == "A leak above 2.9 kohm would not show on this meter."
    assert would_not_show("7", None).sentence == "No leak would show here on this meter."


def test_without_the_circuit_what_is_left_behind_the_part_is_a_leak_beside_the_junction() -> None:
    """R214, 33 ohm, before a junction that reads 452 mV with it at 1 mA, 419 behind it; a leak to ground there.

    By Kirchhoff, V / R + s = 1 mA with V = 419 + n Vt ln s + 5 ohm (s - 1 mA), by bisection. With 700 ohm the junction
    takes so much that Ohm's law alone would say a hundred less.
    """
    one = connector_line("7", "control", path=(SeriesPart(part="R214", ohm=33),), leads_to="U1")
    view = View(452.0, 3.0, 12.0, 0.0, 0.0, 38.0, 38.0, 1.0, 2000.0, (), (), before_ohm=33.0)
    for leak_ohm in (200.0, 700.0):
        low, high = 1e-9, 1.0
        while high - low > 1e-12:
            share = 0.5 * (low + high)
            there_mv = 419 + 38 * math.log(share) + 5 * (share - 1)
            low, high = (share, high) if there_mv / leak_ohm + share < 1 else (low, share)
        there_mv = leak_ohm * (1 - low)
        told = plainly_in_ohms(one, there_mv + 33, view)
        numbers = {number.name: number.value for number in told.numbers}
        assert told.code == "ohms_left"
        assert numbers["left_ohm"] == pytest.approx(leak_ohm, rel=0.01)
        assert numbers["left_low_ohm"] < leak_ohm < numbers["left_high_ohm"]
        assert "R214 (33 ohm) in line" in told.sentence


def test_an_interval_with_unequal_sides_is_told_from_and_to() -> None:
    assert interval(11, 7, 15) == "11 ± 4 ohm"
    assert interval(500, 420, 640) == "500 ohm (420 ohm to 640 ohm)"
    assert interval(500, 420, None) == "more than 420 ohm"
    assert interval(3, 0, 8) == "at most 8 ohm"


def test_the_spread_of_a_healthy_reading_is_that_of_students_t() -> None:
    """Variance df / (df - 2) of its scale's square: 4 mV of scale and four degrees of freedom are 5.66 mV."""
    view = View(452.0, 4.0, 4.0, 0.0, 0.0, 38.0, 38.0, 1.0, 2000.0, (), ())
    assert spread_of(view) == pytest.approx(4 * math.sqrt(2))
    assert spread_of(view._replace(df=2.0)) == 4.0  # it has none; the scale stands in for it
