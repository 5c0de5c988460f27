"""The circuit solve against the real circuit simulator: 600 seeded circuits with faults, one start of it.

Source: ngspice 39 itself. Both leads, both kinds of meter, -10 to 60 °C, up to two parts that are not healthy.
For a junction below -3 n Vt the simulator takes -IS (1 + (3 n Vt / (e V))^3) for Shockley's law, half a per cent
more of IS at -300 mV; with the largest leakages drawn here and a large resistance that is some hundredths of a
millivolt. Elsewhere the two differ by less than a hundredth.

Proves the arithmetic. Does not prove that a chip's clamp is such a diode.
"""

import random

import pytest

from server.engine.circuit.readings import prepared, read
from tests.support.circuits import Asked, netlist, random_asked
from tests.support.ngspice import BATCH_OPTIONS, node_millivolts

CIRCUITS = 600
WITHIN_MV = 0.1
USUALLY_MV = 0.01


@pytest.fixture(scope="module")
def asked() -> list[Asked]:
    rng = random.Random(1971)
    return [random_asked(rng) for _ in range(CIRCUITS)]


@pytest.fixture(scope="module")
def simulated(ngspice_path: str, asked: list[Asked]) -> list[float]:
    return [abs(mv) for mv in node_millivolts(ngspice_path, [netlist(one) for one in asked], options=BATCH_OPTIONS)]


@pytest.mark.parametrize("short_way", [True, False], ids=["as asked", "nodal"])
def test_readings_are_the_simulators(asked: list[Asked], simulated: list[float], short_way: bool) -> None:
    strays, over = [], 0
    for one, mv in zip(asked, simulated, strict=True):
        shown = read(prepared(one.circuit, one.celsius), one.meter, one.lead, one.states, short_way=short_way)
        if shown.drop_mv is None:
            over += 1
            assert mv > one.meter.over_mv - WITHIN_MV, one
        else:
            strays.append(abs(shown.drop_mv - mv))
            assert strays[-1] < WITHIN_MV, one
    assert 50 < over < 200
    strays.sort()
    assert strays[len(strays) * 95 // 100] < USUALLY_MV


def test_the_circuits_are_not_all_of_one_kind(asked: list[Asked]) -> None:
    shown = [read(prepared(one.circuit, one.celsius), one.meter, one.lead, one.states) for one in asked]
    assert sum(one.steps == 0 for one in shown) > 100, "too few take the short way"
    assert sum(one.steps > 3 for one in shown) > 200, "too few need the nodal solve"
    states = [state.state for one in asked for state in one.states]
    assert min(states.count(word) for word in ("short", "open", "value")) > 80
    assert min(sum(one.lead == lead for one in asked) for lead in ("red", "black")) > 150
