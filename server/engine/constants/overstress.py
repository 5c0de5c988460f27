"""Numbers of what a voltage does where it does not belong: a part of the one table (see the package's words)."""

from server.engine.constants.table import TABLE, Entry
from server.engine.constants.table import mapping as _map
from server.engine.constants.table import num as _num

# ---- overstress -----------------------------------------------------------------------------------
SLIPS = (-1, 1, -2, 2, -3, 3)
TABLE.append(Entry("SLIPS", SLIPS, "places", "PRACTICE", "a plug sits up to three places off, either way"))
SLIP_SHARE = _map("SLIP_SHARE", {"1": 0.36, "2": 0.09, "3": 0.05}, "1", "ASSUMED", "one place off is the usual one")
SLIP_BY_SOCKET = _map(
    "SLIP_BY_SOCKET",
    {
        "mezzanine": 0.1,
        "zif": 1.5,
        "micro_coax": 0.3,
        "open_header": 5.0,
        "card_edge": 0.5,
        "usb_c": 0.0,
        "hdmi": 0.0,
        "other": 0.5,
    },
    "1",
    "PRACTICE",
    "how likely a plug sits off its place, by socket kind",
)
HIT_28V = _map(
    "HIT_28V",
    {"short": 0.6, "low": 0.3, "expected": 0.1},
    "1",
    "PRACTICE",
    "a 1.8 V input fed 28 V without a series part",
)
HIT_28V_100_OHM = _map(
    "HIT_28V_100_OHM", {"short": 0.35, "low": 0.35, "expected": 0.3}, "1", "PRACTICE", "the same through 100 ohm"
)
HIT_28V_1_KOHM = _map(
    "HIT_28V_1_KOHM", {"short": 0.03, "low": 0.1, "expected": 0.87}, "1", "PRACTICE", "the same through 1 kohm"
)
HIT_LITTLE = _map(
    "HIT_LITTLE", {"short": 0.03, "low": 0.1, "expected": 0.87}, "1", "PRACTICE", "3.3 V onto a 1.8 V input"
)
HIT_HARD_MV = _num("HIT_HARD_MV", 5000.0, "mV over the limit", "ASSUMED", "where a hit is hard")
HIT_OHM_MIDDLE = _num("HIT_OHM_MIDDLE", 60.0, "ohm", "ASSUMED", "series resistance from which a hit is softened")
HIT_OHM_HIGH = _num("HIT_OHM_HIGH", 400.0, "ohm", "ASSUMED", "series resistance from which it mostly protects")
NEIGHBOUR_LOW = _num("NEIGHBOUR_LOW", 0.3, "1", "ASSUMED", "another line of a chip that was hit reads low")
SLIP_RAIL_SHORTED = _map(
    "SLIP_RAIL_SHORTED",
    {"short": 0.04, "high": 0.12, "expected": 0.84},
    "1",
    "PRACTICE",
    "a rail that met ground: its switch or fuse may be gone",
)
CHIP_HURT = _map(
    "CHIP_HURT",
    {"short": 0.08, "low": 0.42, "expected": 0.45, "upper": 0.05},
    "1",
    "ASSUMED",
    "each line of a chip that is hurt; `upper`: on its way to the rail alone",
)
LIVE_HURT = _map(
    "LIVE_HURT",
    {"short": 0.05, "low": 0.3, "expected": 0.6, "upper": 0.05},
    "1",
    "ASSUMED",
    "each line of the chip that was hurt when a plug went in live",
)
LED_PLUS_HURT = _map(
    "LED_PLUS_HURT",
    {"low": 0.45, "high": 0.2, "expected": 0.35},
    "1",
    "PRACTICE",
    "LED+ of a damaged driver: leaky, or high",
)
LEAKS = _map(
    "LEAKS",
    {"low": 0.95, "upper": 0.05},
    "1",
    "ASSUMED",
    "dirt or a tired clamp at one contact; `upper`: on its way to the rail alone, seen with black on ground",
)
TORN = _map("TORN", {"open": 0.92, "high": 0.08}, "1", "PRACTICE", "a bent, dirty or torn contact at its spring")
SIGNAL_OPEN = _map("SIGNAL_OPEN", {"open": 0.9, "high": 0.1}, "1", "PRACTICE", "a signal whose series part is gone")
SIGNAL_CUT = _map(
    "SIGNAL_CUT",
    {"lost": 0.9, "high": 0.1},
    "1",
    "ASSUMED",
    "the same where something that conducts leads off before the part: that is still read, a little higher",
)
FEED_OPEN = _map(
    "FEED_OPEN", {"lost": 0.92, "open": 0.08}, "1", "PRACTICE", "a rail whose fuse or ferrite is open: high, no climb"
)
RAIL_SHORT = _map("RAIL_SHORT", {"short": 0.85, "low": 0.15}, "1", "PRACTICE", "a rail shorted to ground")
OUTCOME_OF = {
    "expected": (0.985, 0.0, 0.006, 0.006, 0.003),
    "short": (0.002, 0.99, 0.005, 0.0, 0.003),
    "low": (0.17, 0.03, 0.787, 0.01, 0.003),
    "open": (0.003, 0.0, 0.001, 0.001, 0.995),
    "high": (0.05, 0.0, 0.0, 0.75, 0.2),
    "lost": (0.1, 0.0, 0.0, 0.82, 0.08),
    "shifted": (0.25, 0.0, 0.37, 0.36, 0.02),
    "other_lead": (0.05, 0.0, 0.05, 0.6, 0.3),
    "residual": (0.15, 0.03, 0.7, 0.1, 0.02),
}
TABLE.append(
    Entry(
        "OUTCOME_OF",
        OUTCOME_OF,
        "1",
        "ASSUMED",
        "what a touch will show (in band, near zero, low, high, OL) for each state; used only to choose the next touch",
    )
)
TILT_BY_SOCKET = _map(
    "TILT_BY_SOCKET",
    {
        "mezzanine": 1.0,
        "zif": 0.3,
        "micro_coax": 0.7,
        "open_header": 1.0,
        "card_edge": 0.5,
        "usb_c": 0.0,
        "hdmi": 0.0,
        "other": 0.5,
    },
    "1",
    "ASSUMED",
    "how likely a plug is dragged or tilted in, by socket kind",
)
FLIP_BY_SOCKET = _map(
    "FLIP_BY_SOCKET", {"zif": 3.0}, "1", "PRACTICE", "a cable goes in the other way round in a ZIF only"
)
TILT_PLACES = (2, 4)
TABLE.append(
    Entry("TILT_PLACES", TILT_PLACES, "places", "PRACTICE", "a tilted plug hurts a run of 2 to 8 contacts from one end")
)
TILT_HURT = _map(
    "TILT_HURT",
    {"short": 0.25, "low": 0.4, "expected": 0.35},
    "1",
    "PRACTICE",
    "each signal at the end that touched first, live",
)
TILT_RAIL = _map(
    "TILT_RAIL", {"short": 0.3, "high": 0.2, "expected": 0.5}, "1", "ASSUMED", "a rail at the end that touched first"
)
TOOL_FROM_MV = _num("TOOL_FROM_MV", 4500.0, "mV", "ASSUMED", "a tool across a line of this much hurts its neighbour")
TOOL_HURT = _map(
    "TOOL_HURT",
    {"short": 0.5, "low": 0.25, "open": 0.15, "expected": 0.1},
    "1",
    "PRACTICE",
    "a neighbour that a tool joined to LED+ or a main feed: short, or its bond wire gone",
)
KNOCKED_OFF = _map(
    "KNOCKED_OFF",
    {"open": 0.5, "high": 0.25, "expected": 0.25},
    "1",
    "PRACTICE",
    "a signal whose small part was knocked off: series part OL, clamp 10 to 30 mV, ESD array hardly seen",
)
WET_LINE = _map("WET_LINE", {"low": 0.55, "expected": 0.45}, "1", "PRACTICE", "each line in a wet corner, unequal")
WET_PLACES = int(_num("WET_PLACES", 3, "places", "PRACTICE", "a wet corner spans about this many places, both rows"))
CRACKED_LINE = _map(
    "CRACKED_LINE", {"open": 0.2, "expected": 0.8}, "1", "PRACTICE", "each line of a chip with a cracked joint"
)
RESIDUAL_RAIL = _map(
    "RESIDUAL_RAIL", {"residual": 0.4, "expected": 0.6}, "1", "ASSUMED", "each rail of a board that holds voltage"
)
ACROSS_ROWS = _num("ACROSS_ROWS", 0.2, "1", "ASSUMED", "a bridge across rows beside one along a row")
REVISION_SPAN_MV = _num(
    "REVISION_SPAN_MV", 80.0, "mV", "PRACTICE", "another maker's chip: its contacts 20 to 60 mV apart, all together"
)
REVISION_SD_MV = _num("REVISION_SD_MV", 46.0, "mV", "PRACTICE", "deviation of what lies evenly within that span")
REVISION_OWN_SD_MV = _num(
    "REVISION_OWN_SD_MV", 4.0, "mV", "ASSUMED", "lines of one role of such a chip stand off together within this"
)
SEEN_HERE = _map(
    "SEEN_HERE",
    {"bent": 0.5, "lifted": 0.5, "missing": 0.5, "bridged": 0.6, "wet": 0.6, "changes_when_pressed": 0.6, "hot": 0.4},
    "1",
    "ASSUMED",
    "how often a thing is seen where the story says it is",
)
SEEN_SOMEWHERE = _num(
    "SEEN_SOMEWHERE", 0.15, "1", "ASSUMED", "how often the same is seen when nobody says on which contact or part"
)
CLEAN_LOOKS = _map(
    "CLEAN_LOOKS",
    {"wet": 0.2, "leak": 0.6, "bridge": 0.6},
    "1",
    "ASSUMED",
    "how often it is still so after cleaning and drying; other faults do not care",
)
PLUG_SEEN = _num("PLUG_SEEN", 0.1, "1", "ASSUMED", "bent, wet or missing at the plug when the module is the fault")
PLUG_SEEN_OTHERWISE = _num("PLUG_SEEN_OTHERWISE", 0.02, "1", "ASSUMED", "the same when the board is")
BURNT_SOMEWHERE = _num("BURNT_SOMEWHERE", 0.3, "1", "ASSUMED", "a mark, nobody said where, after a live event")
BURNT_SOMEWHERE_ELSE = _num("BURNT_SOMEWHERE_ELSE", 0.05, "1", "ASSUMED", "the same without one")
DRAW_GIVEN: dict[str, dict[str, float]] = {
    "draw_none": {
        "default": 0.06,
        "series_open_feed": 0.5,
        "elsewhere": 0.15,
        "rail_short": 0.03,
        "nothing_wrong": 0.02,
    },
    "draw_at_limit": {
        "default": 0.04,
        "rail_short": 0.6,
        "shunt_short": 0.08,
        "chip_damaged": 0.2,
        "plug_off_by": 0.2,
        "plug_tilted": 0.2,
        "tool_slip": 0.15,
        "plugged_live": 0.15,
        "nothing_wrong": 0.01,
    },
    "draw_low_steady": {
        "default": 0.1,
        "chip_damaged": 0.3,
        "plugged_live": 0.25,
        "plug_off_by": 0.2,
        "plug_tilted": 0.2,
        "tool_slip": 0.2,
        "cracked_joint": 0.25,
        "nothing_wrong": 0.03,
        "elsewhere": 0.06,
    },
    "draw_as_healthy": {
        "default": 0.35,
        "nothing_wrong": 0.7,
        "elsewhere": 0.6,
        "cable_flipped": 0.6,
        "rail_short": 0.03,
        "chip_damaged": 0.2,
        "plugged_live": 0.2,
        "plug_off_by": 0.15,
        "plug_tilted": 0.15,
    },
}
TABLE.append(
    Entry(
        "DRAW_GIVEN",
        DRAW_GIVEN,
        "1",
        "ASSUMED",
        "how often the supply shows this draw when a story is true; `series_open_feed`: a part open in a main feed",
    )
)
SEEN_ANYWHERE = _num(
    "SEEN_ANYWHERE", 0.01, "1", "ASSUMED", "how often the same is seen at a place that has nothing to do with it"
)
TORCH_LIGHTLESS = _num("TORCH_LIGHTLESS", 0.7, "1", "PRACTICE", "a torch shows the picture when only the light is gone")
TORCH_OTHERWISE = _num("TORCH_OTHERWISE", 0.15, "1", "ASSUMED", "the same otherwise; the light may be gone elsewhere")
FUSE_WITH_LIVE = _num("FUSE_WITH_LIVE", 0.4, "1", "PRACTICE", "a fuse in the feed goes with anything live")
RAIL_WITH_WET = _num(
    "RAIL_WITH_WET", 0.3, "1", "PRACTICE", "liquid that reached the socket has shorted a rail of it too, one or another"
)
UNKNOWN_IO_LIMIT_MV = _num(
    "UNKNOWN_IO_LIMIT_MV", 2100.0, "mV", "PRACTICE", "limit of an IO line when the part is not known"
)
BURNT_AT_HIT = _num("BURNT_AT_HIT", 0.35, "1", "ASSUMED", "a mark is seen where a contact was hit hard")
BURNT_ANYWHERE = _num("BURNT_ANYWHERE", 0.004, "1", "ASSUMED", "a mark seen on any one contact otherwise")
BURNT_BY_EVENT = _num("BURNT_BY_EVENT", 0.02, "1", "ASSUMED", "a mark on any one contact after a live event")

# ---- a plug that sits wrong, state by state --------------------------------------------------------------
LIVE_ROLES = {
    "battery_off": (),
    "battery_in_off": ("main_rail",),
    "asleep": ("main_rail", "io_rail", "memory_rail"),
    "lit": ("main_rail", "rail_5v", "panel_supply", "io_rail", "memory_rail", "core_rail", "core_rail_large"),
}
TABLE.append(
    Entry("LIVE_ROLES", LIVE_ROLES, "roles", "PRACTICE", "rails that stand at their working voltage in each state")
)
LED_FEED_DROP_MV = _num(
    "LED_FEED_DROP_MV", 300.0, "mV", "PRACTICE", "a dark LED rail sits at its input less the boost's diode"
)
OVERVOLTAGE_RATIO = _num(
    "OVERVOLTAGE_RATIO", 1.25, "1", "PRACTICE", "a boost without load climbs to its own limit, 10 to 25 % up"
)
CLAMP_MV = _num(
    "CLAMP_MV", 600.0, "mV", "PRACTICE", "what a clamp takes, in the injection rule R = (Vpin - (VDD + 0.6 V)) / I"
)
WORST_SHOWN = int(_num("WORST_SHOWN", 3, "1", "ASSUMED", "what one looks at before the work"))
