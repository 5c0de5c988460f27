"""What a meter reads on a circuit: healthy, or with parts short, open or of another value.

`prepared` turns a circuit and a temperature into numbers once; `read` answers one set of states, `read_many` a
list of them, `leak_readings` one leak after the other. The short way (`ladder`) is taken where the circuit is
one, the nodal solve elsewhere; tests hold the two equal.

With red on ground the meter's current comes out of ground and in at the contact's far side, so the contact
stands below ground and the lower clamp conducts; that is the same circuit with every diode turned round and the
contact above ground, and is solved so. The drop is what the meter shows, without sign.
"""

from collections.abc import Sequence
from typing import NamedTuple

from server.engine.circuit.junction import Law, at
from server.engine.circuit.ladder import Edge, Ladder, current_on, drop_on, ladder_of
from server.engine.circuit.nodal import NO_NODE, Diode, Network, critical_mv, solve
from server.engine.circuit.parts import (
    GROUND,
    Circuit,
    DiodeTest,
    PartState,
    check_circuit,
    check_temperature,
    ohm_of,
    states_by_name,
)
from server.engine.constants.circuit import GMIN_S, LEAST_OHM
from server.engine.errors import SheetError
from shared_models.reading import LeadOnGround

InPlace = tuple[str, int, int, float | None, Law | None, float]
"""A part in node indices: name, near, far, ohms or law (neither: a capacitor), the law's critical voltage."""


class Prepared(NamedTuple):
    """A circuit at a temperature, in node indices; ground is -1. `beside`: the parts at each node."""

    circuit: Circuit
    celsius: float
    nodes: tuple[str, ...]
    contact: int
    parts: tuple[InPlace, ...]
    beside: tuple[tuple[Edge, ...], ...]


class Shown(NamedTuple):
    """What the meter shows: `drop_mv`, None for OL. `steps`: Newton steps of the nodal solve, 0 for the short way."""

    drop_mv: float | None
    steps: int


def prepared(circuit: Circuit, celsius: float) -> Prepared:
    """A circuit in numbers. Raises SheetError for a circuit or a temperature that cannot be."""
    check_circuit(circuit)
    check_temperature(celsius)
    index = {GROUND: NO_NODE, circuit.contact: 0}
    for part in circuit.parts:
        for node in (part.near, part.far):
            if node not in index:
                index[node] = len(index) - 1
    names = [name for name in index if name != GROUND]
    parts: list[InPlace] = []
    beside: list[list[Edge]] = [[] for _ in names]
    for part in circuit.parts:
        near, far = index[part.near], index[part.far]
        law, ohm, critical = None, None, 0.0
        if part.kind == "diode" and part.junction is not None:
            law = at(part.junction, celsius)
            critical = critical_mv(law)
        elif part.kind != "capacitor":
            ohm = max(LEAST_OHM, part.ohm or 0.0)
        parts.append((part.name, near, far, ohm, law, critical))
        if near >= 0:
            beside[near].append((part.name, far, ohm, law, True))
        if far >= 0:
            beside[far].append((part.name, near, ohm, law, False))
    return Prepared(
        circuit,
        celsius,
        tuple(names),
        index[circuit.contact],
        tuple(parts),
        tuple([tuple(edges) for edges in beside]),
    )


def floating(circuit: Circuit) -> tuple[str, ...]:
    """Parts that no direct current from the contact can reach (behind a capacitor, or joined to nothing).

    They say nothing here, and the solve leaves them at rest.
    """
    reached = [circuit.contact]
    for node in reached:
        for part in circuit.parts:
            if part.kind != "capacitor" and node in (part.near, part.far):
                for end in (part.near, part.far):
                    if end != GROUND and end not in reached:
                        reached.append(end)
    return tuple(
        part.name
        for part in circuit.parts
        if part.kind != "capacitor" and part.near not in reached and part.far not in reached
    )


def _ladder(ready: Prepared, lead: LeadOnGround, told: dict[str, PartState], current_ma: float) -> Ladder | None:
    return ladder_of(ready.contact, ready.beside, lead == "red", told, current_ma)


def _network(ready: Prepared, lead: LeadOnGround, told: dict[str, PartState], source_s: float) -> Network:
    """The circuit's nodes, with `source_s` at the contact and no current yet."""
    size = len(ready.nodes)
    rows = [[0.0] * size for _ in range(size)]
    for place in range(size):
        rows[place][place] = GMIN_S
    diodes: list[Diode] = []
    for name, near, far, ohm, law, critical in ready.parts:
        one = told.get(name)
        if one is not None:
            if one.state == "open":
                continue
            ohm = ohm_of(one)
        if law is not None and (one is None or one.state == "value"):
            diodes.append(Diode(far, near, law, critical) if lead == "red" else Diode(near, far, law, critical))
        if ohm is None:
            continue
        siemens = 1 / ohm
        if near >= 0:
            rows[near][near] += siemens
        if far >= 0:
            rows[far][far] += siemens
            if near >= 0:
                rows[near][far] -= siemens
                rows[far][near] -= siemens
    rows[ready.contact][ready.contact] += source_s
    return Network(rows, [0.0] * size, diodes)


def _fed(network: Network, contact: int, current_ma: float) -> tuple[float, int]:
    """The contact's voltage by the nodal solve, fed with this current, and the steps. The network stays as it is."""
    rows, currents, diodes = network
    fed = currents[:]
    fed[contact] = current_ma
    volts, steps = solve(Network([row[:] for row in rows], fed, diodes))
    return volts[contact], steps


def _nodal(
    ready: Prepared, meter: DiodeTest, lead: LeadOnGround, told: dict[str, PartState], leak_s: float
) -> tuple[float, int]:
    """The drop by the nodal solve. `leak_s`: one more conductance at the contact.

    A current source into what does not conduct has no sensible voltage to find: where none is found, the contact is
    held at the meter's limit, and if it takes less than the meter would give, the meter stands at that limit.
    """
    source_s = 0.0 if meter.source_ohm is None else 1 / meter.source_ohm
    try:
        return _fed(_network(ready, lead, told, source_s + leak_s), ready.contact, meter.current_ma)
    except SheetError:
        if meter.source_ohm is not None or _held(ready, lead, told, [meter.over_mv], leak_s)[0] >= meter.current_ma:
            raise
    return meter.over_mv, 1


def _held(
    ready: Prepared, lead: LeadOnGround, told: dict[str, PartState], drops_mv: Sequence[float], leak_s: float = 0.0
) -> list[float]:
    """The currents the contact takes held at each of these drops by a stiff source, mA."""
    network = _network(ready, lead, told, 1 / LEAST_OHM + leak_s)
    return [(drop - _fed(network, ready.contact, drop / LEAST_OHM)[0]) / LEAST_OHM for drop in drops_mv]


def read(
    ready: Prepared,
    meter: DiodeTest,
    lead: LeadOnGround,
    states: tuple[PartState, ...] = (),
    *,
    short_way: bool = True,
) -> Shown:
    """What the meter shows, its `lead` on ground. Raises SheetError for states that contradict each other.

    `short_way` false: always by the nodal solve.
    """
    told = states_by_name(ready.circuit, states)
    source_s = 0.0 if meter.source_ohm is None else 1 / meter.source_ohm
    ladder = _ladder(ready, lead, told, meter.current_ma) if short_way else None
    if ladder is not None:
        drop, steps = drop_on(ladder, meter.current_ma, source_s), 0
    else:
        drop, steps = _nodal(ready, meter, lead, told, 0.0)
    return Shown(None if drop is None or drop >= meter.over_mv else drop, steps)


def read_many(
    ready: Prepared, meter: DiodeTest, lead: LeadOnGround, states: list[tuple[PartState, ...]]
) -> list[Shown]:
    """`read` for each set of states."""
    return [read(ready, meter, lead, one) for one in states]


def leak_readings(
    ready: Prepared,
    meter: DiodeTest,
    lead: LeadOnGround,
    leaks_ohm: list[float],
    states: tuple[PartState, ...] = (),
) -> list[float | None]:
    """What the contact reads with a leak of each size from the contact's node to ground; None for OL."""
    told = states_by_name(ready.circuit, states)
    source_s = 0.0 if meter.source_ohm is None else 1 / meter.source_ohm
    ladder = _ladder(ready, lead, told, meter.current_ma)
    shown: list[float | None] = []
    for ohm in leaks_ohm:
        leak_s = 1 / max(LEAST_OHM, ohm)
        if ladder is not None:
            drop = drop_on(ladder, meter.current_ma, source_s, leak_s)
        else:
            drop, _ = _nodal(ready, meter, lead, told, leak_s)
        shown.append(None if drop is None or drop >= meter.over_mv else drop)
    return shown


def currents_at(
    ready: Prepared, lead: LeadOnGround, drops_mv: Sequence[float], states: tuple[PartState, ...] = ()
) -> list[float]:
    """The currents the contact takes when its drop is held at each of these, mA."""
    told = states_by_name(ready.circuit, states)
    ladder = _ladder(ready, lead, told, 1.0)
    if ladder is not None:
        return [current_on(ladder, drop) for drop in drops_mv]
    return _held(ready, lead, told, drops_mv)


def current_at(ready: Prepared, lead: LeadOnGround, drop_mv: float, states: tuple[PartState, ...] = ()) -> float:
    """The same at one drop."""
    return currents_at(ready, lead, (drop_mv,), states)[0]
