"""The world's stories of a socket, each with its share, and what each does to which contacts.

`merged` names the class a story is scored as: stories that readings at the springs alone cannot tell apart, by
their tables, are one class. A story on one contact is that line; one that moves nothing is `healthy`.
Which line meets which voltage when a plug sits off is the engine's own map: geometry and arithmetic, tested
elsewhere; the damage is the world's.
"""

import random
from dataclasses import dataclass, field
from functools import cache

from server.engine.door import overstress_map
from tests.support.bench import tables as t
from tests.support.bench.faults import Condition, draw_state, log_uniform, spoil
from tests.support.bench.sockets import SocketPlan, plans

States = dict[str, float]


@dataclass(frozen=True)
class Told:
    """One story of the world: shares of states by contact; `bridge` joins two; `chip` is of another maker."""

    kind: str
    merged: str
    share: float
    states: dict[int, States] = field(default_factory=dict)
    bridge: tuple[int, int] | None = None
    chip: str = ""


@cache
def stories(plan_name: str) -> tuple[Told, ...]:
    """All stories of a socket; shares add up to one."""
    plan = next(one for one in plans() if one.name == plan_name)
    told = [
        Told("healthy", "healthy", t.STORY_SHARES["healthy"]),
        Told("wrong_end", "counted", t.STORY_SHARES["wrong_end"]),
    ]
    for family in (_singles, _torn, _bridges, _slips, _tilts, _chips, _rails, _wet, _revisions):
        told += family(plan)
    whole = sum(one.share for one in told)
    return tuple(Told(one.kind, one.merged, one.share / whole, one.states, one.bridge, one.chip) for one in told)


def draw(rng: random.Random, plan: SocketPlan) -> Told:
    known = stories(plan.name)
    return rng.choices(known, [one.share for one in known])[0]


def damage(rng: random.Random, plan: SocketPlan, story: Told) -> Condition:
    """What the story did to this board, and now and then an unrelated odd contact."""
    condition = Condition()
    for contact in sorted(story.states):
        spoil(condition, plan, contact, draw_state(rng, story.states[contact]))
    if story.bridge is not None:
        condition.bridges.append((*story.bridge, log_uniform(rng, t.BRIDGE_OHM)))
    for contact, line in enumerate(plan.lines):
        if line.conducts and not line.is_rail and rng.random() < t.UNRELATED and contact not in condition.faults:
            spoil(condition, plan, contact, draw_state(rng, t.UNRELATED_SHARES))
    return condition


def line_class(plan: SocketPlan, contact: int) -> str:
    line = plan.lines[contact]
    return f"rail {line.net}" if line.is_rail else f"line {line.number}"


def bridge_class(plan: SocketPlan, a: int, b: int) -> str:
    """A bridge to ground is a short of the other."""
    for one, other in ((a, b), (b, a)):
        if plan.lines[one].role == "ground":
            return line_class(plan, other)
    return f"bridge {'-'.join(sorted((plan.lines[a].number, plan.lines[b].number)))}"


def wet_class(plan: SocketPlan, contacts: list[int]) -> str:
    if len(contacts) == 1:
        return line_class(plan, contacts[0])
    return f"wet {','.join(sorted(plan.lines[one].number for one in contacts))}"


def chip_class(plan: SocketPlan, chip: str, contacts: list[int]) -> str:
    return line_class(plan, contacts[0]) if len(contacts) == 1 else f"chip {chip}"


def signals(plan: SocketPlan) -> list[int]:
    return [i for i, line in enumerate(plan.lines) if line.conducts and not line.is_rail]


def _each(kind: str, told: list[Told]) -> list[Told]:
    """The family's share spread by the members' own weights."""
    whole = sum(one.share for one in told)
    share = t.STORY_SHARES[kind]
    return [Told(one.kind, one.merged, share * one.share / whole, one.states, one.bridge, one.chip) for one in told]


def _singles(plan: SocketPlan) -> list[Told]:
    return _each("single", [Told("single", line_class(plan, i), 1.0, {i: t.SINGLE_STATES}) for i in signals(plan)])


def _torn(plan: SocketPlan) -> list[Told]:
    conducting = [i for i, line in enumerate(plan.lines) if line.conducts]
    told = []
    for i in conducting:
        told.append(Told("torn", f"line {plan.lines[i].number}", 1.0, {i: t.TORN_STATES}))
    return _each("torn", told)


def _bridges(plan: SocketPlan) -> list[Told]:
    told = []
    for a, b in plan.along:
        one, other = plan.lines[a], plan.lines[b]
        if one.net != other.net and (one.conducts or other.conducts):
            told.append(Told("bridge", bridge_class(plan, a, b), 1.0, bridge=(a, b)))
    return _each("bridge", told)


def _slips(plan: SocketPlan) -> list[Told]:
    if plan.board.sockets[0].kind in ("usb_c", "hdmi"):
        return []  # such a plug cannot sit a place off
    number = {line.number: i for i, line in enumerate(plan.lines)}
    told = []
    for slip, weight in t.SLIPS.items():
        states: dict[int, States] = {}
        for line in overstress_map(plan.board, "J1", slip):
            contact = number[line.contact]
            if line.meets == "module" or not plan.lines[contact].conducts:
                continue
            if line.shorted_to_ground:
                leader = next(i for i, one in enumerate(plan.lines) if one.net == plan.lines[contact].net)
                states[leader] = t.SLIP_RAIL_STATES
            elif line.over_limit_mv is not None and line.over_limit_mv > 0 and not plan.lines[contact].is_rail:
                hard = line.over_limit_mv > t.SLIP_HURTS_FROM_MV
                states.setdefault(contact, t.SLIP_STATES if hard else t.SLIP_SOFT_STATES)
        told.append(Told("slip", f"slip {slip:+d}" if states else "healthy", weight, states))
    return _each("slip", told)


def _tilts(plan: SocketPlan) -> list[Told]:
    if plan.board.sockets[0].kind in ("usb_c", "hdmi"):
        return []
    told = []
    for end in ("start", "end"):
        touched = [i for row in plan.rows for i in (row[: t.TILT_PLACES] if end == "start" else row[-t.TILT_PLACES :])]
        states = {i: t.TILT_STATES for i in touched if plan.lines[i].conducts and not plan.lines[i].is_rail}
        if states:
            told.append(Told("tilt", f"tilt {end}", 1.0, states))
    return _each("tilt", told) if told else []


def _chips(plan: SocketPlan) -> list[Told]:
    told = []
    for chip in sorted({plan.lines[i].chip for i in signals(plan)}):
        members = [i for i in signals(plan) if plan.lines[i].chip == chip]
        told.append(Told("chip", chip_class(plan, chip, members), 1.0, dict.fromkeys(members, t.CHIP_STATES)))
    return _each("chip", told)


def _rails(plan: SocketPlan) -> list[Told]:
    leaders = {line.net: i for i, line in reversed(list(enumerate(plan.lines))) if line.is_rail}
    return _each("rail", [Told("rail", f"rail {net}", 1.0, {i: t.RAIL_STATES}) for net, i in sorted(leaders.items())])


def _wet(plan: SocketPlan) -> list[Told]:
    told = []
    longest = max(len(row) for row in plan.rows)
    for start in range(longest - t.WET_PLACES + 1):
        patch = [i for row in plan.rows for i in row[start : start + t.WET_PLACES]]
        wet = [i for i in patch if plan.lines[i].role != "ground" and not plan.lines[i].is_rail]
        if wet:
            told.append(Told("wet", wet_class(plan, wet), 1.0, dict.fromkeys(wet, t.WET_STATES)))
    return _each("wet", told)


def _revisions(plan: SocketPlan) -> list[Told]:
    chips = sorted({plan.lines[i].chip for i in signals(plan)})
    big = [chip for chip in chips if sum(plan.lines[i].chip == chip for i in signals(plan)) > 2]
    return _each("revision", [Told("revision", f"revision {chip}", 1.0, chip=chip) for chip in big]) if big else []
