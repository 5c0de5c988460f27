"""From what a board says of a contact to the circuit behind it.

The contact's own path where somebody filled it, else the default of its role. A rail is one net: its parts (diode
to ground, load) have names that hang on the net alone, so a fault of a rail is the same fault at every contact that
leads to it, and `rails` lets a shop's own fits of them in. Elements nobody told a value of take the usual one.

What a path does not say is filled in so: a chip's pin has a clamp to ground and one to its rail; a rail has a diode to
ground and a load. Their numbers are such that a line of the role reads what `ROLE_NUMBERS` says, with either lead.
Other contacts of the same rail are not drawn: beside the rail's own diode they take next to nothing.
"""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from server.engine.circuit.clamp_fit import junction_of
from server.engine.circuit.junction import Law, at, drop_at, nominal, saturation_for
from server.engine.circuit.parts import GROUND, Circuit, DiodeTest, Junction, Part, PartKind, forced_current
from server.engine.constants.circuit import CONTACT_OHM, FERRITE_OHM, FUSE_OHM, LINE_MV
from server.engine.constants.roles import ROLE_NUMBERS
from server.engine.constants.sessions import (
    BULK_OHM,
    IDEALITY,
    KELVIN,
    OPEN_CIRCUIT_DEFAULT_MV,
    REFERENCE_C,
    REFERENCE_CURRENT_MA,
    VT_MV_PER_K,
)
from server.engine.roles import CONDUCTING_SHUNTS, NO_JUNCTION, is_ground, usual_load_ohm
from shared_models.board import BoardVersion, ChipPin, Clamp, Contact, Pull, SeriesPart, ShuntPart, TestPoint
from shared_models.reading import Meter
from shared_models.tables import ROLE_BY_ID

CONTACT = "contact"
PROBE = "probe"
UNNAMED_RAIL = "rail"


class RailFit(NamedTuple):
    """What is known of a rail's net: its diode to ground and its load in ohms."""

    junction: Junction
    load_ohm: float


class Assumed(NamedTuple):
    """Test of a meter, and whether its current was told; where it was not, it is the usual one."""

    test: DiodeTest
    told: bool


def test_of(meter: Meter | None) -> Assumed:
    """A meter's diode test from its sheet; the usual current and limit, marked, where the sheet has none."""
    told = meter is not None and meter.test_current_ma is not None
    current = meter.test_current_ma if meter is not None and meter.test_current_ma is not None else REFERENCE_CURRENT_MA
    limit = meter.open_circuit_mv if meter is not None and meter.open_circuit_mv is not None else None
    return Assumed(forced_current(current, OPEN_CIRCUIT_DEFAULT_MV if limit is None else limit), told)


def circuit_behind(
    contact: Contact,
    board: BoardVersion | None = None,
    clamp: Junction | None = None,
    rails: Mapping[str, RailFit] | None = None,
) -> Circuit | None:
    """The circuit behind a contact; None where there is none to speak of (ground, strap, unknown without a path).

    `clamp`: the fitted clamp of the chip behind it, else the role's. `rails`: fits by net.
    """
    if not contact.path and (contact.role in NO_JUNCTION or contact.role == "unknown"):
        return None
    builder = _Builder(contact, board, clamp or _clamp_of_role(contact), rails or {})
    if ROLE_BY_ID[contact.role].is_rail:
        builder.line_of_rail()
    else:
        builder.line_of_signal()
    return Circuit(CONTACT, tuple(builder.parts))


def rails_of(contacts: Iterable[Contact]) -> dict[str, RailFit]:
    """The rails that contacts of a socket name, each by its role: to be overridden by what was fitted."""
    return {one.net: rail_of_role(one.role) for one in contacts if one.net is not None and ROLE_BY_ID[one.role].is_rail}


def rail_of_role(role: str) -> RailFit:
    """A rail that reads what its role reads: with black on ground its load alone, with red its diode beside it."""
    numbers = ROLE_NUMBERS[role]
    load_ohm = 0.5 * (numbers.black_low_mv + numbers.black_high_mv) / REFERENCE_CURRENT_MA
    through_ma = REFERENCE_CURRENT_MA - numbers.typical_mv / load_ohm
    across_mv = numbers.typical_mv - BULK_OHM * through_ma
    if through_ma <= 0 or across_mv <= 0:
        # a core rail of a few ohms: the diode beside it never conducts
        return RailFit(junction_of((LINE_MV, IDEALITY, BULK_OHM)), numbers.typical_mv / REFERENCE_CURRENT_MA)
    return RailFit(_junction(across_mv, through_ma), load_ohm)


def _junction(across_mv: float, through_ma: float) -> Junction:
    """A junction with the usual n and RS from what it drops without RS at the temperature of the roles' table."""
    nvt = IDEALITY * VT_MV_PER_K * (KELVIN + REFERENCE_C)
    return nominal(Law(saturation_for(across_mv, nvt, through_ma), nvt, BULK_OHM), REFERENCE_C)


def _clamp_of_role(contact: Contact) -> Junction:
    if contact.role in NO_JUNCTION:
        return junction_of((LINE_MV, IDEALITY, BULK_OHM))
    numbers = ROLE_NUMBERS[contact.role]
    drop = numbers.typical_mv - numbers.series_ohm * REFERENCE_CURRENT_MA
    return _junction(max(drop - BULK_OHM * REFERENCE_CURRENT_MA, 1.0), REFERENCE_CURRENT_MA)


class _Builder:
    """One line, from the contact inward. `node` is where the line has come to."""

    def __init__(
        self, contact: Contact, board: BoardVersion | None, clamp: Junction, rails: Mapping[str, RailFit]
    ) -> None:
        self.contact = contact
        self.kinds = {part.ref: part.kind for part in board.parts} if board is not None else {}
        self.grounds = [net.name for net in board.nets if net.rail_kind == "ground"] if board is not None else []
        self.clamp = clamp
        numbers = ROLE_NUMBERS[contact.role]
        upper_mv = drop_at(at(clamp, REFERENCE_C), REFERENCE_CURRENT_MA) + numbers.series_ohm * REFERENCE_CURRENT_MA
        self.usual_load_ohm = usual_load_ohm(contact.role, upper_mv)
        self.rails = rails
        self.parts: list[Part] = []
        self.node = CONTACT
        self.add(PROBE, "contact", "socket", CONTACT_OHM)

    def add(self, name: str, kind: PartKind, far: str, ohm: float | None = None, *, onward: bool = True) -> None:
        """A part from here to `far`; the line goes on there unless `onward` is false."""
        self.parts.append(Part(self.fresh(name), kind, self.node, far, ohm))
        if onward:
            self.node = far

    def fresh(self, name: str) -> str:
        """The name, or the name with a running number where it stands already."""
        taken = [part.name for part in self.parts]
        fresh, count = name, 1
        while fresh in taken:
            count += 1
            fresh = f"{name}.{count}"
        return fresh

    def net(self, name: str | None) -> str:
        """The node of a net; its rail's own parts come with it, once."""
        if name is None or is_ground(name, self.grounds):
            return GROUND
        node = f"net {name}"
        if not any(node in (part.near, part.far) for part in self.parts):
            fit = self.rails.get(name, RailFit(self.clamp, self.usual_load_ohm))
            self.parts.append(Part(f"{name}.diode", "diode", GROUND, node, None, fit.junction))
            self.parts.append(Part(f"{name}.load", "load", node, GROUND, fit.load_ohm))
        return node

    def line_of_rail(self) -> None:
        """The parts in line, then the rail's net."""
        for element in self.contact.path:
            if isinstance(element, SeriesPart):
                self.series(element)
        name = self.contact.net or self.contact.number
        fit = self.rails.get(name) or rail_of_role(self.contact.role)
        self.parts.append(Part(self.fresh(f"{name}.diode"), "diode", GROUND, self.node, None, fit.junction))
        self.parts.append(Part(self.fresh(f"{name}.load"), "load", self.node, GROUND, fit.load_ohm))

    def line_of_signal(self) -> None:
        """The path's elements in their order; a line without a chip's pin ends at the default one."""
        ends = False
        for element in self.contact.path:
            if isinstance(element, SeriesPart):
                self.series(element)
            elif isinstance(element, ShuntPart):
                self.shunt(element.part, element.to_net)
            elif isinstance(element, Clamp):
                self.diode(element.part or "clamp", element.to_net)
            elif isinstance(element, Pull):
                self.add(element.part or "pull", "pull", self.net(element.to_net), element.ohm, onward=False)
            elif isinstance(element, ChipPin):
                self.pin(f"{element.part}.{element.pin}")
                ends = True
            elif isinstance(element, TestPoint):
                continue
        if not ends:
            series_ohm = 0.0 if self.contact.path else ROLE_NUMBERS[self.contact.role].series_ohm
            if series_ohm > 0:
                self.add("series", "resistor", "behind series", series_ohm)
            self.pin(self.contact.leads_to or "chip")

    def series(self, element: SeriesPart) -> None:
        """A part in line: a capacitor blocks, a fuse or ferrite nobody told a value of has a small one."""
        far = f"behind {self.fresh(element.part)}"
        if element.blocks_dc:
            self.add(element.part, "capacitor", far)
            return
        kind: PartKind = "fuse" if element.is_fuse else "resistor"
        if self.kinds.get(element.part) in ("ferrite", "coil"):
            kind = "ferrite"
        usual = FUSE_OHM if kind == "fuse" else FERRITE_OHM
        self.add(element.part, kind, far, usual if element.ohm is None else element.ohm)

    def shunt(self, part: str, to_net: str | None) -> None:
        """A part that leads off: a diode or ESD array clamps, all else is a capacitor to a meter."""
        if self.kinds.get(part) in CONDUCTING_SHUNTS:
            self.diode(part, to_net)
        else:
            self.add(part, "capacitor", self.net(to_net), onward=False)

    def diode(self, name: str, to_net: str | None) -> None:
        """A clamp: from ground up to the line, or from the line up to a rail."""
        node = self.net(to_net)
        ends = (GROUND, self.node) if node == GROUND else (self.node, node)
        self.parts.append(Part(self.fresh(name), "diode", *ends, None, self.clamp))

    def pin(self, name: str) -> None:
        """A chip's pin: a clamp to ground and one to the rail that the path speaks of, else one without a name."""
        rail = next(
            (e.to_net for e in self.contact.path if isinstance(e, Clamp | Pull) and self.is_rail(e.to_net)),
            UNNAMED_RAIL,
        )
        self.diode(f"{name}.lower", None)
        self.diode(f"{name}.upper", rail)

    def is_rail(self, name: str | None) -> bool:
        """Whether a net is anything but ground."""
        return name is not None and not is_ground(name, self.grounds)
