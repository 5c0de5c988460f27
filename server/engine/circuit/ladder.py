"""The short way: a circuit that is a tree with one junction that conducts is one equation in one unknown.

The tree is folded: everything between the meter and the junction is a current source with a conductance
(Norton), handed on through each series resistance and shunt; what is left is a voltage behind a resistance and
a junction, which Lambert's W answers. Then back along the same stages to the contact.

A junction that the meter drives in reverse carries its IS, no more: it is counted as that constant current
where the far side can carry it, and only if it could not cost more than `LADDER_LEAK_MV` were it none. A loop, two
junctions that conduct, or a larger reverse current: no ladder, and `nodal` answers.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from server.engine.circuit.junction import Law, lambert_w_of_exp
from server.engine.circuit.parts import PartState, ohm_of
from server.engine.constants.circuit import GMIN_S, LADDER_LEAK_MV

Edge = tuple[str, int, float | None, Law | None, bool]
"""A part seen from one of its nodes: name, the other node (-1 is ground), ohms or law (neither: a capacitor),
and for a diode whether its anode is here."""

Stage = tuple[float, float, float]
"""Ohms on the way to a node, the conductance there to ground (S), the reverse currents there (mA)."""


class Ladder(NamedTuple):
    """Stages from the contact inward (the first has no resistance), then the junction and the ohms behind it.

    `law` None: nothing conducts but the resistors.
    """

    stages: tuple[Stage, ...]
    law: Law | None
    tail_ohm: float


_Folded = tuple[float, float, tuple[Stage, ...], Law | None, float]
"""A subtree seen from its node: conductance, reverse currents, and the way to the junction, if there is one."""


def ladder_of(
    contact: int, beside: Sequence[Sequence[Edge]], turned: bool, told: dict[str, PartState], current_ma: float
) -> Ladder | None:
    """The ladder behind a contact, from the parts `beside` each node; None where the circuit is none.

    `turned`: every diode conducts the other way. `told`: the parts that are not healthy.
    """
    fold = _Fold(beside, not turned, told, LADDER_LEAK_MV * current_ma)
    folded = fold.node(contact, "")
    if folded is None:
        return None
    siemens, leak, stages, law, tail_ohm = folded
    return Ladder(((0.0, siemens, leak), *stages), law, tail_ohm)


class _Fold:
    """One walk through the tree. `leak_mv_ma`: the reverse n Vt IS that may be taken for a constant current."""

    __slots__ = ("beside", "leak_mv_ma", "outward", "seen", "told")

    def __init__(
        self, beside: Sequence[Sequence[Edge]], outward: bool, told: dict[str, PartState], leak_mv_ma: float
    ) -> None:
        self.beside = beside
        self.outward = outward
        self.told = told
        self.leak_mv_ma = leak_mv_ma
        self.seen: list[int] = []

    def node(self, node: int, came_by: str) -> _Folded | None:
        """One node and all that lies behind it; None where it is no ladder."""
        seen = self.seen
        seen.append(node)
        siemens = leak = tail = 0.0
        stages: tuple[Stage, ...] = ()
        conducts: Law | None = None
        for name, other, ohm, law, anode in self.beside[node]:
            if name == came_by:
                continue
            if self.told and name in self.told:
                one = self.told[name]
                if one.state == "open":
                    continue
                ohm = ohm_of(one)
                if law is not None and one.state == "value":
                    if other >= 0:
                        return None  # a leaky diode to a node is two ways to it
                    siemens += 1 / ohm
                else:
                    law = None
            elif ohm is None and law is None:
                continue  # a healthy capacitor
            if other < 0:
                if law is None:
                    siemens += 1 / (ohm or 1)
                    continue
                g, back, onward, inner, end = 0.0, 0.0, (), None, 0.0
            elif other in seen:
                return None  # a loop
            else:
                folded = self.node(other, name)
                if folded is None:
                    return None
                g, back, onward, inner, end = folded
            if law is None:
                ohm = ohm or 0.0
                if inner is None:
                    shared = 1 + ohm * g
                    siemens += g / shared
                    leak += back / shared
                    continue
                way = ((ohm, g, back), *onward)
            elif anode is self.outward:
                if inner is not None or back:
                    return None  # two junctions in a row
                if other >= 0 and g <= 0:
                    continue  # it leads to nothing
                way, inner, end = (), law, 1 / g if other >= 0 else 0.0
            else:
                if law.saturation_ma * law.nvt_mv > self.leak_mv_ma:
                    return None
                if other < 0 or g > 0 or inner is not None:
                    leak += law.saturation_ma
                elif back:
                    return None  # two in reverse, one behind the other
                continue
            if conducts is not None:
                return None  # two junctions conduct
            stages, conducts, tail = way, inner, end
        return siemens, leak, stages, conducts, tail


def drop_on(ladder: Ladder, current_ma: float, source_s: float, leak_s: float = 0.0) -> float | None:
    """What the contact reads, mV, fed by `current_ma` beside a conductance `source_s`; None where nothing conducts.

    `leak_s`: one more conductance to ground at the contact.
    """
    stages, law, tail = ladder
    siemens = source_s + stages[0][1] + leak_s
    current = current_ma - stages[0][2]
    for ohm, shunt, leak in stages[1:]:
        shared = 1 + ohm * siemens
        siemens = siemens / shared + shunt
        current = current / shared - leak
    if law is None:
        # the first stage is the only one: pure resistors are folded into it
        return current / siemens if siemens > GMIN_S else None
    saturation, nvt, series = law
    series += tail
    if siemens > GMIN_S:
        whole = series + 1 / siemens
        x = math.log(saturation * whole / nvt) + (current / siemens + saturation * whole) / nvt
        through = nvt / whole * lambert_w_of_exp(x) - saturation
        # the junction's drop from the linear side where it takes nearly nothing, from its own law elsewhere
        volts = (current - through) / siemens
    elif current <= -saturation:
        return None
    else:
        through = current
        volts = nvt * math.log1p(through / saturation) + series * through
    for place in range(len(stages) - 1, 0, -1):
        ohm, shunt, leak = stages[place]
        through += volts * shunt + leak
        volts += ohm * through
    return volts


def current_on(ladder: Ladder, drop_mv: float) -> float:
    """The current the contact takes at a forced drop, mA."""
    stages, law, tail = ladder
    first = stages[0][1] * drop_mv + stages[0][2]
    if law is None:
        return first
    if len(stages) > 1:
        ohm = stages[1][0]
        siemens, current = 1 / ohm + stages[1][1], drop_mv / ohm - stages[1][2]
        for inner_ohm, shunt, leak in stages[2:]:
            shared = 1 + inner_ohm * siemens
            siemens = siemens / shared + shunt
            current = current / shared - leak
        source_mv, source_ohm = current / siemens, 1 / siemens
    else:
        source_mv, source_ohm = drop_mv, 0.0
    saturation, nvt, series = law
    whole = source_ohm + series + tail
    if whole > 0:
        x = math.log(saturation * whole / nvt) + (source_mv + saturation * whole) / nvt
        through = nvt / whole * lambert_w_of_exp(x) - saturation
    else:
        through = saturation * math.expm1(source_mv / nvt)
    volts = source_mv - through * source_ohm
    for place in range(len(stages) - 1, 0, -1):
        through += volts * stages[place][1] + stages[place][2]
        volts += stages[place][0] * through
    return first + through
