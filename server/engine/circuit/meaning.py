"""What a reading lower than healthy means in ohms: where a leak would have to be, how large, and what would not show.

A leak is tried at each node of the line, from the contact inward: the resistance to ground there that makes the
circuit read what was read. Its interval comes from everything the number rests on (current, zero and gain of the
meter, the hand, the tolerance of each part passed, the healthy spread), each turned into millivolts at the answer
and taken together; then the leak is sought again for the reading that much lower and higher, so the interval is
right for a short as for a leak of kilohms. Ohm's and Kirchhoff's laws; JCGM 100:2008, 5.1 for the spread.
"""

import math
from typing import NamedTuple

from server.engine.circuit.anchored import LeakScale, shifted
from server.engine.circuit.nodal import NO_NODE
from server.engine.circuit.parts import GROUND, DiodeTest, Part, PartState
from server.engine.circuit.readings import Prepared, read
from server.engine.constants.circuit import (
    IN_LINE,
    LEAK_SEARCH_STOP,
    LEAST_OHM,
    LEAST_SHARE_LEFT,
    MOST_OHM,
    SHORT_BELOW_OHM,
    SHORT_WITHIN_OHM,
    SLOPE_SHARE,
    TWO_SIDED_95,
    VISIBLE_DEVIATIONS,
    ZERO_SD_MV,
)
from server.engine.constants.readings import GAIN_SD, LEAD_NOISE_OHM, NOISE_MV
from server.engine.constants.sessions import CURRENT_SD_KNOWN, SERIES_PART_SD
from server.engine.errors import SheetError
from shared_models.reading import LeadOnGround

LEAK = "leak"
"""The name of the resistance that is tried at a node; no part of a board may have it here."""


class Doubts(NamedTuple):
    """How well everything is known that a reading rests on; one standard deviation each.

    `current` and `gain` as shares, `noise_mv` the hand and the last digit, `zero_mv` the meter's zero, `touch_ohm`
    probe and contact, `healthy_mv` the healthy reading's own spread, `ideality` the share of n Vt of what conducts
    behind, `part` the share of a part's value, `parts` the same of single parts by name.
    """

    current: float = CURRENT_SD_KNOWN
    gain: float = GAIN_SD
    noise_mv: float = NOISE_MV
    zero_mv: float = ZERO_SD_MV
    touch_ohm: float = LEAD_NOISE_OHM
    healthy_mv: float = 0.0
    ideality: float = 0.0
    part: float = SERIES_PART_SD
    parts: tuple[tuple[str, float], ...] = ()


class LeakAt(NamedTuple):
    """A leak to ground at one node that would explain the reading.

    `after`: the parts in line between the probe and here. `beside`: the parts that lead off the line here and may
    be the leak. `ohm` None: nothing is left to explain. `low_ohm` to `high_ohm` is a 95 % interval; `high_ohm` None:
    no upper limit, perhaps no leak at all; both None: surely none. `possible`: a leak here can make the reading at
    all. `short_like`: what is left is possible, may be a short, and is not much more in any case.
    """

    node: str
    after: tuple[str, ...]
    beside: tuple[str, ...]
    ohm: float | None
    low_ohm: float | None
    high_ohm: float | None
    possible: bool
    short_like: bool


class Meaning(NamedTuple):
    """A reading in ohms: the whole with its 95 % interval, and what is left at each place behind the parts passed.

    `ohm` is the drop over the current. `healthy_mv` None: a healthy one shows OL.
    """

    drop_mv: float
    current_ma: float
    ohm: float
    low_ohm: float
    high_ohm: float
    healthy_mv: float | None
    places: tuple[LeakAt, ...]


class _Line(NamedTuple):
    """A node of the line, the parts in line before it, and the circuit with a leak to be tried there.

    `behind`: the circuit from here inward, where nothing that conducts leads off before; then the leak follows at once.
    """

    node: str
    after: tuple[Part, ...]
    ready: Prepared
    behind: Prepared | None


def what_it_means(
    ready: Prepared, meter: DiodeTest, lead: LeadOnGround, drop_mv: float, doubts: Doubts | None = None
) -> Meaning:
    """What a reading says in ohms, place by place. Raises SheetError for a reading that is no number."""
    doubts = doubts or Doubts()
    if not math.isfinite(drop_mv):
        raise SheetError(
            "no_such_reading", "only a number of millivolts can be turned into ohms", where="$.drop_mv",
            given=f"{drop_mv}", expected="a drop in mV; OL is no resistance", example="45",
        )  # fmt: skip
    through_ma = meter.current_ma - (0.0 if meter.source_ohm is None else drop_mv / meter.source_ohm)
    if through_ma <= 0:
        raise SheetError(
            "above_the_meter", "this meter cannot show so much", where="$.drop_mv", given=f"{drop_mv:g} mV",
            expected=f"less than {meter.over_mv:g} mV", example="45",
        )  # fmt: skip
    ohm = drop_mv / through_ma
    own_mv = math.hypot(_meters_own(drop_mv, meter, doubts), ohm * meter.current_ma * doubts.current)
    half = TWO_SIDED_95 * own_mv / through_ma
    places = tuple(_leak_at(line, meter, lead, drop_mv, doubts) for line in _lines(ready))
    healthy = read(ready, meter, lead).drop_mv
    return Meaning(drop_mv, through_ma, ohm, max(0.0, ohm - half), max(0.0, ohm + half), healthy, places)


def largest_visible_leak(
    ready: Prepared, meter: DiodeTest, lead: LeadOnGround, predictive_sd_mv: float
) -> float | None:
    """The largest leak at the contact that this meter would show, in ohms: its shift is three predictive deviations.

    None where none would show. Raises SheetError for a deviation that is none.
    """
    if not (math.isfinite(predictive_sd_mv) and predictive_sd_mv > 0):
        raise SheetError(
            "no_such_deviation", "a predictive deviation is above zero", where="$.predictive_sd_mv",
            given=f"{predictive_sd_mv}", expected="mV, more than 0", example="4",
        )  # fmt: skip
    line = _lines(ready)[0]
    healthy = read(ready, meter, lead).drop_mv
    target = (meter.over_mv if healthy is None else healthy) - VISIBLE_DEVIATIONS * predictive_sd_mv
    return _leak_for(line, meter, lead, target) or None


def _lines(ready: Prepared) -> list[_Line]:
    """The nodes of the line from the board's side of the contact inward, through parts that lie in line."""
    circuit = ready.circuit
    found: list[tuple[str, tuple[Part, ...]]] = [(circuit.contact, ())]
    for node, after in found:
        for part in circuit.parts:
            if part.kind in IN_LINE and node in (part.near, part.far):
                other = part.far if part.near == node else part.near
                if other != GROUND and all(other != seen for seen, _ in found):
                    found.append((other, (*after, part)))
    if len(found) > 1 and found[1][1][0].kind == "contact":
        del found[0]  # a leak is on the board, not in the probe's own touch
    return [
        _Line(
            node,
            after,
            _with_leak(ready, node),
            _behind(ready, node, after),
        )
        for node, after in found
    ]


def _with_leak(ready: Prepared, node: str) -> Prepared:
    """The same circuit, its laws as they are in `ready`, with a place for a leak from a node to ground."""
    index = ready.nodes.index(node)
    beside = [
        (*edges, (LEAK, NO_NODE, None, None, True)) if place == index else edges
        for place, edges in enumerate(ready.beside)
    ]
    return ready._replace(
        circuit=ready.circuit._replace(parts=(*ready.circuit.parts, Part(LEAK, "capacitor", node, GROUND))),
        parts=(*ready.parts, (LEAK, index, NO_NODE, None, None, 0.0)),
        beside=tuple(beside),
    )


def _behind(ready: Prepared, node: str, after: tuple[Part, ...]) -> Prepared | None:
    """The circuit from a node inward, the laws as they are in `ready`; None where a branch before it conducts too."""
    names = [part.name for part in after]
    passed = [end for part in after for end in (part.near, part.far) if end != node]
    for part in ready.circuit.parts:
        if part.name not in names and part.kind != "capacitor" and (part.near in passed or part.far in passed):
            return None
    index = ready.nodes.index(node)
    return ready._replace(
        circuit=ready.circuit._replace(contact=node),
        contact=index,
        parts=tuple(part for part in ready.parts if part[0] not in names),
        beside=tuple(tuple(edge for edge in edges if edge[0] not in names) for edges in ready.beside),
    )


def _shown(line: _Line, meter: DiodeTest, lead: LeadOnGround, ohm: float, others: tuple[PartState, ...] = ()) -> float:
    """The reading with that leak; OL counts as the meter's limit."""
    drop = read(line.ready, meter, lead, (PartState(LEAK, "value", ohm), *others)).drop_mv
    return meter.over_mv if drop is None else drop


def _leak_for(line: _Line, meter: DiodeTest, lead: LeadOnGround, target_mv: float) -> float | None:
    """The leak that reads `target_mv`; 0 where a short reads more, None where none is. Where branches before it share
    the current, by halving its logarithm.
    """
    if line.behind is not None:
        if target_mv >= meter.over_mv:
            return None
        source_ma = meter.current_ma - (0.0 if meter.source_ohm is None else target_mv / meter.source_ohm)
        there_mv = target_mv - math.fsum([part.ohm or 0.0 for part in line.after]) * source_ma
        if there_mv <= LEAST_OHM * source_ma:
            return 0.0
        return LeakScale(line.behind, meter._replace(current_ma=source_ma, source_ohm=None), lead).ohm_at(there_mv)
    low, high = math.log(LEAST_OHM), math.log(MOST_OHM)
    below, above = _shown(line, meter, lead, LEAST_OHM) - target_mv, _shown(line, meter, lead, MOST_OHM) - target_mv
    if below >= 0:
        return 0.0
    if above <= 0:
        return None
    while high - low > LEAK_SEARCH_STOP:
        middle = 0.5 * (low + high)
        error = _shown(line, meter, lead, math.exp(middle)) - target_mv
        if abs(error) < LEAK_SEARCH_STOP:
            return math.exp(middle)
        low, high = (middle, high) if error < 0 else (low, middle)
    return math.exp(0.5 * (low + high))


def _leak_at(line: _Line, meter: DiodeTest, lead: LeadOnGround, drop_mv: float, doubts: Doubts) -> LeakAt:
    ohm = _leak_for(line, meter, lead, drop_mv)
    half = TWO_SIDED_95 * _sd_mv(line, meter, lead, drop_mv, MOST_OHM if ohm is None else ohm, doubts)
    low, high = (_leak_for(line, meter, lead, drop_mv + step) for step in (-half, half))
    possible = drop_mv + half >= _shown(line, meter, lead, LEAST_OHM)
    small = low is not None and high is not None and low < SHORT_BELOW_OHM and high < SHORT_WITHIN_OHM
    names = [part.name for part in line.after]
    beside = tuple(
        part.name
        for part in line.ready.circuit.parts
        if part.kind not in IN_LINE and part.name not in (*names, LEAK) and line.node in (part.near, part.far)
    )
    return LeakAt(line.node, tuple(names), beside, ohm, low, high, possible, possible and small)


def _meters_own(drop_mv: float, meter: DiodeTest, doubts: Doubts) -> float:
    """The deviation that the reading itself has, mV: hand, zero, gain, touch."""
    terms = (doubts.noise_mv, doubts.zero_mv, doubts.gain * drop_mv, doubts.touch_ohm * meter.current_ma)
    return math.sqrt(math.fsum([term * term for term in terms]))


def _sd_mv(line: _Line, meter: DiodeTest, lead: LeadOnGround, drop_mv: float, ohm: float, doubts: Doubts) -> float:
    """The deviation of what the circuit with this leak reads, and of the reading, together, mV."""
    here = _shown(line, meter, lead, ohm)
    junction = _junction_share(line, meter, lead, ohm, here)
    up = meter._replace(current_ma=meter.current_ma * (1 + SLOPE_SHARE))
    terms = [
        _meters_own(drop_mv, meter, doubts),
        (_shown(line, up, lead, ohm) - here) / SLOPE_SHARE * doubts.current,
        junction * doubts.healthy_mv,
        junction * _by_ideality(line, meter, ohm, here) * doubts.ideality,
    ]
    known = dict(doubts.parts)
    for part in line.after:
        if part.kind != "contact" and part.ohm:
            state = PartState(part.name, "value", part.ohm * (1 + SLOPE_SHARE))
            moved = _shown(line, meter, lead, ohm, (state,)) - here
            terms.append(moved / SLOPE_SHARE * known.get(part.name, doubts.part))
    return math.sqrt(math.fsum([term * term for term in terms]))


def _junction_share(line: _Line, meter: DiodeTest, lead: LeadOnGround, ohm: float, here_mv: float) -> float:
    """How much of a shift of the healthy reading is left in the reading with this leak."""
    higher = line._replace(ready=shifted(line.ready, SLOPE_SHARE))
    healthy = _shown(higher, meter, lead, MOST_OHM) - _shown(line, meter, lead, MOST_OHM)
    return 0.0 if healthy <= 0 else (_shown(higher, meter, lead, ohm) - here_mv) / healthy


def _by_ideality(line: _Line, meter: DiodeTest, ohm: float, here_mv: float) -> float:
    """By how much the junctions behind drop less than healthy for the current the leak takes off them, mV.

    As n Vt ln of the share left to them, it goes with n: a share of n wrong is that share of this.
    """
    nvt_mv = max([law.nvt_mv for *_, law, _ in line.ready.parts if law is not None], default=0.0)
    passed = math.fsum([part.ohm or 0.0 for part in line.after]) * meter.current_ma
    there_mv = here_mv - passed
    left = 1 - there_mv / (max(ohm, LEAST_OHM) * meter.current_ma)
    return nvt_mv * abs(math.log(min(1.0, max(left, LEAST_SHARE_LEFT))))
