"""What a touch costs and what it answers: the one table of touches, a part of the one table of numbers.

Seconds are locating, touching and settling; risk is the chance of making something worse. The bench's own figures:
common practice, no source, but for the rows marked so.
"""

from typing import NamedTuple

from server.engine.constants.table import TABLE, Entry, num


class TouchCost(NamedTuple):
    """One kind of touch: seconds, risk, what it answers, and when it may be proposed.

    `needs_power`: the board is powered for it. `changes_board`: a part comes off, or heat goes in: the last resort.
    """

    seconds: float
    risk: float
    answers: str
    needs_power: bool = False
    changes_board: bool = False


TOUCHES: dict[str, TouchCost] = {
    "next_along": TouchCost(4, 0.0002, "the contact, from the one beside it"),
    "next_along_fine": TouchCost(6, 0.0002, "the same at a pitch below 0.45 mm"),
    "jump": TouchCost(10, 0.0002, "a contact found by counting"),
    "retouch": TouchCost(2, 0.0, "whether the touch failed"),
    "rail_wait": TouchCost(2, 0.0, "more, for a rail that climbs"),
    "other_polarity": TouchCost(8, 0.0002, "the upper clamp; resistor or junction"),
    "second_current": TouchCost(25, 0.0002, "a leak, with the board's own spread cancelled; seconds assumed"),
    "between": TouchCost(8, 0.0005, "a bridge, two probes, clip off"),
    "tail": TouchCost(6, 0.0005, "the spring or what is behind it"),
    "part_end": TouchCost(8, 0.001, "before or behind the part"),
    "across_part": TouchCost(10, 0.001, "a fuse or ferrite open"),
    "rail_ohms": TouchCost(20, 0.0002, "a rail's own short, leads nulled first"),
    "rail_to_rail": TouchCost(20, 0.0002, "which rails are joined, before anything is injected"),
    "plug_ohms": TouchCost(26, 0.001, "a sick module, unplugged"),
    "reseat": TouchCost(60, 0.005, "the seat; only with rails proved"),
    "known_good_module": TouchCost(600, 0.01, "the module or its cable; only with rails proved"),
    "torch": TouchCost(120, 0.01, "picture there, light not", needs_power=True),
    "draw": TouchCost(120, 0.01, "what the supply gives at the first power", needs_power=True),
    "volts_test_point": TouchCost(20, 0.003, "whether a rail is made, at a place with no hot neighbour", True),
    "clean_and_read": TouchCost(600, 0.002, "dirt or damp, brushed, dried and read again"),
    "known_resistor": TouchCost(15, 0.0, "the meter's current; seconds assumed"),
    "volts_check": TouchCost(20, 0.001, "voltage left, at a store; risk assumed"),
    "heat": TouchCost(240, 0.02, "where a short gets warm", needs_power=True),
    "millivolts": TouchCost(240, 0.02, "towards which end of a rail a short lies", needs_power=True),
    "lift_part": TouchCost(180, 0.015, "whether a small part is the fault", changes_board=True),
}
TABLE.append(Entry("TOUCHES", TOUCHES, "s, 1", "PRACTICE", "locate + touch + settle, and risk, from the bench"))
TURN_OVER_S = num(
    "TURN_OVER_S", 15, "s", "ASSUMED", "the board turned over under the microscope, the place found again from there"
)
