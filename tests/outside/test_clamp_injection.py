"""What flows into a pin's clamp from a voltage too high for it: a maker's rule, and a circuit simulator.

Sources: injection limits and the rule R = (Vpin - (VDD + 0.6)) / I, Microchip data sheet, section 32.2 (public
online documents; confirmed there). 20 V onto a 3.3 V part: 20 mA, 15 mA and 1 mA need 805, 1073.3 and 16100
ohm, by that rule. The circuit: 20 V through R into a pin whose clamp (IS = 1e-14, N = 1, RS = 1) goes to a
stiff 3.3 V rail; currents of ngspice 39 kept beside the run of the one installed here.

Does not prove: what a given part stands. Clamp ratings of real parts run from 5 to 50 mA (ST, Microchip, TI
data sheets), and an unpowered rail is lifted instead of holding.
"""

import pytest
from pytest import approx

from server.engine.overstress_picture import clamp_ma
from tests.support.ngspice import node_millivolts

SIMULATED_MA = {
    100: 157.564,
    470: 33.8721,
    805: 19.8110,
    1000: 15.9573,
    1073.33: 14.8698,
    10_000: 1.60311,
    16_100: 0.99652,
}


@pytest.mark.parametrize(("ohm", "ma"), [(805, 20), (1073.3333, 15), (16_100, 1)])
def test_the_makers_rule(ohm: float, ma: float) -> None:
    assert clamp_ma(20_000, 3_300, ohm) == approx(ma, rel=1e-6)


@pytest.mark.parametrize(("ohm", "ma"), SIMULATED_MA.items())
def test_the_rule_is_an_upper_bound_within_three_per_cent(ohm: float, ma: float) -> None:
    assert ma <= clamp_ma(20_000, 3_300, ohm) <= 1.03 * ma


def test_the_simulator_here_says_the_same(ngspice_path: str) -> None:
    circuits = [
        f"V{{i}} s{{i}} 0 20\nR{{i}} s{{i}} a{{i}} {ohm}\nD{{i}} a{{i}} r{{i}} M{{i}}\nX{{i}} r{{i}} 0 3.3\n"
        f".model M{{i}} D(IS=1e-14 N=1 RS=1)"
        for ohm in SIMULATED_MA
    ]
    volts = node_millivolts(ngspice_path, [circuit.replace("X{i}", "VR{i}") for circuit in circuits])
    now = [(20_000 - millivolts) / ohm for millivolts, ohm in zip(volts, SIMULATED_MA, strict=True)]
    assert now == approx(list(SIMULATED_MA.values()), rel=1e-3)
