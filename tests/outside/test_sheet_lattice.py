"""The sheet's lattice: published resistances between nodes, the four-point formula, a circuit simulator.

Sources:
- The infinite square lattice of 1-ohm resistors: 1/2, 2/pi, 2 - 4/pi, 4/pi - 1/2, 8/(3 pi), 17/2 - 24/pi between a node
  and those at (1,0), (1,1), (2,0), (2,1), (2,2), (3,0): Atkinson and van Steenwijk 1999, Cserti 2000; OEIS A355565.
- Four probes in a line on a thin infinite sheet: Rs = (pi / ln 2) V / I = 4.53236 V / I (in any text on the method).

Does not prove: that a board's plane is a uniform sheet; and a lattice of 41 or 61 nodes a side is not infinite, which
is where the tolerances come from.
"""

import math

import pytest
from pytest import approx

from server.engine.sheet_grid import Factored, Grid, factor, grid_over, potentials
from tests.support.ngspice import node_millivolts

SIDE = 41
MIDDLE = SIDE // 2


def node(x: int, y: int) -> int:
    return (MIDDLE + y) * SIDE + MIDDLE + x


@pytest.fixture(scope="module")
def around_the_middle() -> Factored:
    """A square lattice with its middle held at zero."""
    return factor(Grid(0, 0, 1, SIDE, SIDE, True), node(0, 0))


@pytest.mark.parametrize(("x", "y", "resistance"), [
    (1, 0, 1 / 2), (1, 1, 2 / math.pi), (2, 0, 2 - 4 / math.pi), (2, 1, 4 / math.pi - 1 / 2),
    (2, 2, 8 / (3 * math.pi)), (3, 0, 17 / 2 - 24 / math.pi),
])
def test_the_infinite_lattice(around_the_middle: Factored, x: int, y: int, resistance: float) -> None:
    found = potentials(around_the_middle, node(x, y))[node(x, y)]
    assert found == approx(resistance, rel=4e-3)
    assert found > resistance  # a bounded sheet resists more than an endless one


def test_four_probes_in_a_line() -> None:
    # along the diagonal, where a lattice is nearest to a sheet; 21 spacings a side are nearly endless
    side = 61
    at = [(side // 2 + 2 * place) * (side + 1) for place in (-1, 0, 1, 2)]
    factored = factor(Grid(0, 0, 1, side, side, True), at[3])
    # current in at one end and out at the other, volts between the inner two
    into = potentials(factored, at[0])
    assert 1 / (into[at[1]] - into[at[2]]) == approx(math.pi / math.log(2), rel=0.02)


def test_the_whole_map_is_ngspices(ngspice_path: str) -> None:
    grid = Grid(0, 0, 1, 4, 5, True)
    held, into = 6, 17
    lines = [f"I1{{i}} 0 n{into}x{{i}} DC 1", f"V1{{i}} n{held}x{{i}} 0 0"]
    for at in range(grid.nodes):
        if at % 4 < 3:
            lines.append(f"Ra{at}x{{i}} n{at}x{{i}} n{at + 1}x{{i}} 1")
        if at + 4 < grid.nodes:
            lines.append(f"Rb{at}x{{i}} n{at}x{{i}} n{at + 4}x{{i}} 1")
    circuit = "\n".join(lines)
    mine = potentials(factor(grid, held), into)
    for at in range(grid.nodes):
        if at != held:
            assert mine[at] * 1000 == approx(node_millivolts(ngspice_path, [circuit], node=f"n{at}x{{i}}")[0], abs=1e-6)
    assert mine[held] == 0


@pytest.mark.parametrize(("low", "high"), [((0, 0), (60, 40)), ((0, 0), (10, 90)), ((-5, 3), (-4, 3.5))])
def test_the_lattice_covers_the_board_and_finds_its_places(
    low: tuple[float, float], high: tuple[float, float]
) -> None:
    grid = grid_over(low, high, 640, 22)
    assert grid.nodes <= 640 and grid.across <= 22 and grid.across <= grid.along
    for x in (low[0], 0.5 * (low[0] + high[0]), high[0]):
        for y in (low[1], 0.5 * (low[1] + high[1]), high[1]):
            there = grid.place_of(grid.node_at(x, y))
            assert there == approx((x, y), abs=grid.cell)
