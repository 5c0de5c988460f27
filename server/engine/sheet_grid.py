"""A sheet of copper as a square lattice of equal resistors: what flows from one node to another.

A uniform sheet cut into square cells is a lattice in which every edge resists one sheet resistance. Kirchhoff's
equations of it, one node held at zero, are symmetric and banded when the narrow side is counted first; they are
factored once (Cholesky, Golub and Van Loan, Matrix Computations, section 4.3) and each further current costs one
pass. All resistances are in units of the sheet resistance; lengths are the caller's.
"""

import math
from typing import NamedTuple


class Grid(NamedTuple):
    """A lattice of `across` x `along` nodes, `across` the narrow side; node = along index * across + across index.

    `turned`: the narrow side runs along x. Node centres begin at (`x0`, `y0`), `cell` apart.
    """

    x0: float
    y0: float
    cell: float
    across: int
    along: int
    turned: bool

    @property
    def nodes(self) -> int:
        """How many nodes there are."""
        return self.across * self.along

    def node_at(self, x: float, y: float) -> int:
        """The node nearest to a place; places outside go to the edge."""
        one, other = (x - self.x0) / self.cell, (y - self.y0) / self.cell
        narrow, long = (one, other) if self.turned else (other, one)
        return _clip(long, self.along) * self.across + _clip(narrow, self.across)

    def place_of(self, node: int) -> tuple[float, float]:
        """The centre of a node."""
        long, narrow = divmod(node, self.across)
        one, other = (narrow, long) if self.turned else (long, narrow)
        return self.x0 + one * self.cell, self.y0 + other * self.cell


def _clip(value: float, count: int) -> int:
    return min(count - 1, max(0, round(value)))


def grid_over(low: tuple[float, float], high: tuple[float, float], nodes_most: int, width_most: int) -> Grid:
    """The finest lattice over a rectangle with at most so many nodes in all and across its narrow side."""
    wide, tall = high[0] - low[0], high[1] - low[1]
    turned = wide <= tall
    narrow, long = min(wide, tall), max(wide, tall)
    cell = max(math.sqrt(narrow * long / nodes_most), narrow / width_most, long / nodes_most)
    across, along = max(1, int(narrow / cell)), max(2, int(long / cell))
    span_x, span_y = (across, along) if turned else (along, across)
    x0 = 0.5 * (low[0] + high[0]) - 0.5 * (span_x - 1) * cell
    y0 = 0.5 * (low[1] + high[1]) - 0.5 * (span_y - 1) * cell
    return Grid(x0, y0, cell, across, along, turned)


class Factored(NamedTuple):
    """Kirchhoff's equations of a lattice with `held` at zero, factored: each row's band up to its diagonal."""

    grid: Grid
    held: int
    rows: list[list[float]]
    starts: list[int]


def factor(grid: Grid, held: int) -> Factored:
    """Factors the lattice's equations with the node `held` at zero."""
    band = grid.across
    rows: list[list[float]] = []
    starts: list[int] = []
    for node in range(grid.nodes):
        start = max(0, node - band)
        row = _equation(grid, node, held, start)
        for column in range(start, node + 1):
            begin = max(start, starts[column] if column < node else start)
            other = rows[column] if column < node else row
            offset = starts[column] if column < node else start
            mine, theirs = row[begin - start : column - start], other[begin - offset : column - offset]
            joint = math.fsum(a * b for a, b in zip(mine, theirs, strict=True))
            rest = row[column - start] - joint
            row[column - start] = math.sqrt(rest) if column == node else rest / other[-1]
        rows.append(row)
        starts.append(start)
    return Factored(grid, held, rows, starts)


def _equation(grid: Grid, node: int, held: int, start: int) -> list[float]:
    """The row of a node from column `start` to its own: minus one to each neighbour, their number on the diagonal."""
    row = [0.0] * (node - start + 1)
    if node == held:
        row[-1] = 1.0
        return row
    long, narrow = divmod(node, grid.across)
    row[-1] = float((narrow > 0) + (narrow + 1 < grid.across) + (long > 0) + (long + 1 < grid.along))
    for neighbour, there in ((node - 1, narrow > 0), (node - grid.across, long > 0)):
        if there and neighbour != held:
            row[neighbour - start] = -1.0
    return row


def potentials(factored: Factored, node: int) -> list[float]:
    """What every node stands at, in sheet resistances, for one unit of current in at `node` and out at the held one.

    By reciprocity the same list says what `node` stands at for a unit in at each other node.
    """
    _, held, rows, starts = factored
    found = [0.0] * len(rows)
    if node == held:
        return found
    for at in range(node, len(rows)):
        start, row = starts[at], rows[at]
        begin = max(start, node)
        joint = math.fsum(a * b for a, b in zip(row[begin - start : -1], found[begin:at], strict=True))
        found[at] = ((1.0 if at == node else 0.0) - joint) / row[-1]
    for at in range(len(rows) - 1, -1, -1):
        start, row = starts[at], rows[at]
        here = found[at] = found[at] / row[-1]
        if here:
            for column in range(start, at):
                found[column] -= row[column - start] * here
    return found
