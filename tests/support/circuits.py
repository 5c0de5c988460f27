"""Random circuits behind a contact, with faults, and the same as netlist lines for the real simulator.

Seeded, so a failure names a circuit that can be made again. Values are drawn wider than boards have them.
"""

import random
from typing import NamedTuple

from server.engine.circuit.parts import GROUND, Circuit, DiodeTest, Junction, Part, PartState
from server.engine.constants.circuit import LEAST_OHM
from shared_models.reading import LeadOnGround

NETLIST_SHORT_OHM = 1e-3
"""With the engine's own tenth of that one circuit in 600 is singular to the simulator; 1 mA makes it 0.001 mV."""


class Asked(NamedTuple):
    """One question: a circuit, who measures how, and what is wrong with it."""

    circuit: Circuit
    meter: DiodeTest
    lead: LeadOnGround
    celsius: float
    states: tuple[PartState, ...]


def random_junction(rng: random.Random) -> Junction:
    """A clamp that reads 250 to 800 mV or so at 1 mA."""
    ideality = rng.uniform(1.0, 2.0)
    return Junction(
        10 ** rng.uniform(-10, -3) if ideality > 1.4 else 10 ** rng.uniform(-12, -5), ideality, rng.uniform(0, 30)
    )


def _shunts(rng: random.Random, node: str) -> list[Part]:
    """What may hang on a line before its chip."""
    parts = []
    if rng.random() < 0.3:
        parts.append(Part(f"tvs_{node}", "diode", GROUND, node, None, random_junction(rng)))
    if rng.random() < 0.2:
        parts.append(Part(f"tvs_up_{node}", "diode", node, "vdd", None, random_junction(rng)))
    if rng.random() < 0.3:
        parts.append(Part(f"pull_{node}", "resistor", node, rng.choice((GROUND, "vdd")), 10 ** rng.uniform(2.5, 5.5)))
    if rng.random() < 0.3:
        parts.append(Part(f"c_{node}", "capacitor", node, GROUND))
    return parts


def random_circuit(rng: random.Random) -> Circuit:
    """Contact, series parts, shunts at every node, the chip's clamps, a rail with its diode and load, a second rail."""
    parts = [Part("contact", "contact", "c", "n0", rng.uniform(0, 2))]
    node = "n0"
    parts += _shunts(rng, node)
    for place in range(rng.choice((0, 1, 1, 1, 2, 3))):
        after = f"n{place + 1}"
        parts.append(Part(f"series{place}", "resistor", node, after, 10 ** rng.uniform(-1, 3.2)))
        if rng.random() < 0.1:
            parts.append(Part(f"beside{place}", "resistor", node, after, 10 ** rng.uniform(0, 4)))
        node = after
        parts += _shunts(rng, node)
    if rng.random() < 0.15:
        parts.append(Part("coupling", "capacitor", node, "far"))
        node = "far"
    if rng.random() < 0.9:
        parts.append(Part("lower", "diode", GROUND, node, None, random_junction(rng)))
    if rng.random() < 0.8:
        parts.append(Part("upper", "diode", node, "vdd", None, random_junction(rng)))
    if any("vdd" in (part.near, part.far) for part in parts):
        parts.append(Part("rail_load", "load", "vdd", GROUND, 10 ** rng.uniform(0.5, 5)))
        if rng.random() < 0.9:
            parts.append(Part("rail_diode", "diode", GROUND, "vdd", None, random_junction(rng)))
        if rng.random() < 0.3:
            parts.append(Part("rail_ferrite", "ferrite", "vdd", "vio", 0.3))
            parts.append(Part("vio_diode", "diode", GROUND, "vio", None, random_junction(rng)))
    return Circuit("c", tuple(parts))


def random_states(rng: random.Random, circuit: Circuit) -> tuple[PartState, ...]:
    """None to two parts that are not healthy."""
    chosen = rng.sample(circuit.parts, min(len(circuit.parts), rng.choice((0, 1, 1, 1, 2))))
    states = []
    for part in chosen:
        state = rng.choice(("short", "open", "value", "value"))
        ohm = 10 ** rng.uniform(0.3, 5) if state == "value" else None
        states.append(PartState(part.name, state, ohm))
    return tuple(states)


def random_asked(rng: random.Random) -> Asked:
    """One question, both kinds of meter, both leads, -10 to 60 °C."""
    circuit = random_circuit(rng)
    over_mv = rng.choice((1500.0, 2000.0, 3000.0))
    meter = DiodeTest(10 ** rng.uniform(-1, 0.4), over_mv)
    if rng.random() < 0.5:
        source_ohm = rng.uniform(1000, 20000)
        meter = DiodeTest((over_mv + 200) / source_ohm, over_mv, source_ohm)
    lead: LeadOnGround = "red" if rng.random() < 0.6 else "black"
    return Asked(circuit, meter, lead, rng.uniform(-10, 60), random_states(rng, circuit))


def netlist(asked: Asked) -> str:
    """The circuit for `ngspice.node_millivolts`, node `a{i}` at the contact, at its own temperature.

    Red on ground draws the current out of the contact, so there `a{i}` comes out below ground. A meter that
    holds its current has a limit: a stiff volt above OL a diode takes the current, so no circuit is driven to
    megavolts. A teraohm at each node gives one to what floats.
    """
    states = {one.name: one for one in asked.states}
    names = {GROUND: "0", asked.circuit.contact: "a{i}"}
    for part in asked.circuit.parts:
        for node in (part.near, part.far):
            names.setdefault(node, f"{node}_{{i}}")
    red = asked.lead == "red"
    lines = [f"I{{i}} {'a{i} 0' if red else '0 a{i}'} DC {asked.meter.current_ma!r}m"]
    if asked.meter.source_ohm is not None:
        lines.append(f"Rm{{i}} a{{i}} 0 {asked.meter.source_ohm!r}")
    else:
        limit_v = (asked.meter.over_mv / 1000 + 1) * (-1 if red else 1)
        lines += [f"Vl{{i}} l{{i}} 0 {limit_v}", f"Dl{{i}} {'l{i} a{i}' if red else 'a{i} l{i}'} Ml{{i}}"]
        lines.append(".model Ml{i} D(IS=1e-18)")
    lines += [f"Rf{place}n{{i}} {node} 0 1e12" for place, node in enumerate(names.values()) if node != "0"]
    for place, part in enumerate(asked.circuit.parts):
        state = states.get(part.name)
        ends = f"{names[part.near]} {names[part.far]}"
        if state is not None and state.state == "open":
            continue
        if state is not None:
            ohm = NETLIST_SHORT_OHM if state.state == "short" else state.ohm
            lines.append(f"R{place}v{{i}} {ends} {ohm!r}")
        if part.junction is not None and (state is None or state.state == "value"):
            saturation_ma, ideality, series_ohm = part.junction
            lines.append(f"D{place}d{{i}} {ends} M{place}m{{i}} temp={asked.celsius!r}")
            lines.append(f".model M{place}m{{i}} D(IS={saturation_ma / 1000!r} N={ideality!r} RS={series_ohm!r})")
        elif state is None and part.ohm is not None:
            lines.append(f"R{place}v{{i}} {ends} {max(LEAST_OHM, part.ohm)!r}")
    return "\n".join(lines)
