"""Copper, squares, and a rail as a ladder: published arithmetic and a circuit simulator.

Sources and how far they are confirmed:
- Annealed copper at 20 C: 0.017241 ohm mm2/m = 1/58, temperature coefficient 0.00393 /K: IEC 60028 (International
  Annealed Copper Standard), as public articles on it state (second-hand; the standard itself was not read).
- A trace of 100 mm x 0.5 mm x 35 um, resistivity 1.72e-8: 98.3 milliohm, a public lesson on trace resistance prints it;
  98.52 with 1.7241e-8 is recomputed.
- 0.5 milliohm a square for one ounce of copper (35 um): common practice, no source; 0.4926 recomputed.
- AWG: diameter 0.127 mm * 92^((36-n)/39) (definition), ohms per 1000 ft at 20 C of 24, 28, 30, 36 as printed wire
  tables have them: 25.67, 64.90, 103.2, 414.8.
- The ladder: 10 segments of 5 milliohm, 1 A in at node 0, 20 milliohm to ground at node 6: 50 mV at node 0, 35 at 3,
  25 at 5, 20 at 6, 8 and 10. Ohm's law, typed as numbers; ngspice says the same and solves the variants.

Does not prove: that a real rail is a ladder. It narrows and widens, and its copper is thinner where it was etched.
"""

import math

import pytest
from pytest import approx

from server.engine.copper import sheet_ohm, squares
from server.engine.shorts_line import read_line
from shared_models.power import RailPoint
from tests.support.ngspice import node_millivolts

LADDER_MV = {0: 50.0, 3: 35.0, 5: 25.0, 6: 20.0, 8: 20.0, 10: 20.0}
SEGMENT_MOHM = 5.0
SQUARES_A_SEGMENT = 10.0


def points(mv: dict[int, float], injected_ma: float = 1000.0) -> list[RailPoint]:
    """Millivolts at nodes of the ladder, each segment ten squares long."""
    return [
        RailPoint(
            id=f"node-{node}", job_id="j", rail="R", place=f"node {node}", mv=value, injected_mv=1000,
            injected_ma=injected_ma, along_squares=SQUARES_A_SEGMENT * node, taken_at_ms=node,
        )
        for node, value in mv.items()
    ]


def test_sheet_resistance_by_thickness_and_temperature() -> None:
    for um, milliohm in ((17.5, 0.9852), (34.8, 0.4954), (35, 0.4926), (70, 0.2463)):
        assert sheet_ohm(um) * 1000 == approx(milliohm, abs=1e-4)
    for celsius, ratio in ((0, 0.9214), (25, 1.01965), (50, 1.1179), (75, 1.21615), (85, 1.25545), (100, 1.3144)):
        assert sheet_ohm(35, celsius) / sheet_ohm(35) == approx(ratio, abs=1e-5)
    assert sheet_ohm(1e6) == approx(0.017241e-6, rel=1e-9)  # a cube of one metre has its resistivity for ohms


def test_the_worked_trace_in_squares_and_milliohms() -> None:
    assert squares(100, 0.5) == 200
    assert squares(100, 0.5) * sheet_ohm(35) * 1000 == approx(98.52, abs=0.01)
    assert squares(100, 0.5) * sheet_ohm(35) * 1000 * 1.72e-8 / 1.7241e-8 == approx(98.3, abs=0.05)


@pytest.mark.parametrize(("awg", "ohm_per_1000_ft"), [(24, 25.67), (28, 64.90), (30, 103.2), (36, 414.8)])
def test_wire_tables_agree_with_the_same_copper(awg: int, ohm_per_1000_ft: float) -> None:
    diameter_mm = 0.127 * 92 ** ((36 - awg) / 39)
    cross_mm2 = math.pi * diameter_mm**2 / 4
    # a wire as a foil of its own cross section, one millimetre wide
    ohm = squares(304_800, 1) * sheet_ohm(1000 * cross_mm2)
    assert ohm == approx(ohm_per_1000_ft, rel=1e-3)


def test_the_ladder_with_a_short_at_node_6() -> None:
    fit = read_line(points(LADDER_MV)).fit
    assert fit is not None
    assert (fit.at_squares, fit.level_mv) == (60.0, 20.0)
    assert fit.mohm_per_square == approx(SEGMENT_MOHM / SQUARES_A_SEGMENT, abs=1e-3)
    assert fit.short_ohm == approx(0.020, abs=1e-4)
    assert fit.high_squares is not None and fit.low_squares <= 60.0 <= fit.high_squares


def _ladder(short_at: int, segment_mohm: float, short_mohm: float, amperes: float) -> str:
    lines = [f"I1{{i}} 0 n0x{{i}} DC {amperes}"]
    lines += [f"R{at}x{{i}} n{at}x{{i}} n{at + 1}x{{i}} {segment_mohm / 1000}" for at in range(10)]
    lines.append(f"Rs{{i}} n{short_at}x{{i}} 0 {short_mohm / 1000}")
    return "\n".join(lines)


def test_ngspice_on_other_ladders_gives_the_place_back(ngspice_path: str) -> None:
    for short_at, segment, short, amperes in ((6, 5.0, 20.0, 1.0), (3, 2.0, 4.0, 3.0), (8, 5.0, 0.5, 2.0)):
        circuit = _ladder(short_at, segment, short, amperes)
        read = {node: node_millivolts(ngspice_path, [circuit], node=f"n{node}x{{i}}")[0] for node in range(0, 11, 2)}
        if (short_at, segment) == (6, 5.0):
            assert [read[node] for node in (0, 6, 8, 10)] == approx([LADDER_MV[node] for node in (0, 6, 8, 10)])
        fit = read_line(points({node: round(mv, 2) for node, mv in read.items()}, 1000 * amperes)).fit
        assert fit is not None
        assert fit.at_squares == approx(SQUARES_A_SEGMENT * short_at, abs=0.05)
        assert fit.short_ohm == approx(short / 1000, abs=2e-5)
        assert fit.mohm_per_square == approx(segment / SQUARES_A_SEGMENT, abs=2e-3)
