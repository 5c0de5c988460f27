"""Classes of exposure: a line that met a voltage it should not, by how it met it, and what became of such lines.

The table's shares hold until a shop's closed jobs say better (`learning`); stories ask here and nowhere else.
"""

import math

from server.engine.constants.overstress import (
    HIT_28V,
    HIT_28V_1_KOHM,
    HIT_28V_100_OHM,
    HIT_LITTLE,
    LIVE_HURT,
    SLIP_RAIL_SHORTED,
    TILT_HURT,
    TILT_RAIL,
    TOOL_HURT,
)
from shared_models.sheet import Shop

EXPOSURES: dict[str, dict[str, float]] = {
    "hit_hard": HIT_28V,
    "hit_hard_softened": HIT_28V_100_OHM,
    "hit_hard_protected": HIT_28V_1_KOHM,
    "hit_little": HIT_LITTLE,
    "slip_rail_grounded": SLIP_RAIL_SHORTED,
    "plugged_live": LIVE_HURT,
    "tilted_live": TILT_HURT,
    "tilted_rail": TILT_RAIL,
    "tool_across": TOOL_HURT,
}
"""Each class with the table's share of lines found in each state afterwards."""

EXPOSURE_WORDS = {
    "hit_hard": "far above the limit, nothing in series",
    "hit_hard_softened": "far above the limit, through tens of ohms",
    "hit_hard_protected": "far above the limit, through hundreds of ohms",
    "hit_little": "a little above the limit",
    "slip_rail_grounded": "of rails that a slipped plug put on ground",
    "plugged_live": "of a chip that was plugged live",
    "tilted_live": "for signals at the end of a tilted plug",
    "tilted_rail": "of rails at the end of a tilted plug",
    "tool_across": "that a tool joined to a live one",
}


def exposed(name: str, shop: Shop | None) -> dict[str, float]:
    """The share of each state among lines of a class: the shop's own where it has learnt them, else the table's.

    What a shop's numbers do not say of a state of the table stays as the table has it; all are scaled to add up to one.
    """
    table = EXPOSURES[name]
    own = next((one.odds for one in (shop.exposures if shop is not None else ()) if one.exposure == name), None)
    if own is None:
        return table
    mixed = {state: own.get(state, share) for state, share in table.items()}
    total = math.fsum(mixed.values())
    return {state: share / total for state, share in mixed.items()} if total > 0 else table

