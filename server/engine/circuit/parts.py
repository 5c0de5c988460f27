"""What a circuit behind a contact is made of, and what cannot be one.

Units everywhere in this package: mV, mA, ohm, so that ohms times milliamperes are millivolts. Nodes are
names; `GROUND` is the board's ground. Every part lies between `near` and `far`; a diode conducts from `near`
(anode) to `far` (cathode).
"""

import math
from typing import Literal, NamedTuple

from server.engine.constants.circuit import (
    COLDEST_C,
    HOTTEST_C,
    LEAST_IDEALITY,
    LEAST_OHM,
    LEAST_SATURATION_MA,
    MOST_IDEALITY,
    MOST_OHM,
    MOST_SATURATION_MA,
    NOMINAL_C,
)
from server.engine.constants.readings import OL_LIMIT_MARGIN_MV
from server.engine.constants.sessions import KELVIN, OPEN_CIRCUIT_DEFAULT_MV
from server.engine.errors import SheetError

GROUND = "ground"

PartKind = Literal["contact", "resistor", "ferrite", "fuse", "pull", "load", "capacitor", "diode"]
"""All but the last two conduct both ways; the first four may lie in a line, pulls and loads lead off it."""
State = Literal["short", "open", "value"]


class Junction(NamedTuple):
    """A diode by Shockley's law with a series resistance: I = IS (exp((V - I RS) / n Vt) - 1), IS at `NOMINAL_C`."""

    saturation_ma: float
    ideality: float
    series_ohm: float = 0.0


class Part(NamedTuple):
    """One element. `ohm` for what conducts both ways, `junction` for a diode or clamp, neither for a capacitor."""

    name: str
    kind: PartKind
    near: str
    far: str
    ohm: float | None = None
    junction: Junction | None = None


class PartState(NamedTuple):
    """A part that is not healthy.

    `value`: `ohm` instead of the part's own; across a capacitor or a diode a leak of so many ohms beside it.
    """

    name: str
    state: State
    ohm: float | None = None


class Circuit(NamedTuple):
    """All parts behind one contact, the rails they lead to included; `contact` is the node under the probe."""

    contact: str
    parts: tuple[Part, ...]


class DiodeTest(NamedTuple):
    """A meter in diode mode: `current_ma` into a short, behind `source_ohm` (None: a current source).

    At `over_mv` and above it shows OL. Make one with `behind_resistance` or `forced_current`.
    """

    current_ma: float
    over_mv: float
    source_ohm: float | None = None


def _refuse(code: str, message: str, where: str, given: object, expected: str, example: str) -> SheetError:
    return SheetError(code, message, where=where, given=f"{given}", expected=expected, example=example)


def _number(value: float | None) -> bool:
    return value is not None and math.isfinite(value)


def forced_current(current_ma: float | None, limit_mv: float = OPEN_CIRCUIT_DEFAULT_MV) -> DiodeTest:
    """A meter that holds its current up to its limit. Raises SheetError without a current or a limit."""
    if current_ma is None or not (math.isfinite(current_ma) and current_ma > 0):
        raise _refuse(
            "meter_without_current",
            "without the test current a reading is no circuit",
            "$.meter.test_current_ma",
            current_ma,
            "milliamperes into a short, more than 0",
            "1.02",
        )
    if not (_number(limit_mv) and limit_mv > 0):
        raise _refuse(
            "meter_without_limit",
            "a meter's open-circuit limit is a voltage above zero",
            "$.meter.open_circuit_mv",
            limit_mv,
            "millivolts, more than 0",
            "2000",
        )
    return DiodeTest(current_ma, limit_mv)


def behind_resistance(open_circuit_mv: float, source_ohm: float, over_mv: float | None = None) -> DiodeTest:
    """A meter that is a voltage behind a resistance; OL a little below that voltage unless `over_mv` says where.

    Raises SheetError for a resistance or a voltage that is none.
    """
    if not (_number(source_ohm) and source_ohm > 0):
        raise _refuse(
            "meter_without_resistance",
            "a voltage without a resistance gives any current",
            "$.meter.source_ohm",
            source_ohm,
            "ohms, more than 0",
            "2200",
        )
    limit_mv = open_circuit_mv - OL_LIMIT_MARGIN_MV if over_mv is None else over_mv
    test = forced_current(open_circuit_mv / source_ohm, limit_mv)
    return DiodeTest(test.current_ma, min(limit_mv, open_circuit_mv), source_ohm)


def check_temperature(celsius: float) -> None:
    """Raises SheetError for a temperature at which nobody reads a board."""
    if not (math.isfinite(celsius) and COLDEST_C <= celsius <= HOTTEST_C):
        raise _refuse(
            "no_such_temperature",
            f"at {celsius:g} °C no board is read",
            "$.air_c",
            celsius,
            f"degrees Celsius from {COLDEST_C:g} to {HOTTEST_C:g}; {KELVIN + NOMINAL_C:g} K is {NOMINAL_C:g} °C",
            "23",
        )


def check_junction(junction: Junction, where: str) -> None:
    """Raises SheetError for parameters no diode has."""
    saturation_ma, ideality, series_ohm = junction
    if not LEAST_SATURATION_MA <= saturation_ma <= MOST_SATURATION_MA:
        raise _refuse(
            "no_such_diode",
            "no diode has this saturation current",
            f"{where}.saturation_ma",
            saturation_ma,
            f"milliamperes from {LEAST_SATURATION_MA:g} to {MOST_SATURATION_MA:g}",
            "2.52e-6",
        )
    if not LEAST_IDEALITY <= ideality <= MOST_IDEALITY:
        raise _refuse(
            "no_such_diode",
            "no diode has this ideality",
            f"{where}.ideality",
            ideality,
            f"{LEAST_IDEALITY:g} to {MOST_IDEALITY:g}; silicon 1 to 2",
            "1.5",
        )
    if not 0 <= series_ohm <= MOST_OHM:
        raise _refuse(
            "no_such_diode",
            "no diode has this series resistance",
            f"{where}.series_ohm",
            series_ohm,
            "ohms, 0 or more",
            "6",
        )


def check_circuit(circuit: Circuit) -> None:
    """Raises SheetError for a part that is none, a name that stands twice, a contact that no part touches."""
    names: dict[str, int] = {}
    for place, part in enumerate(circuit.parts):
        where = f"$.parts[{place}]"
        if part.name in names:
            raise _refuse(
                "part_twice",
                f"{part.name} stands twice in one circuit",
                f"{where}.name",
                part.name,
                "each part once; a part with two diodes has a name for each",
                f"{part.name}.2",
            )
        names[part.name] = place
        if part.near == part.far:
            raise _refuse(
                "part_joins_nothing",
                f"{part.name} has both ends at {part.near}",
                f"{where}.far",
                part.far,
                "two different nodes",
                GROUND if part.near != GROUND else circuit.contact,
            )
        if part.kind == "diode":
            if part.junction is None:
                raise _refuse(
                    "diode_without_law",
                    f"{part.name} is a diode without its numbers",
                    f"{where}.junction",
                    None,
                    "saturation current, ideality, series resistance",
                    "Junction(2.52e-6, 1.752, 0.568)",
                )
            check_junction(part.junction, f"{where}.junction")
        elif part.kind != "capacitor" and (part.ohm is None or not 0 <= part.ohm <= MOST_OHM):
            raise _refuse(
                "no_such_resistance",
                f"{part.name} has no such resistance",
                f"{where}.ohm",
                part.ohm,
                f"ohms, 0 to {MOST_OHM:g}",
                "33",
            )
    if circuit.contact == GROUND or not any(circuit.contact in (part.near, part.far) for part in circuit.parts):
        raise _refuse(
            "contact_leads_nowhere",
            "no part of the circuit touches the contact",
            "$.contact",
            circuit.contact,
            "the node of the probe, not ground",
            circuit.parts[0].near if circuit.parts else "pin",
        )


def states_by_name(circuit: Circuit, states: tuple[PartState, ...]) -> dict[str, PartState]:
    """The states by part. Raises SheetError: a part twice (open and short at once), an unknown part, no value."""
    told: dict[str, PartState] = {}
    names = [part.name for part in circuit.parts] if states else []
    for place, one in enumerate(states):
        where = f"$.states[{place}]"
        if one.name not in names:
            raise _refuse(
                "state_of_no_part",
                f"there is no {one.name} in this circuit",
                f"{where}.name",
                one.name,
                "a part of it: " + ", ".join(names),
                names[0],
            )
        if one.name in told:
            before = told[one.name].state
            raise _refuse(
                "part_in_two_states",
                f"{one.name} cannot be {before} and {one.state} at once",
                where,
                f"{before}, {one.state}",
                "one state a part",
                f"{one.name} {before}",
            )
        if one.state == "value" and (one.ohm is None or not 0 <= one.ohm <= MOST_OHM):
            raise _refuse(
                "no_such_resistance",
                f"{one.name} has no such value",
                f"{where}.ohm",
                one.ohm,
                f"ohms, 0 to {MOST_OHM:g}",
                "2200",
            )
        told[one.name] = one
    return told


def ohm_of(one: PartState) -> float:
    """The resistance that a part short or of another value has."""
    return LEAST_OHM if one.ohm is None or one.state == "short" else max(LEAST_OHM, one.ohm)
