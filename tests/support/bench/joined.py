"""What an ohms mode reads from contact to contact on the board of a job."""

import heapq

from tests.support.bench.faults import Condition
from tests.support.bench.sockets import SocketPlan


def joined_ohm(condition: Condition, plan: SocketPlan, a: int, b: int) -> float | None:
    """What an ohms mode reads from contact to contact, None where nothing joins them: along bridges, and by way of
    ground along shorts and leaks, the way of least resistance alone. Junctions do not conduct at its few tenths of a
    volt (common practice, no source)."""

    def node(contact: int) -> str:
        line = plan.lines[contact]
        return "ground" if line.role == "ground" else f"net {line.net}" if line.is_rail else f"line {contact}"

    ways: dict[str, list[tuple[str, float]]] = {}
    joins = [(node(one), node(other), ohm) for one, other, ohm in condition.bridges]
    joins += [
        (node(contact), "ground", fault.size)
        for contact, fault in condition.faults.items()
        if fault.what in ("short", "leak")
    ]
    for one, other, ohm in joins:
        ways.setdefault(one, []).append((other, ohm))
        ways.setdefault(other, []).append((one, ohm))
    told: dict[str, float] = {}
    open_ends = [(0.0, node(a))]
    while open_ends:
        ohm, here = heapq.heappop(open_ends)
        if here in told:
            continue
        told[here] = ohm
        for there, more in ways.get(here, []):
            heapq.heappush(open_ends, (ohm + more, there))
    return told.get(node(b))
