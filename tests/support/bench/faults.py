"""What is wrong with a board: a state for every contact that has one, and contacts that are joined.

`contact_faults` spoils contacts independently, for the contacts' scores; stories are in `story_world`.
"""

import math
import random
from dataclasses import dataclass, field

from tests.support.bench import tables as t
from tests.support.bench.sockets import SocketPlan


@dataclass(frozen=True)
class Fault:
    """`what` is short, leak, raised or open; `size` ohms, or for raised the mV it adds at the job's current."""

    what: str
    size: float = 0.0


@dataclass
class Condition:
    """Faults by contact, and bridges: contact, contact, ohms."""

    faults: dict[int, Fault] = field(default_factory=dict)
    bridges: list[tuple[int, int, float]] = field(default_factory=list)

    def wrong(self, plan: SocketPlan) -> set[int]:
        """Contacts that are not healthy; a bridge between two of one net is no fault."""
        odd = set(self.faults)
        for a, b, _ in self.bridges:
            if plan.lines[a].net != plan.lines[b].net:
                odd |= {*members(plan, a), *members(plan, b)}
        return odd


def members(plan: SocketPlan, contact: int) -> list[int]:
    """The contacts of its rail, which are one net; a signal is alone."""
    line = plan.lines[contact]
    return [i for i, one in enumerate(plan.lines) if one.net == line.net] if line.is_rail else [contact]


def log_uniform(rng: random.Random, limits: tuple[float, float]) -> float:
    return math.exp(rng.uniform(math.log(limits[0]), math.log(limits[1])))


def draw_state(rng: random.Random, shares: dict[str, float]) -> Fault | None:
    """A state by its shares; None is healthy."""
    what = rng.choices(list(shares), list(shares.values()))[0]
    if what == "healthy":
        return None
    limits = {"short": t.SHORT_OHM, "leak": t.LEAK_OHM, "raised": t.RAISED_MV}.get(what)
    return Fault(what, log_uniform(rng, limits) if limits else 0.0)


def spoil(condition: Condition, plan: SocketPlan, contact: int, fault: Fault | None) -> None:
    """A rail is one net: what it has, all its contacts have, but an open is one contact's own."""
    if fault is None:
        return
    for member in [contact] if fault.what == "open" else members(plan, contact):
        condition.faults.setdefault(member, fault)


def contact_faults(rng: random.Random, plan: SocketPlan) -> Condition:
    """Each contact that conducts is faulty with the same chance; of rails single contacts are open."""
    condition = Condition()
    for contact, line in enumerate(plan.lines):
        if line.conducts and rng.random() < t.FAULTY:
            shares = {"open": 1.0} if line.is_rail else t.FAULT_SHARES
            spoil(condition, plan, contact, draw_state(rng, shares))
    return condition


def crowd_of_low(rng: random.Random, plan: SocketPlan) -> Condition:
    """Most signals leaky."""
    condition = Condition()
    for contact, line in enumerate(plan.lines):
        if line.conducts and not line.is_rail and rng.random() < t.CROWD_LOW:
            condition.faults[contact] = Fault("leak", log_uniform(rng, t.CROWD_DEPTH_OHM))
    return condition
