"""The seam to bands and likelihoods: a circuit that reads what the band says, and what each fault would read on it.

A band is what healthy boards read here; the circuit knows how that moves. `anchored` makes the two agree: with red on
ground the junctions' drops are shifted together, with black on ground the rail's load is changed first. Then
`fault_readings` gives each part's faults in millivolts, and `LeakScale` the leak at the contact for any reading (and
back), which is what a density even in ln R needs.
"""

import math
from typing import NamedTuple

from server.engine.circuit.junction import Law, saturation_for
from server.engine.circuit.ladder import Edge
from server.engine.circuit.nodal import critical_mv
from server.engine.circuit.parts import GROUND, DiodeTest, PartState
from server.engine.circuit.readings import InPlace, Prepared, current_at, leak_readings, read
from server.engine.constants.circuit import (
    ANCHOR_STEPS,
    ANCHOR_STOP_MV,
    LEAST_RAIL_LOAD_MV,
    REACH_NVT,
    SLOPE_SHARE,
)
from server.engine.constants.readings import LEAK_HIGH_OHM, LEAK_LOW_OHM
from server.engine.errors import SheetError
from shared_models.reading import LeadOnGround


class FaultReading(NamedTuple):
    """What the contact reads with one part short, open or leaky: `drop_mv` None is OL, `shift_mv` against healthy.

    `shift_mv` None: from a number to OL or back.
    """

    state: PartState
    drop_mv: float | None
    shift_mv: float | None


def shifted(ready: Prepared, by_mv: float) -> Prepared:
    """The same with every junction's drop higher by so much: IS less by exp(mV / n Vt)."""

    def part(one: InPlace) -> InPlace:
        name, near, far, ohm, law, critical = one
        if law is None:
            return one
        less = law._replace(saturation_ma=law.saturation_ma * math.exp(-by_mv / law.nvt_mv))
        return name, near, far, ohm, less, critical + by_mv

    def edge(one: Edge) -> Edge:
        name, other, ohm, law, anode = one
        if law is None:
            return one
        less = law._replace(saturation_ma=law.saturation_ma * math.exp(-by_mv / law.nvt_mv))
        return name, other, ohm, less, anode

    return ready._replace(
        parts=tuple([part(one) for one in ready.parts]),
        beside=tuple([tuple([edge(one) for one in edges]) for edges in ready.beside]),
    )


def with_junctions_of(ready: Prepared, nvt_mv: float, current_ma: float) -> Prepared:
    """The same with this n Vt of every junction, as healthy boards at several currents told it.

    What each drops at `current_ma` stays. How a line takes less current beside a leak goes by n, and a part's own is
    rarely known.
    """

    def of(law: Law) -> Law:
        junction_mv = law.nvt_mv * math.log1p(current_ma / law.saturation_ma)
        return Law(saturation_for(junction_mv, nvt_mv, current_ma), nvt_mv, law.series_ohm)

    def part(one: InPlace) -> InPlace:
        name, near, far, ohm, law, _ = one
        return one if law is None else (name, near, far, ohm, of(law), critical_mv(of(law)))

    def edge(one: Edge) -> Edge:
        name, other, ohm, law, anode = one
        return one if law is None else (name, other, ohm, of(law), anode)

    return ready._replace(
        parts=tuple([part(one) for one in ready.parts]),
        beside=tuple([tuple([edge(one) for one in edges]) for edges in ready.beside]),
    )


def with_load(ready: Prepared, ohm: float) -> Prepared:
    """The same with every rail's load of this value."""
    loads = [part.name for part in ready.circuit.parts if part.kind == "load"]
    parts = [
        (name, near, far, ohm if name in loads else own, law, critical)
        for name, near, far, own, law, critical in ready.parts
    ]
    beside = [
        tuple([(name, other, ohm if name in loads else own, law, anode) for name, other, own, law, anode in edges])
        for edges in ready.beside
    ]
    return ready._replace(parts=tuple(parts), beside=tuple(beside))


def anchored(ready: Prepared, meter: DiodeTest, lead: LeadOnGround, healthy_mv: float) -> Prepared | None:
    """The circuit that reads `healthy_mv` when healthy; None where no such circuit is near (then it is another one).

    Raises SheetError for a reading that is no number.
    """
    if not math.isfinite(healthy_mv):
        raise SheetError(
            "no_such_reading", "a circuit is anchored at a number", where="$.healthy_mv", given=f"{healthy_mv}",
            expected="mV; a contact that healthily shows OL has nothing to anchor", example="452",
        )  # fmt: skip
    if lead == "black" and any(part.kind == "load" for part in ready.circuit.parts):
        found = _by_load(ready, meter, healthy_mv)
        if found is not None:
            return found
    return _by_junctions(ready, meter, lead, healthy_mv)


def _by_junctions(ready: Prepared, meter: DiodeTest, lead: LeadOnGround, healthy_mv: float) -> Prepared | None:
    """Secant steps on the common shift of the junctions, no further than a junction can be off."""
    reach = max([law.nvt_mv for *_, law, _ in ready.parts if law is not None], default=0.0) * REACH_NVT
    by_mv, tried = 0.0, ready
    for _ in range(ANCHOR_STEPS):
        drop = read(tried, meter, lead).drop_mv
        if drop is None:
            return None
        if abs(drop - healthy_mv) < ANCHOR_STOP_MV:
            return tried
        further = read(shifted(tried, SLOPE_SHARE), meter, lead).drop_mv
        slope = 0.0 if further is None else (further - drop) / SLOPE_SHARE
        if slope <= SLOPE_SHARE:
            return None  # resistors alone decide here
        by_mv += (healthy_mv - drop) / slope
        if abs(by_mv) > reach:
            return None
        tried = shifted(ready, by_mv)
    return None


def _by_load(ready: Prepared, meter: DiodeTest, healthy_mv: float) -> Prepared | None:
    """The load by Newton's steps from its own value: with black on ground what is read grows by I R."""
    least_ohm = LEAST_RAIL_LOAD_MV / meter.current_ma
    ohm = max(least_ohm, next(part.ohm or 0.0 for part in ready.circuit.parts if part.kind == "load"))
    for _ in range(ANCHOR_STEPS):
        tried = with_load(ready, ohm)
        drop = read(tried, meter, "black").drop_mv
        if drop is not None and abs(drop - healthy_mv) < ANCHOR_STOP_MV:
            return tried
        step = ohm * SLOPE_SHARE
        further = None if drop is None else read(with_load(ready, ohm + step), meter, "black").drop_mv
        if drop is None or further is None:
            after = 0.5 * (ohm + least_ohm)  # beyond the meter's limit: less of it
        elif further - drop <= SLOPE_SHARE * step * meter.current_ma:
            return None  # the load is not what is read here
        else:
            after = ohm + (healthy_mv - drop) * step / (further - drop)
        after = max(after, least_ohm)
        if after == ohm:
            return None
        ohm = after
    return None


def fault_readings(ready: Prepared, meter: DiodeTest, lead: LeadOnGround) -> list[FaultReading]:
    """Every part short and open, and those that lead off the line with a leak at either end of what a leak is."""
    healthy = read(ready, meter, lead).drop_mv
    states: list[PartState] = []
    for part in ready.circuit.parts:
        if part.kind == "contact":
            states.append(PartState(part.name, "open"))
            continue
        if part.kind != "capacitor":
            states.append(PartState(part.name, "open"))
        states.append(PartState(part.name, "short"))
        if part.kind in ("capacitor", "diode") and GROUND in (part.near, part.far):
            states += [PartState(part.name, "value", ohm) for ohm in (LEAK_LOW_OHM, LEAK_HIGH_OHM)]
    told = []
    for state in states:
        drop = read(ready, meter, lead, (state,)).drop_mv
        told.append(FaultReading(state, drop, None if drop is None or healthy is None else drop - healthy))
    return told


class LeakScale(NamedTuple):
    """A contact's leaks in both directions: `ohm_at` a reading, `drops_at` leaks."""

    ready: Prepared
    meter: DiodeTest
    lead: LeadOnGround

    def ohm_at(self, drop_mv: float) -> float | None:
        """The leak at the contact that makes it read so: R = V / (I - I of the circuit at V); None where none does."""
        meter = self.meter
        given_ma = meter.current_ma - (0.0 if meter.source_ohm is None else drop_mv / meter.source_ohm)
        if drop_mv <= 0:
            return 0.0
        left_ma = given_ma - current_at(self.ready, self.lead, drop_mv)
        return drop_mv / left_ma if left_ma > 0 else None

    def drops_at(self, leaks_ohm: list[float]) -> list[float | None]:
        """What it reads with each leak at the contact; None is OL."""
        return leak_readings(self.ready, self.meter, self.lead, leaks_ohm)
