"""A contact read with either lead: one fault of one size, held against a plain sum over many sizes."""

import math

import pytest

from server.engine.both_leads import added_factor, leak_behind_factor, leak_factor
from server.engine.circuit.junction import Law, nominal, saturation_for
from server.engine.circuit.parts import GROUND, Circuit, Part, PartState, forced_current
from server.engine.circuit.readings import prepared, read
from server.engine.constants.readings import ADDED_HIGH_OHM, ADDED_LOW_OHM, LEAK_HIGH_OHM, LEAK_LOW_OHM
from server.engine.faulted import View, added_density, behind, leak_density, normal

RED = View(470.0, 5.0, 12.0, 0.001, 0.0, 33.0, 38.0, 1.0, 2000.0, (), (), before_ohm=33.0)
BLACK = RED._replace(loc=760.0, scale=12.0, series_ohm=330.0)
SIZES = 600


def sizes(low: float, high: float) -> list[float]:
    return [math.exp(math.log(low) + (n + 0.5) / SIZES * math.log(high / low)) for n in range(SIZES)]


def reads(view: View, ohm: float) -> float:
    """What the line reads across a leak, by the nodal solve."""
    law = Law(
        saturation_for(view.loc - view.series_ohm * view.current_ma, view.junction_mv, view.current_ma),
        view.junction_mv, view.series_ohm,
    )  # fmt: skip
    line = (Part("leak", "capacitor", "c", GROUND), Part("d", "diode", GROUND, "c", None, nominal(law, 23.0)))
    ready = prepared(Circuit("c", line), 23.0)
    shown = read(ready, forced_current(1.0, 3000), "red", (PartState("leak", "value", ohm),), short_way=False)
    assert shown.drop_mv is not None
    return shown.drop_mv


def summed(x: float, y: float, red: View, black: View) -> float:
    """p(red, black | one leak) by many leaks, one by one."""
    total = 0.0
    for ohm in sizes(LEAK_LOW_OHM, LEAK_HIGH_OHM):
        total += normal(x, reads(red, ohm), red.scale) * normal(y, reads(black, ohm), black.scale)
    return total / SIZES


@pytest.mark.parametrize("ohm", [80.0, 600.0, 2000.0, 8000.0])
def test_one_leak_for_both_leads(ohm: float) -> None:
    x, y = reads(RED, ohm) + 2, reads(BLACK, ohm) - 5
    got = leak_factor((x, RED), (y, BLACK)) * leak_density(x, RED) * leak_density(y, BLACK)
    assert got == pytest.approx(summed(x, y, RED, BLACK), rel=0.1)


def test_the_same_behind_what_lies_in_line() -> None:
    inner, outer = behind(RED), behind(BLACK)
    x, y = reads(inner, 1500.0), reads(outer, 1500.0)
    got = leak_behind_factor((x + 33, RED), (y + 33, BLACK)) * leak_density(x, inner) * leak_density(y, outer)
    assert got == pytest.approx(summed(x, y, inner, outer), rel=0.1)


def test_a_pair_that_no_one_leak_explains_speaks_against_a_leak() -> None:
    """1 kohm by the one lead, 8 kohm by the other."""
    one, other = (reads(RED, 1000.0), RED), (reads(BLACK, 8000.0), BLACK)
    assert leak_factor(one, other) < 0.2
    assert leak_factor(one, (reads(BLACK, 1000.0), BLACK)) > 2


def test_one_added_resistance_for_both_leads() -> None:
    x, y = RED.loc + 62, BLACK.loc + 55
    total = 0.0
    for ohm in sizes(ADDED_LOW_OHM, ADDED_HIGH_OHM):
        total += normal(x, RED.loc + ohm, RED.scale) * normal(y, BLACK.loc + ohm, BLACK.scale)
    got = added_factor((x, RED), (y, BLACK)) * added_density(x, RED) * added_density(y, BLACK)
    assert got == pytest.approx(total / SIZES, rel=0.1)
    assert added_factor((x, RED), (BLACK.loc + 300, BLACK)) < 0.2


def test_a_line_that_branches_is_asked_by_its_table() -> None:
    """With a table of the same junction the factor is the closed form's."""
    offs = [-view_off for view_off in (0.0, 2.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0, 240.0, 330.0, 400.0, 450.0)]

    def share(off: float) -> float:
        low, high = 0.0, 1.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if 33.0 * math.log(middle) + 38.0 * (middle - 1) < off else (low, middle)
        return low

    table = RED._replace(shares=tuple((off, math.log(share(off)) if off else 0.0) for off in offs))
    for ohm in (300.0, 3000.0):
        y = reads(BLACK, ohm)
        plain = leak_factor((y, BLACK), (reads(RED, ohm), RED))
        by_table = leak_factor((y, BLACK), (reads(RED, ohm), table))
        assert by_table == pytest.approx(plain, rel=0.1)
