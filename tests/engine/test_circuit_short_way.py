"""The short way and the nodal solve are equal, and both obey what any circuit obeys, by hand and by halving."""

import math
import random

import pytest

from server.engine.circuit.junction import at, carried, drop_at, nominal
from server.engine.circuit.nodal import limited
from server.engine.circuit.parts import GROUND, Circuit, Junction, Part, PartState, behind_resistance, forced_current
from server.engine.circuit.readings import current_at, floating, leak_readings, prepared, read
from server.engine.meters import carry
from server.engine.roles import Path
from tests.support.circuits import random_asked

CLAMP = Junction(3e-5, 1.5, 6.0)
LINE = Circuit(
    "c",
    (
        Part("probe", "contact", "c", "socket", 0.6),
        Part("R214", "resistor", "socket", "pin", 33.0),
        Part("lower", "diode", GROUND, "pin", None, CLAMP),
        Part("upper", "diode", "pin", "vdd", None, CLAMP),
        Part("vdd.load", "load", "vdd", GROUND, 330.0),
        Part("coupling", "capacitor", "socket", "far"),
        Part("beyond", "resistor", "far", GROUND, 50.0),
    ),
)
METER = forced_current(1.02)


def test_the_short_way_is_the_nodal_solve() -> None:
    rng = random.Random(4)
    short_ways = 0
    for _ in range(1500):
        one = random_asked(rng)
        ready = prepared(one.circuit, one.celsius)
        short = read(ready, one.meter, one.lead, one.states)
        nodal = read(ready, one.meter, one.lead, one.states, short_way=False)
        if short.steps == 0:
            short_ways += 1
            assert (short.drop_mv is None) == (nodal.drop_mv is None), one
            if short.drop_mv is not None:
                assert short.drop_mv == pytest.approx(nodal.drop_mv, abs=0.003), one
    assert short_ways > 250


def halved(current_ma: float, celsius: float, leak_ohm: float, behind_ohm: float = 33.0) -> float:
    """The line's reading by halving the junction's current: no derivative, no logarithm of it.

    The upper clamp in reverse takes its IS at the pin.
    """
    law = at(CLAMP, celsius)

    def feeds(through: float) -> tuple[float, float]:
        pin = law.nvt_mv * math.log(1 + through / law.saturation_ma) + law.series_ohm * through
        socket = pin + behind_ohm * (through + law.saturation_ma)
        return through + law.saturation_ma + socket / leak_ohm, socket

    low, high = 0.0, current_ma
    for _ in range(200):
        middle = (low + high) / 2
        if feeds(middle)[0] < current_ma:
            low = middle
        else:
            high = middle
    return feeds(low)[1] + 0.6 * current_ma


@pytest.mark.parametrize("leak_ohm", [30.0, 300.0, 1e3, 5e3, 2e4])
@pytest.mark.parametrize(("current_ma", "celsius"), [(0.2, -5.0), (1.02, 23.0), (2.0, 45.0)])
def test_a_leak_by_halving(leak_ohm: float, current_ma: float, celsius: float) -> None:
    ready = prepared(LINE, celsius)
    (drop,) = leak_readings(ready, forced_current(current_ma), "red", [leak_ohm])
    socket_leak = Circuit("c", (*LINE.parts, Part("dirt", "capacitor", "socket", GROUND)))
    at_socket = read(
        prepared(socket_leak, celsius), forced_current(current_ma), "red", (PartState("dirt", "value", leak_ohm),)
    )
    assert at_socket.drop_mv == pytest.approx(halved(current_ma, celsius, leak_ohm), abs=0.003)
    assert drop == pytest.approx(at_socket.drop_mv, abs=0.7 * current_ma), "0.6 ohm further out"


def test_what_each_fault_of_the_line_reads_by_hand() -> None:
    ready = prepared(LINE, 23)
    healthy = read(ready, METER, "red").drop_mv
    law = at(CLAMP, 23)
    # the upper clamp in reverse hands on IS, 10 nA or so
    assert healthy == pytest.approx(33.6 * 1.02 + drop_at(law, 1.02), abs=0.01)
    assert read(ready, METER, "red", (PartState("lower", "short"),)).drop_mv == pytest.approx(33.6 * 1.02, abs=0.01)
    assert read(ready, METER, "red", (PartState("R214", "open"),)).drop_mv is None
    assert read(ready, METER, "black", (PartState("R214", "open"),)).drop_mv is None
    half = read(ready, METER, "red", (PartState("R214", "value", 100.0),)).drop_mv
    assert half == pytest.approx((healthy or 0) + 67 * 1.02, abs=0.001)
    # a short coupling capacitor puts 50 ohm beside everything behind the probe
    both = read(ready, METER, "red", (PartState("coupling", "short"),)).drop_mv
    assert both == pytest.approx(50.6 * 1.02, abs=0.05)
    black = read(ready, METER, "black").drop_mv
    assert black == pytest.approx((healthy or 0) + 330 * 1.02, abs=0.1)
    assert read(ready, METER, "black", (PartState("vdd.load", "open"),)).drop_mv is None


def test_a_rail_that_two_lines_share_is_one_net() -> None:
    """A shorted rail moves every line that leads to it, by the same part's state."""
    rail = (Part("vdd.load", "load", "vdd", GROUND, 330.0), Part("vdd.diode", "diode", GROUND, "vdd", None, CLAMP))
    shorted_rail = (PartState("vdd.load", "short"),)
    for ohm in (0.0, 33.0):
        own = (
            Part("series", "resistor", "c", "pin", ohm),
            Part("upper", "diode", "pin", "vdd", None, CLAMP),
            Part("lower", "diode", GROUND, "pin", None, CLAMP),
        )
        ready = prepared(Circuit("c", (*own, *rail)), 23)
        healthy, shorted = (read(ready, METER, "black", states).drop_mv for states in ((), shorted_rail))
        assert (healthy or 0) - (shorted or 0) == pytest.approx(330 * 1.02, abs=0.2)
        # with red on ground the clamp to the rail is in reverse, and the rail's state does not show
        assert read(ready, METER, "red", shorted_rail).drop_mv == pytest.approx(
            read(ready, METER, "red").drop_mv, abs=0.01
        )


def test_the_current_at_a_drop_is_the_current_that_made_it() -> None:
    rng = random.Random(5)
    for _ in range(300):
        one = random_asked(rng)
        ready = prepared(one.circuit, one.celsius)
        drop = read(ready, one.meter, one.lead, one.states).drop_mv
        if drop is None:
            continue
        source_ma = 0.0 if one.meter.source_ohm is None else drop / one.meter.source_ohm
        there = current_at(ready, one.lead, drop, one.states)
        # the short way counts reverse currents of up to 5e-5 of the meter's, also where nothing stands across them
        assert there == pytest.approx(one.meter.current_ma - source_ma, rel=3e-4, abs=1e-6), one


def test_a_leak_only_lowers_and_a_larger_leak_lowers_less() -> None:
    ready = prepared(LINE, 23)
    leaks = [10 * 1.5**k for k in range(25)]
    for lead in ("red", "black"):
        drops = leak_readings(ready, METER, lead, leaks)
        healthy = read(ready, METER, lead).drop_mv
        numbers = [drop for drop in drops if drop is not None]
        assert len(numbers) == len(leaks)
        assert all(a < b for a, b in zip([*numbers], [*numbers[1:], healthy or 0], strict=True))


def test_a_voltage_behind_a_large_resistance_is_a_current_source() -> None:
    ready = prepared(LINE, 23)
    stiff = read(ready, behind_resistance(1.02e9, 1e9, 2000), "red").drop_mv
    assert stiff == pytest.approx(read(ready, METER, "red").drop_mv, abs=1e-3)


def test_parts_behind_a_capacitor_are_named_as_unseen() -> None:
    assert floating(LINE) == ("beyond",)


@pytest.mark.parametrize("celsius", [-10.0, 0.0, 25.0, 45.0])
@pytest.mark.parametrize(("drop_mv", "series_ohm"), [(330.0, 5.0), (450.0, 38.0), (600.0, 5.0)])
def test_carrying_exactly_and_the_closed_form_differ_by_the_plus_one_alone(
    drop_mv: float, series_ohm: float, celsius: float
) -> None:
    """The closed form leaves out the +1: it may differ by n Vt exp(-V / n Vt) at either end, and by nothing else."""
    path = Path(1.5, series_ohm, 0.0, True)
    for to_ma, to_c in ((0.1, 50.0), (2.0, -5.0), (1.0, celsius)):
        exact = carried(drop_mv, 1.5, series_ohm, 1.0, celsius, to_ma, to_c)
        approximate = carry(drop_mv, path, 1.0, celsius, to_ma, to_c)
        cost = 0.0
        for mv, kelvin in ((drop_mv - series_ohm, 273.15 + celsius), (exact - series_ohm * to_ma, 273.15 + to_c)):
            nvt = 1.5 * 0.08617333 * kelvin
            cost += nvt * math.exp(-mv / nvt)
        assert exact == pytest.approx(approximate, abs=1e-9 + 1.5 * cost)
    far = prepared(LINE, celsius)
    assert carried(read(far, METER, "red").drop_mv or 0, 1.5, 39.6, 1.02, celsius, 0.3, 40.0) == pytest.approx(
        read(prepared(LINE, 40.0), forced_current(0.3), "red").drop_mv, abs=0.02
    ), "the whole line, carried and solved anew"


def test_low_drops_are_where_the_plus_one_counts() -> None:
    """A memory rail of 60 mV, to a tenth of the current: without the +1 it would come out below zero."""
    exact = carried(60.0, 1.25, 0.0, 1.0, 40.0, 0.1, 40.0)
    # IS = 1 / (exp(60 / 33.73) - 1) = 0.2031 mA; 33.73 ln(1 + 0.1 / 0.2031) = 13.50 mV
    assert exact == pytest.approx(13.50, abs=0.01)
    assert carry(60.0, Path(1.25, 0.0, 0.0, True), 1.0, 40.0, 0.1, 40.0) == pytest.approx(exact, abs=1e-6)


def test_a_junction_and_its_law_are_each_others_inverse() -> None:
    for celsius in (-40.0, 0.0, 27.0, 60.0):
        back = nominal(at(CLAMP, celsius), celsius)
        assert back == pytest.approx(CLAMP, rel=1e-12)


def test_a_step_up_the_exponential_is_taken_in_its_logarithm() -> None:
    nvt, critical = 25.0, 600.0
    assert limited(700.0, 690.0, nvt, critical) == 700.0, "a small step is left alone"
    assert limited(500.0, 0.0, nvt, critical) == 500.0, "below the critical voltage too"
    assert limited(1700.0, 700.0, nvt, critical) == pytest.approx(700 + 25 * math.log(41))
    assert limited(1e6, -3.0, nvt, critical) == pytest.approx(25 * math.log(4e4))
