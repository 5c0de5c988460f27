"""Lines that branch (a clamp, a protection part, a pull-up on the way to the chip): what their circuit says of faults.

Most lines are a junction behind what lies in line, for which `faulted` has a closed form. Where a path names more that
conducts, the circuit is drawn (`circuit.behind`), moved to read what healthy boards read (`circuit.anchored`), and
asked two things once: the share of the test current the line still takes the further its reading is pulled down, from
which any leak at the contact follows (R = V / (I - share I)); and what is left to read with the first part in line
open. Lines of one shape are asked once. Where no such circuit is near, the closed form stands.
"""

import math
from typing import NamedTuple

from server.engine.accepted_board import Board
from server.engine.bands import Healthy
from server.engine.circuit.anchored import anchored
from server.engine.circuit.behind import circuit_behind
from server.engine.circuit.clamp_fit import junction_of
from server.engine.circuit.parts import DiodeTest, PartState, forced_current
from server.engine.circuit.readings import Prepared as Ready
from server.engine.circuit.readings import currents_at, read
from server.engine.circuit.readings import prepared as solvable
from server.engine.constants.circuit import LINE_MV, SHARES_AT
from server.engine.constants.readings import SMALL_MASS
from server.engine.constants.sessions import BULK_OHM
from server.engine.errors import SheetError
from server.engine.meters import Conditions
from server.engine.roles import branches_before, path_branches
from shared_models.board import Contact, SeriesPart
from shared_models.reading import LeadOnGround
from shared_models.tables import ROLE_BY_ID


class Branching(NamedTuple):
    """What a line's circuit says. `shares`: (mV below healthy, ln of the share of the current it still takes), from
    the healthy reading down. `cut_mv`: how much higher it reads with its first part in line open; None: as any other.
    """

    shares: tuple[tuple[float, float], ...]
    cut_mv: float | None


_Shape = tuple[str, str, tuple[object, ...]]
_Key = tuple[int, str]


class Branches:
    """The lines that branch, by contact and lead, at these conditions.

    A line of a shape is solved when one of that shape is first asked for, which changes no answer: the first such line
    on the board is always the one that is drawn.
    """

    def __init__(self, board: Board, bands: dict[_Key, Healthy], at: Conditions, limit_mv: float) -> None:
        self._board, self._bands, self._at, self._limit_mv = board, bands, at, limit_mv
        self._shapes: dict[_Key, _Shape] = {}
        self._drawn: dict[_Shape, tuple[int, LeadOnGround]] = {}
        self._solved: dict[_Shape, Branching | None] = {}
        leads: tuple[LeadOnGround, ...] = ("red", "black")
        for contact, one in enumerate(board.contacts):
            if not path_branches(one, board.parts) or ROLE_BY_ID[one.role].is_rail:
                continue
            for lead in leads:
                band = bands[contact, lead]
                if band.path is None or band.ol_odds > 0.5 or band.loc <= 0:
                    continue
                shape = _shape(board, one, lead)
                self._shapes[contact, lead] = shape
                self._drawn.setdefault(shape, (contact, lead))

    def of(self, key: _Key) -> Branching | None:
        """What the circuit of this line says; None where it does not branch, or none can read what its band says."""
        shape = self._shapes.get(key)
        if shape is None:
            return None
        if shape not in self._solved:
            contact, lead = self._drawn[shape]
            one, band = self._board.contacts[contact], self._bands[contact, lead]
            self._solved[shape] = _solved(self._board, one, lead, band, self._at, self._limit_mv)
        return self._solved[shape]


def _shape(board: Board, one: Contact, lead: LeadOnGround) -> _Shape:
    """Lines of one chip and role whose paths have the same kinds of elements and values."""
    elements: list[object] = []
    for element in one.path:
        part = board.parts.get(getattr(element, "part", None) or "")
        ohm = getattr(element, "ohm", None)
        elements.append((type(element).__name__, ohm, getattr(element, "to_net", None), part.kind if part else ""))
    return f"{one.leads_to}/{one.role}", lead, tuple(elements)


def _solved(
    board: Board, one: Contact, lead: LeadOnGround, band: Healthy, at: Conditions, limit_mv: float
) -> Branching | None:
    """By the circuit with the ideality that healthy boards showed; None where none is near, or none can be."""
    if band.path is None:
        return None
    clamp = junction_of((LINE_MV, band.path.ideality, BULK_OHM))
    try:
        circuit = circuit_behind(one, board.version, clamp)
        if circuit is None:
            return None
        meter = forced_current(at.current_ma, limit_mv)
        ready = anchored(solvable(circuit, at.air_c), meter, lead, band.loc)
        if ready is None:
            return None
        return Branching(_shares(ready, meter, lead, band.loc), _cut(ready, meter, lead, one, board, band.loc))
    except SheetError:
        return None


def _shares(ready: Ready, meter: DiodeTest, lead: LeadOnGround, loc: float) -> tuple[tuple[float, float], ...]:
    taken = currents_at(ready, lead, [loc * (1 - down) for down in SHARES_AT])
    below = [
        (-loc * down, math.log(max(current_ma / meter.current_ma, SMALL_MASS)))
        for down, current_ma in zip(SHARES_AT, taken, strict=True)
    ]
    return (0.0, 0.0), *below


def _cut(
    ready: Ready, meter: DiodeTest, lead: LeadOnGround, one: Contact, board: Board, loc: float
) -> float | None:
    part = next((each.part for each in one.path if isinstance(each, SeriesPart) and not each.blocks_dc), None)
    if part is None or not branches_before(one, board.parts):
        return None
    left = read(ready, meter, lead, (PartState(part, "open"),)).drop_mv
    return None if left is None else left - loc
