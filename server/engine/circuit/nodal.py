"""The voltages of any circuit of resistors and diodes: nodal Newton with the junctions limited as SPICE does.

Source of the limiting: `pnjlim` and the critical voltage n Vt ln(n Vt / (sqrt 2 IS)), L. W. Nagel, SPICE2: A
Computer Program to Simulate Semiconductor Circuits, UCB/ERL M520, 1975; as in SPICE3f5. A diode's series
resistance is eliminated by hand, so it costs no node; nodes that no diode touches are eliminated once. Where
Newton fails, conductances to ground are added and taken away by decades (gmin stepping), as there.

The matrix is symmetric and its diagonal outweighs its rows by `GMIN_S` at least, so elimination needs no search for
pivots; where a dead short beside an open end loses that in the last digit, it is put back.
"""

import math
from typing import NamedTuple

from server.engine.circuit.junction import Law
from server.engine.constants.circuit import (
    DEEP_REVERSE,
    GMIN_FACTOR,
    GMIN_S,
    GMIN_START_S,
    NEWTON_STEPS,
    NEWTON_STOP_MV,
)
from server.engine.errors import SheetError

NO_NODE = -1
"""The index of ground in stamps."""


class Diode(NamedTuple):
    """A diode between two node indices, anode first, with its law and its critical voltage."""

    anode: int
    cathode: int
    law: Law
    critical_mv: float


class Network(NamedTuple):
    """Conductances and currents by node index: `rows` in S, `currents` in mA into each node, and the diodes."""

    rows: list[list[float]]
    currents: list[float]
    diodes: list[Diode]


class Solved(NamedTuple):
    """Node voltages in mV against ground, and how many Newton steps it took."""

    volts_mv: list[float]
    steps: int


def critical_mv(law: Law) -> float:
    """Where a junction's current bends most: above it a step is limited."""
    return law.nvt_mv * math.log(law.nvt_mv / (math.sqrt(2) * law.saturation_ma))


def limited(new_mv: float, old_mv: float, nvt_mv: float, critical: float) -> float:
    """SPICE's pnjlim: a step up the exponential, taken in its logarithm."""
    if new_mv <= critical or abs(new_mv - old_mv) <= 2 * nvt_mv:
        return new_mv
    if old_mv > 0:
        argument = 1 + (new_mv - old_mv) / nvt_mv
        return old_mv + nvt_mv * math.log(argument) if argument > 0 else critical
    return nvt_mv * math.log(new_mv / nvt_mv)


def solve(network: Network) -> Solved:
    """The operating point. Raises SheetError where even gmin stepping finds none."""
    # no junction carries more than the sources give: a bound that spares most of the climb up the exponential
    most_ma = math.fsum([abs(current) for current in network.currents])
    core, order = _without_linear_nodes(network)
    bounds = [law.nvt_mv * math.log1p(most_ma / law.saturation_ma) for _, _, law, _ in core.diodes]
    starts = [0.0] * len(bounds)
    solved = _newton(core, starts, bounds, 0.0)
    if solved is None:
        solved = _by_gmin(core, starts, bounds)
    if solved is None:
        raise SheetError(
            "circuit_not_solved",
            "the circuit behind the contact has no operating point that can be found",
            where="$.parts",
            given=f"{len(network.rows)} nodes, {len(network.diodes)} diodes",
            expected="a circuit whose currents balance",
            example="contact, series part, clamp to ground",
        )
    return Solved(_with_linear_nodes(network, order, solved.volts_mv), solved.steps)


def _without_linear_nodes(network: Network) -> tuple[Network, list[int]]:
    """The same seen from the diodes alone: nodes that no diode touches are eliminated once, before any step.

    `network` is left triangular in those nodes, which `_with_linear_nodes` needs. The order: they first.
    """
    rows, currents, diodes = network
    touched = [False] * len(rows)
    for diode in diodes:
        for node in diode[:2]:
            if node >= 0:
                touched[node] = True
    order = [node for node, has in enumerate(touched) if not has]
    linear = len(order)
    order += [node for node, has in enumerate(touched) if has]
    for place in range(linear):
        pivot = order[place]
        top = rows[pivot]
        top[pivot] = max(top[pivot], GMIN_S)
        head = 1 / top[pivot]
        for below in order[place + 1 :]:
            line = rows[below]
            if line[pivot]:
                factor = line[pivot] * head
                for column in order[place + 1 :]:
                    line[column] -= factor * top[column]
                currents[below] -= factor * currents[pivot]
    kept = order[linear:]
    index = {node: place for place, node in enumerate(kept)}
    index[NO_NODE] = NO_NODE
    core = Network(
        [[rows[node][column] for column in kept] for node in kept],
        [currents[node] for node in kept],
        [Diode(index[anode], index[cathode], law, critical) for anode, cathode, law, critical in diodes],
    )
    return core, order


def _with_linear_nodes(network: Network, order: list[int], core_mv: list[float]) -> list[float]:
    """All voltages from those at the diodes, back through the triangle."""
    rows, currents, _ = network
    volts = [0.0] * len(order)
    linear = len(order) - len(core_mv)
    for node, volt in zip(order[linear:], core_mv, strict=True):
        volts[node] = volt
    for place in range(linear - 1, -1, -1):
        pivot = order[place]
        value = currents[pivot]
        for column in order[place + 1 :]:
            value -= rows[pivot][column] * volts[column]
        volts[pivot] = value / rows[pivot][pivot]
    return volts


def _by_gmin(network: Network, starts: list[float], bounds: list[float]) -> Solved | None:
    gmin, steps = GMIN_START_S, 0
    while gmin > GMIN_S:
        solved = _newton(network, starts, bounds, gmin)
        if solved is None:
            return None
        steps += solved.steps
        starts = [_across(diode, solved.volts_mv) for diode in network.diodes]
        gmin *= GMIN_FACTOR
    solved = _newton(network, starts, bounds, 0.0)
    return None if solved is None else Solved(solved.volts_mv, steps + solved.steps)


def _across(diode: Diode, volts: list[float]) -> float:
    """A junction's voltage at a solved point, its series resistance taken off by the current it can carry."""
    anode = volts[diode.anode] if diode.anode >= 0 else 0.0
    cathode = volts[diode.cathode] if diode.cathode >= 0 else 0.0
    return min(anode - cathode, diode.critical_mv)


def _newton(network: Network, starts: list[float], bounds: list[float], extra_s: float) -> Solved | None:
    """Newton's steps from `starts`, each junction at most at its bound; None where they do not settle."""
    rows, currents, diodes = network
    if extra_s:
        rows = [row[:] for row in rows]
        for place, row in enumerate(rows):
            row[place] += extra_s
    junctions = list(starts)
    # flat, and in one row a diode: this loop is the engine's hottest
    flat = [
        (place, anode, cathode, saturation, nvt, series, critical, bounds[place])
        for place, (anode, cathode, (saturation, nvt, series), critical) in enumerate(diodes)
    ]
    slopes, spares = [0.0] * len(diodes), [0.0] * len(diodes)
    deep, exp = -DEEP_REVERSE, math.exp
    for step in range(NEWTON_STEPS):
        matrix = [row[:] for row in rows]
        right = currents[:]
        for place, anode, cathode, saturation, nvt, series, _, _ in flat:
            junction = junctions[place]
            grown = saturation * exp(junction / nvt)
            slope = grown / nvt + GMIN_S
            spare = grown - saturation + (GMIN_S - slope) * junction
            if series:
                shared = 1 + slope * series
                slope /= shared
                spare /= shared
            slopes[place] = slope
            spares[place] = spare
            if anode >= 0:
                matrix[anode][anode] += slope
                right[anode] -= spare
                if cathode >= 0:
                    matrix[anode][cathode] -= slope
                    matrix[cathode][anode] -= slope
            if cathode >= 0:
                matrix[cathode][cathode] += slope
                right[cathode] += spare
        _eliminate(matrix, right)
        settled = True
        for place, anode, cathode, _, nvt, series, critical, bound in flat:
            across = (right[anode] if anode >= 0 else 0.0) - (right[cathode] if cathode >= 0 else 0.0)
            new = across - series * (spares[place] + slopes[place] * across)
            old = junctions[place]
            if settled and abs(new - old) > NEWTON_STOP_MV:
                # far in reverse the current is a constant, which Newton has exactly, however far it is
                settled = new < deep * nvt and old < deep * nvt
            if new > bound:
                new = bound
            elif new > critical:
                new = limited(new, old, nvt, critical)
            junctions[place] = new
        if settled:
            return Solved(right, step + 1)
    return None


def _eliminate(matrix: list[list[float]], right: list[float]) -> None:
    """Solves in place: `right` becomes the answer. Symmetric; up to three nodes, the usual numbers, without loops."""
    size = len(right)
    if size == 1:
        right[0] /= matrix[0][0]
        return
    if size == 2:
        (a, b), (_, d) = matrix
        factor = b / a
        right[1] = (right[1] - factor * right[0]) / max(d - factor * b, GMIN_S)
        right[0] = (right[0] - b * right[1]) / a
        return
    if size == 1 + 2:
        (a, b, c), (_, d, e), (_, _, f) = matrix
        first, second, third = right
        factor, further = b / a, c / a
        d = max(d - factor * b, GMIN_S)
        e -= factor * c
        second -= factor * first
        third = third - further * first - e / d * second
        third /= max(f - further * c - e / d * e, GMIN_S)
        second = (second - e * third) / d
        right[:] = (first - b * second - c * third) / a, second, third
        return
    span = range(size)
    for pivot in span:
        top = matrix[pivot]
        top[pivot] = max(top[pivot], GMIN_S)
        head = 1 / top[pivot]
        for below in range(pivot + 1, size):
            line = matrix[below]
            if line[pivot]:
                factor = line[pivot] * head
                for column in range(pivot + 1, size):
                    line[column] -= factor * top[column]
                right[below] -= factor * right[pivot]
    for pivot in range(size - 1, -1, -1):
        top = matrix[pivot]
        value = right[pivot]
        for column in range(pivot + 1, size):
            value -= top[column] * right[column]
        right[pivot] = value / top[pivot]
