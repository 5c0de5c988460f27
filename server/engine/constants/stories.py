"""How often what happens at a display socket: a part of the one table (see the package's words)."""

from server.engine.constants.table import TABLE, Entry
from server.engine.constants.table import mapping as _map
from server.engine.constants.table import num as _num

# ---- how often, in 100 jobs with somebody at the display socket -----------------------------------------
SHARE = _map(
    "SHARE",
    {
        "nothing_wrong": 3,
        "elsewhere": 25,
        "plug_off_by": 2,
        "plugged_live": 5,
        "bridge": 4,
        "contact_torn": 8,
        "series_open_led": 8,
        "series_open_rail": 3,
        "series_open_signal": 1,
        "shunt_short": 2,
        "leak": 4,
        "chip_led_driver": 5,
        "chip_other": 3,
        "rail_short_led": 4,
        "rail_short_panel": 3,
        "rail_short_other": 3,
        "plug_tilted": 5,
        "tool_slip": 5,
        "part_knocked_off": 5,
        "wet": 5,
        "cracked_joint": 2,
        "cable_flipped": 1,
        "separate_faults": 1,
        "leads_swapped": 2,
        "other_revision": 4,
        "meter_differs": 3,
        "still_powered": 2,
    },
    "per 100 jobs",
    "PRACTICE",
    "relative frequency of what is found; worth about twenty jobs",
)
BASE_ODD = _num("BASE_ODD", 0.003, "1", "PRACTICE", "an unrelated odd contact on a used, working board")
BASE_ODD_SPLIT = _map(
    "BASE_ODD_SPLIT", {"short": 0.2, "low": 0.4, "high": 0.15, "open": 0.25}, "1", "ASSUMED", "what the odd one reads"
)
SEPARATE_LINE = _map(
    "SEPARATE_LINE",
    {"expected": 0.9, "short": 0.02, "low": 0.04, "high": 0.015, "open": 0.025},
    "1",
    "ASSUMED",
    "a line of a board with several separate faults: one in ten, split as single odd ones are",
)
SECOND_FAULT = _num("SECOND_FAULT", 0.12, "1", "PRACTICE", "two faults in one job")
INTAKE_FACTORS: dict[str, dict[str, float]] = {
    "battery_in_during_change": {
        "series_open_led": 3,
        "rail_short_led": 2,
        "plugged_live": 4,
        "plug_off_by": 3,
        "elsewhere": 0.7,
        "chip_led_driver": 2,
        "plug_tilted": 3,
        "tool_slip": 3,
    },
    "spark_seen": {
        "plugged_live": 2,
        "plug_off_by": 3,
        "plug_tilted": 2,
        "tool_slip": 3,
        "elsewhere": 0.3,
        "nothing_wrong": 0.3,
        "series_open_led": 1.5,
    },
    "plug_went_in_crooked": {"plug_off_by": 6, "plug_tilted": 6},
    "new_module_fitted": {"elsewhere": 1.3},
    "liquid": {"wet": 12, "leak": 4, "elsewhere": 0.5},
    "dropped": {"cracked_joint": 6, "contact_torn": 2, "elsewhere": 1.3},
    "soldered_at_socket": {"bridge": 8, "contact_torn": 3.5, "part_knocked_off": 4},
    "pried_with_metal": {"part_knocked_off": 4, "contact_torn": 2, "tool_slip": 2},
    "long_screw_in_doubt": {"contact_torn": 3},
    "never_opened": {
        "plug_off_by": 0.1,
        "plugged_live": 0.1,
        "bridge": 0.1,
        "contact_torn": 0.1,
        "plug_tilted": 0.1,
        "tool_slip": 0.1,
        "part_knocked_off": 0.1,
        "cable_flipped": 0.1,
        "series_open_led": 0.3,
        "cracked_joint": 1.5,
        "wet": 1.5,
        "elsewhere": 1.5,
    },
}
TABLE.append(
    Entry(
        "INTAKE_FACTORS",
        INTAKE_FACTORS,
        "1",
        "PRACTICE",
        "what was said at the counter multiplies; spark and crooked plug are our assumption",
    )
)
SYMPTOM_FACTORS: dict[str, dict[str, float]] = {
    "touch_dead": {"nothing_wrong": 0.5, "elsewhere": 0.7},
    "stripes": {"bridge": 2},
    "no_light": {"series_open_led": 2, "rail_short_led": 2, "chip_led_driver": 2},
}
TABLE.append(Entry("SYMPTOM_FACTORS", SYMPTOM_FACTORS, "1", "ASSUMED", "what the device does moves the odds a little"))
