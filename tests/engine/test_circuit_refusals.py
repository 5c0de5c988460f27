"""What no circuit can be is refused by name, or has a fallback that says so; never a wrong number in silence."""

import math
from collections.abc import Callable

import pytest

from server.engine.circuit.behind import test_of as diode_test_of
from server.engine.circuit.clamp_fit import HealthyReading, fit_clamp
from server.engine.circuit.junction import carried
from server.engine.circuit.meaning import largest_visible_leak, what_it_means
from server.engine.circuit.parts import GROUND, Circuit, Junction, Part, PartState, behind_resistance, forced_current
from server.engine.circuit.readings import floating, prepared, read
from server.engine.errors import SheetError
from shared_models.reading import Meter

CLAMP = Junction(3e-5, 1.5, 6.0)
SERIES = Part("R1", "resistor", "c", "pin", 33.0)
LOWER = Part("lower", "diode", GROUND, "pin", None, CLAMP)
LINE = Circuit("c", (SERIES, LOWER))
METER = forced_current(1.0)


def circuit(*parts: Part) -> Circuit:
    return Circuit("c", parts)


def clamp(junction: Junction) -> Circuit:
    return circuit(Part("lower", "diode", GROUND, "c", None, junction))


REFUSED: list[tuple[str, Callable[[], object], str]] = [
    ("300 degrees", lambda: prepared(LINE, 300), "no_such_temperature"),
    ("no number of degrees", lambda: prepared(LINE, math.nan), "no_such_temperature"),
    ("carried to 300 degrees", lambda: carried(450, 1.5, 5, 1, 23, 1, 300), "no_such_temperature"),
    ("no current", lambda: forced_current(None), "meter_without_current"),
    ("no current at all", lambda: forced_current(0.0), "meter_without_current"),
    ("a current that is none", lambda: forced_current(math.nan), "meter_without_current"),
    ("no limit", lambda: forced_current(1.0, 0.0), "meter_without_limit"),
    ("no resistance", lambda: behind_resistance(3000, 0), "meter_without_resistance"),
    ("IS below zero", lambda: prepared(clamp(Junction(-1e-9, 1.5, 0)), 23), "no_such_diode"),
    ("IS of zero", lambda: prepared(clamp(Junction(0.0, 1.5, 0)), 23), "no_such_diode"),
    ("n of zero", lambda: prepared(clamp(Junction(1e-6, 0.0, 0)), 23), "no_such_diode"),
    ("n of 40", lambda: prepared(clamp(Junction(1e-6, 40.0, 0)), 23), "no_such_diode"),
    ("RS below zero", lambda: prepared(clamp(Junction(1e-6, 1.5, -1)), 23), "no_such_diode"),
    ("IS no number", lambda: prepared(clamp(Junction(math.nan, 1.5, 0)), 23), "no_such_diode"),
    ("carried with n of zero", lambda: carried(450, 0.0, 5, 1, 23, 2, 23), "no_such_diode"),
    ("carried from no current", lambda: carried(450, 1.5, 5, 0, 23, 2, 23), "meter_without_current"),
    ("a diode without numbers", lambda: prepared(circuit(Part("d", "diode", "c", GROUND)), 23), "diode_without_law"),
    ("a resistor without ohms", lambda: prepared(circuit(SERIES._replace(ohm=None), LOWER), 23), "no_such_resistance"),
    ("minus 33 ohm", lambda: prepared(circuit(SERIES._replace(ohm=-33.0), LOWER), 23), "no_such_resistance"),
    ("a name twice", lambda: prepared(circuit(SERIES, SERIES), 23), "part_twice"),
    ("both ends at one node", lambda: prepared(circuit(SERIES._replace(far="c"), LOWER), 23), "part_joins_nothing"),
    ("a contact that floats", lambda: prepared(Circuit("d", (SERIES, LOWER)), 23), "contact_leads_nowhere"),
    ("no parts", lambda: prepared(Circuit("c", ()), 23), "contact_leads_nowhere"),
    (
        "open and short at once",
        lambda: read(prepared(LINE, 23), METER, "red", (PartState("R1", "open"), PartState("R1", "short"))),
        "part_in_two_states",
    ),
    ("no such part", lambda: read(prepared(LINE, 23), METER, "red", (PartState("R9", "open"),)), "state_of_no_part"),
    ("no value", lambda: read(prepared(LINE, 23), METER, "red", (PartState("R1", "value"),)), "no_such_resistance"),
    ("OL into ohms", lambda: what_it_means(prepared(LINE, 23), METER, "red", math.inf), "no_such_reading"),
    (
        "more than the meter has",
        lambda: what_it_means(prepared(LINE, 23), behind_resistance(1000, 1000), "red", 1200.0),
        "above_the_meter",
    ),
    ("no deviation", lambda: largest_visible_leak(prepared(LINE, 23), METER, "red", 0.0), "no_such_deviation"),
    ("a healthy reading of OL", lambda: fit_clamp([HealthyReading(math.inf, 1.0, 23, 1)]), "no_such_reading"),
    ("a reading known exactly", lambda: fit_clamp([HealthyReading(450, 1.0, 23, 0)]), "no_such_reading"),
    ("a reading at no current", lambda: fit_clamp([HealthyReading(450, 0.0, 23, 1)]), "no_such_current"),
    ("a reading at 300 degrees", lambda: fit_clamp([HealthyReading(450, 1.0, 300, 1)]), "no_such_temperature"),
]  # fmt: skip


@pytest.mark.parametrize(("ask", "code"), [(ask, code) for _, ask, code in REFUSED], ids=[name for name, *_ in REFUSED])
def test_it_is_refused_with_all_five_words(ask: Callable[[], object], code: str) -> None:
    with pytest.raises(SheetError) as refused:
        ask()
    problem = refused.value.problem
    assert problem.code == code
    for text in (problem.message, problem.where, problem.given, problem.expected, problem.example):
        assert text


def test_a_loop_is_solved_and_not_refused() -> None:
    """Two resistors side by side and a bridge: 33 beside 66 is 22."""
    loop = circuit(SERIES, Part("R2", "resistor", "c", "x", 33.0), Part("R3", "resistor", "x", "pin", 33.0), LOWER)
    alone = circuit(SERIES._replace(ohm=22.0), LOWER)
    shown = read(prepared(loop, 23), METER, "red")
    assert shown.steps > 0, "a loop is no ladder"
    assert shown.drop_mv == pytest.approx(read(prepared(alone, 23), METER, "red").drop_mv, abs=1e-3)


def test_a_line_that_reaches_no_ground_shows_ol() -> None:
    parts = (SERIES, Part("C1", "capacitor", "pin", "far"), Part("R2", "resistor", "far", GROUND, 50.0))
    ready = prepared(Circuit("c", parts), 23)
    assert floating(ready.circuit) == ("R2",)
    for lead in ("red", "black"):
        for short_way in (True, False):
            assert read(ready, METER, lead, short_way=short_way).drop_mv is None
            assert read(ready, behind_resistance(3000, 2000), lead, short_way=short_way).drop_mv is None


def test_references_at_unknown_currents_are_named_and_left_out() -> None:
    known = HealthyReading(450.0, 1.0, 23.0, 1.0)
    fit = fit_clamp([HealthyReading(300.0, None, 23.0, 1.0), known, HealthyReading(700.0, None, 23.0, 1.0)])
    assert fit.not_used == (0, 2)
    assert fit.used == 1
    assert fit.mean == fit_clamp([known]).mean
    none = fit_clamp([HealthyReading(300.0, None, 23.0, 1.0)])
    assert (none.used, none.mean) == (0, fit_clamp([]).mean), "nothing known: the prior, and it says so"


def test_a_meter_without_a_current_is_the_usual_one_and_marked() -> None:
    told = diode_test_of(Meter(id="m1", name="bench", test_current_ma=0.4, open_circuit_mv=1500.0))
    assert told.told
    assert (told.test.current_ma, told.test.over_mv) == (0.4, 1500.0)
    for meter in (None, Meter(id="m2", name="bench")):
        untold = diode_test_of(meter)
        assert not untold.told
        assert (untold.test.current_ma, untold.test.over_mv) == (1.0, 2000.0)


def test_dead_shorts_that_end_nowhere_show_ol() -> None:
    """No ohm at all, twice, to a node that floats: the last digit of a dead short must not hide that it is open."""
    for extra in ((), (Part("upper", "diode", "n3", "vdd", None, CLAMP),)):
        chain = [Part(f"R{n}", "resistor", f"n{n}" if n else "c", f"n{n + 1}", 0.0) for n in range(6)]
        chain += [Part(f"W{n}", "resistor", part.near, part.far, 0.0) for n, part in enumerate(chain)]
        ready = prepared(Circuit("c", (*chain, Part("C1", "capacitor", "n6", GROUND), *extra)), 23)
        for lead in ("red", "black"):
            for short_way in (True, False):
                assert read(ready, METER, lead, short_way=short_way).drop_mv is None
                assert read(ready, behind_resistance(3000, 2000), lead, short_way=short_way).drop_mv is None
                shorted = read(ready, METER, lead, (PartState("C1", "short"),), short_way=short_way)
                assert shorted.drop_mv == pytest.approx(0.0, abs=0.001)
