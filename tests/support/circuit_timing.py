"""A socket's worth of circuits, timed where this file runs: CPython or the phone's Python.

60 contacts: lanes behind a series part with an ESD array and a chip, lines with a pull-up to a named rail, plain
lines of their role, rails. Standard library, `server.engine` and `shared_models` only, since the text of this file is
also run inside Pyodide.
"""

import json
import statistics
import time
from collections.abc import Callable

from server.engine.circuit.anchored import anchored
from server.engine.circuit.behind import circuit_behind, rails_of
from server.engine.circuit.clamp_fit import HealthyReading, fit_clamp
from server.engine.circuit.meaning import largest_visible_leak, what_it_means
from server.engine.circuit.parts import Circuit, PartState, forced_current
from server.engine.circuit.readings import leak_readings, prepared, read, read_many
from shared_models.board import ChipPin, Contact, Pull, SeriesPart

CONTACTS, STATES = 60, 30
METER = forced_current(1.02)
LEAKS_OHM = [10 * 1.5**k for k in range(18)]


def socket_circuits() -> list[Circuit]:
    """The 60 circuits of the module's words."""
    contacts = []
    for n in range(CONTACTS):
        number, chip = str(n + 1), ChipPin(part="U1", pin=str(n))
        if n % 10 == 0:
            contacts.append(Contact(number=number, role="io_rail", net="VIO"))
        elif n % 3 == 0:
            path = (SeriesPart(part=f"R{n}", ohm=22.0), Pull(ohm=2200.0, to_net="VIO", part=f"R{n}p"), chip)
            contacts.append(Contact(number=number, role="bus", path=path))
        elif n % 3 == 1:
            contacts.append(Contact(number=number, role="usb_pair", path=(SeriesPart(part=f"R{n}", ohm=33.0), chip)))
        else:
            contacts.append(Contact(number=number, role="lane"))
    rails = rails_of(contacts)
    found = [circuit_behind(contact, None, None, rails) for contact in contacts]
    return [circuit for circuit in found if circuit is not None]


def states_of(circuit: Circuit) -> list[tuple[PartState, ...]]:
    """30 states: healthy, each part short and open, then parts of other values."""
    told: list[tuple[PartState, ...]] = [()]
    for part in circuit.parts:
        told += [(PartState(part.name, "short"),), (PartState(part.name, "open"),)]
    ohm = 20.0
    while len(told) < STATES:
        told.append((PartState(circuit.parts[len(told) % len(circuit.parts)].name, "value", ohm),))
        ohm *= 1.5
    return told[:STATES]


def median_ms(repeats: int) -> str:
    """Medians in ms of each question, as JSON."""
    circuits = socket_circuits()
    states = [states_of(circuit) for circuit in circuits]
    ready = [prepared(circuit, 23.0) for circuit in circuits]
    healthy = [HealthyReading(450.0, 1.02, 23.0, 1.0), HealthyReading(355.0, 0.1, 23.0, 1.0)]

    def timed(call: Callable[[], object]) -> float:
        call()
        times = []
        for _ in range(repeats):
            start = time.perf_counter()
            call()
            times.append(time.perf_counter() - start)
        return 1000 * statistics.median(times)

    def every_state() -> None:
        for one, told in zip(ready, states, strict=True):
            read_many(one, METER, "red", told)

    def every_leak() -> None:
        for one in ready:
            leak_readings(one, METER, "red", LEAKS_OHM)

    def every_anchor() -> None:
        for circuit in circuits:
            fresh = prepared(circuit, 23.0)
            for lead in ("red", "black"):
                drop = read(fresh, METER, lead).drop_mv
                if drop is not None:
                    anchored(fresh, METER, lead, drop + 15.0)

    return json.dumps(
        {
            f"{CONTACTS} contacts prepared": timed(lambda: [prepared(circuit, 23.0) for circuit in circuits]),
            f"{CONTACTS} x {STATES} states": timed(every_state),
            f"{CONTACTS} x {len(LEAKS_OHM)} leaks": timed(every_leak),
            f"{CONTACTS} drawn and anchored, both leads": timed(every_anchor),
            f"largest visible leak, {CONTACTS}": timed(
                lambda: [largest_visible_leak(one, METER, "red", 4.0) for one in ready]
            ),
            "one low reading in ohms": timed(lambda: what_it_means(ready[1], METER, "red", 45.0)),
            "one clamp fitted": timed(lambda: fit_clamp(healthy)),
        }
    )
