"""The engine's closed forms against the real circuit simulator, started here on seeded circuits.

What is compared: a reading carried to another current and temperature, a leak across a contact, and two
contacts bridged. The simulator solves the whole circuit. A carried reading keeps the +1 of the diode equation; the
closed forms of leak and bridge leave it out, so each comparison there says what that costs: at most
n Vt exp(-Vj / n Vt) for a junction at Vj.

Proves the arithmetic and what the approximations cost. Does not prove that a chip's clamp is such a diode.
"""

import math
import random
import re
from typing import NamedTuple

import pytest

from server.engine.circuit.junction import carried
from server.engine.constants.readings import BRIDGE_N_SD_MV, LEAK_HIGH_OHM, LEAK_LOW_OHM
from server.engine.constants.sessions import BANDGAP_MV, BULK_OHM, IDEALITY, KELVIN, VT_MV_PER_K, XTI
from server.engine.faulted import View, joined_mv, leak_ohm
from server.engine.meters import carry
from server.engine.roles import Path
from tests.support.ngspice import node_millivolts, run

SOLVER_MV = 0.01
CARRIED_MV = 0.1
CIRCUITS = 60
SERIES_OHM = (5.0, 27.0, 38.0, 105.0, 1005.0)


class Junction(NamedTuple):
    """A junction with a resistor in series: ideality, saturation current at 27 °C, series resistance."""

    ideality: float
    saturation_a: float
    series_ohm: float

    def lines(self, node: str, *, celsius: float = 27.0, tag: str = "") -> str:
        """Its netlist lines, from `node` to ground."""
        return (
            f"R{tag}{{i}} {node}{{i}} k{tag}{{i}} {self.series_ohm}\n"
            f"D{tag}{{i}} k{tag}{{i}} 0 M{tag}{{i}} temp={celsius}\n"
            f".model M{tag}{{i}} D(IS={self.saturation_a} N={self.ideality})"
        )

    def plus_one_mv(self, junction_mv: float, celsius: float) -> float:
        """What leaving out the +1 costs at this junction voltage."""
        n_vt = self.ideality * VT_MV_PER_K * (KELVIN + celsius)
        return n_vt * math.exp(-junction_mv / n_vt)


def fed(current_ma: float) -> str:
    return f"I{{i}} 0 a{{i}} DC {current_ma}m\n"


def view(loc_mv: float, part: Junction, current_ma: float) -> View:
    """A contact's view as the engine makes it, at 27 °C."""
    n_vt = part.ideality * VT_MV_PER_K * (KELVIN + 27.0)
    return View(loc_mv, 4.0, 5.0, 0.0, 0.0, n_vt, part.series_ohm, current_ma, 3000.0, (), ())


def reading_with_leak(ohm: float, seen: View) -> float:
    """The reading for which `leak_ohm` says `ohm`, by halving."""
    low, high = 0.0, seen.loc
    for _ in range(80):
        middle = (low + high) / 2
        told = leak_ohm(middle, seen)
        if told is None or told < ohm:
            low = middle
        else:
            high = middle
    return low


def test_the_simulators_defaults_are_the_constants_of_the_law(ngspice_path: str) -> None:
    circuit = "defaults\nI1 0 a DC 1m\nD1 a 0 DM\n.model DM D(IS=1e-14)"
    netlist = circuit + "\n.control\nop\nshowmod d1 : eg xti\nquit 0\n.endc\n.end"
    told = dict(re.findall(r"^\s*(eg|xti)\s+(\S+)$", run(ngspice_path, netlist), re.MULTILINE))
    assert float(told["eg"]) * 1000 == BANDGAP_MV
    assert float(told["xti"]) == XTI


def test_carried_readings_are_the_simulators_with_the_plus_one(ngspice_path: str) -> None:
    """Down to junctions that drop less than n Vt, where the +1 of the diode law is worth tens of millivolts."""
    rng = random.Random(20)
    circuits, asked = [], []
    for _ in range(CIRCUITS):
        part = Junction(
            rng.uniform(1.0, 1.75), 10 ** rng.uniform(-9, -3), rng.choice((5.0, 27.0, 38.0, 105.0, 1005.0))
        )
        at = [(rng.uniform(0.2, 2.0), rng.uniform(-10, 50)) for _ in range(2)]
        circuits += [fed(current_ma) + part.lines("a", celsius=celsius) for current_ma, celsius in at]
        asked.append((part, at))
    volts = node_millivolts(ngspice_path, circuits)
    costs = []
    for (part, at), read_mv, there_mv in zip(asked, volts[::2], volts[1::2], strict=True):
        (from_ma, from_c), (to_ma, to_c) = at
        by_path = carry(read_mv, Path(part.ideality, part.series_ohm, 0.0, True), from_ma, from_c, to_ma, to_c)
        assert by_path == pytest.approx(there_mv, abs=CARRIED_MV), (part, at)
        assert carried(read_mv, part.ideality, part.series_ohm, from_ma, from_c, to_ma, to_c) == pytest.approx(
            there_mv, abs=CARRIED_MV
        ), (part, at)
        costs.append(part.plus_one_mv(read_mv - part.series_ohm * from_ma, from_c))
    assert sum(cost > 1 for cost in costs) > CIRCUITS // 8, "too few feel the +1"
    assert sum(cost < 0.5 for cost in costs) > CIRCUITS // 3, "too few read like a clamp"


def test_a_leak_reads_what_the_simulator_reads_and_is_found_again(ngspice_path: str) -> None:
    rng = random.Random(21)
    circuits, asked = [], []
    for _ in range(CIRCUITS):
        part = Junction(rng.uniform(1.0, 1.75), 10 ** rng.uniform(-9, -7), rng.choice(SERIES_OHM))
        current_ma = rng.choice((0.3, 0.5, 1.0, 1.9))
        ohm = math.exp(rng.uniform(math.log(LEAK_LOW_OHM), math.log(LEAK_HIGH_OHM)))
        alone = fed(current_ma) + part.lines("a")
        circuits += [alone, f"{alone}\nRp{{i}} a{{i}} 0 {ohm}"]
        asked.append((part, current_ma, ohm))
    volts = node_millivolts(ngspice_path, circuits)
    deep = 0
    for (part, current_ma, ohm), loc_mv, leaky_mv in zip(asked, volts[::2], volts[1::2], strict=True):
        seen = view(loc_mv, part, current_ma)
        # leaving out the +1 changes the junction's current by IS at most, which the leak turns into ohm * IS
        n_vt = part.ideality * VT_MV_PER_K * (KELVIN + 27.0)
        cost = min(ohm * part.saturation_a * 1000, n_vt) + part.plus_one_mv(loc_mv - part.series_ohm * current_ma, 27.0)
        assert reading_with_leak(ohm, seen) == pytest.approx(leaky_mv, abs=0.1 + cost), (part, ohm)
        if loc_mv - leaky_mv > 20:
            deep += 1
            assert leak_ohm(leaky_mv, seen) == pytest.approx(ohm, rel=0.02), (part, current_ma, ohm)
    assert deep > CIRCUITS // 3


LEAKS_ACROSS_450_MV: list[tuple[float, float]] = [
    # trade table, computed for n = 1.25 and 5 ohm at 1 mA: leak in ohm, reading in mV
    (100, 100), (330, 323), (470, 390), (680, 417), (1000, 430), (1500, 438), (2200, 442), (5000, 447),
]  # fmt: skip


@pytest.mark.parametrize(("ohm", "reads_mv"), LEAKS_ACROSS_450_MV)
def test_the_computed_table_of_leaks_is_met(ohm: float, reads_mv: float) -> None:
    n_vt = IDEALITY * VT_MV_PER_K * (KELVIN + 23.0)
    seen = View(450.0, 4.0, 5.0, 0.0, 0.0, n_vt, BULK_OHM, 1.0, 2000.0, (), ())
    assert reading_with_leak(ohm, seen) == pytest.approx(reads_mv, abs=1.5)


PARALLEL: list[tuple[str, Junction, float, dict[float, float]]] = [
    # typed from ngspice 39 on public diode cards at 27 °C and 1 mA, to 0.1 mV: without leak, then leak -> reading
    ("A", Junction(1.752, 2.52e-9, 0.568), 584.739,
     {10: 10.0, 33: 33.0, 100: 100.0, 330: 328.8, 1e3: 548.4, 3.3e3: 575.9, 10e3: 582.0, 100e3: 584.5, 1e6: 584.7}),
    ("C", Junction(1.0, 1e-14, 0.0), 655.118, {100: 100.0, 330: 330.0, 1e3: 629.4, 10e3: 653.4, 100e3: 654.9}),
    ("A behind 33 ohm", Junction(1.752, 2.52e-9, 33.568), 617.739,
     {100: 100.0, 1e3: 561.5, 10e3: 612.8, 100e3: 617.3}),
]  # fmt: skip


@pytest.mark.parametrize(("card", "part", "loc_mv", "leaks"), PARALLEL)
def test_published_cards_with_a_resistor_across_read_as_simulated(
    card: str, part: Junction, loc_mv: float, leaks: dict[float, float]
) -> None:
    for ohm, reads_mv in leaks.items():
        assert reading_with_leak(ohm, view(loc_mv, part, 1.0)) == pytest.approx(reads_mv, abs=0.15), (card, ohm)


def test_two_bridged_contacts_read_what_the_simulator_reads(ngspice_path: str) -> None:
    rng = random.Random(22)
    parts = [
        tuple(
            Junction(IDEALITY, 10 ** rng.uniform(-8.5, -6.5), BULK_OHM + rng.choice((0, 0, 22, 33))) for _ in range(2)
        )
        for _ in range(CIRCUITS)
    ]
    alone = [fed(1.0) + one.lines("a", celsius=23.0) for pair in parts for one in pair]
    joined = [fed(1.0) + a.lines("a", celsius=23.0) + "\n" + b.lines("a", celsius=23.0, tag="b") for a, b in parts]
    volts = node_millivolts(ngspice_path, alone + joined)
    a_mv, b_mv, both_mv = volts[: 2 * CIRCUITS : 2], volts[1 : 2 * CIRCUITS : 2], volts[2 * CIRCUITS :]
    for (a, b), a_loc, b_loc, simulated in zip(parts, a_mv, b_mv, both_mv, strict=True):
        n_vt = IDEALITY * VT_MV_PER_K * (KELVIN + 23.0)
        told = joined_mv(a_loc, b_loc, a.series_ohm, b.series_ohm, n_vt)  # ohms are millivolts at 1 mA
        cost = a.plus_one_mv(a_loc - a.series_ohm, 23.0) + b.plus_one_mv(b_loc - b.series_ohm, 23.0)
        assert told == pytest.approx(simulated, abs=2 * SOLVER_MV + 2 * cost), (a, b)
        assert told < min(a_loc, b_loc)
        # what the bridge allows itself for another n is more than everything that is left out here
        assert abs(told - simulated) < BRIDGE_N_SD_MV / 4


@pytest.mark.parametrize(("ideality", "lower_by_mv"), [(1.0, 20), (1.25, 25), (1.75, 33)])
def test_two_equal_junctions_joined_read_lower_by_n_vt_ln_2_and_half_the_bulk(
    ngspice_path: str, ideality: float, lower_by_mv: float
) -> None:
    one = Junction(ideality, 1e-8, BULK_OHM)
    alone, joined = node_millivolts(
        ngspice_path, [fed(1.0) + one.lines("a"), fed(1.0) + one.lines("a") + "\n" + one.lines("a", tag="b")]
    )
    # [P] of the trade table, at 23 °C and rounded; the law: n Vt ln 2 + R I / 2
    assert alone - joined == pytest.approx(lower_by_mv, abs=1.0)
    assert alone - joined == pytest.approx(ideality * VT_MV_PER_K * 300.15 * math.log(2) + 0.5 * BULK_OHM, abs=0.1)
