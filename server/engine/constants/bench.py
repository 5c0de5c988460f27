"""Numbers of units, of stored charge and of a pasted pin table: a part of the one table (see the package's words)."""

from server.engine.constants.table import TABLE, Entry
from server.engine.constants.table import mapping as _map
from server.engine.constants.table import num as _num

# ---- units ------------------------------------------------------------------------------------------
UNIT_FACTORS = _map(
    "UNIT_FACTORS",
    {
        "mV": 1.0,
        "V": 1000.0,
        "ohm": 1.0,
        "kohm": 1000.0,
        "Mohm": 1_000_000.0,
        "mA": 1.0,
        "A": 1000.0,
    },
    "base units mV, ohm, mA",
    "SOURCE",
    "SI prefixes, BIPM SI brochure 9th ed., section 3",
)
UNIT_POWERS = {"mV": 0, "V": 3, "ohm": 0, "kohm": 3, "Mohm": 6, "mA": 0, "A": 3}
TABLE.append(
    Entry("UNIT_POWERS", UNIT_POWERS, "powers of ten", "SOURCE", "SI prefixes, BIPM SI brochure 9th ed., section 3")
)
LOG_2PI_HALF = _num("LOG_2PI_HALF", 0.9189385332046727, "1", "SOURCE", "definition: half the logarithm of 2 pi")
MASS_COUNTS = _num("MASS_COUNTS", 1e-9, "1", "ASSUMED", "a probability below this changes no printed digit")
TINY = _num("TINY", 1e-300, "1", "ASSUMED", "a probability that still has a logarithm")
FACTORS_AT_ONCE = int(
    _num("FACTORS_AT_ONCE", 32, "1", "ASSUMED", "densities (per mV) multiplied before a logarithm: no float overflows")
)
PLACES_PROBABILITY = int(_num("PLACES_PROBABILITY", 6, "decimals", "ASSUMED", "how probabilities leave the engine"))
PLACES_MV = int(_num("PLACES_MV", 2, "decimals", "ASSUMED", "how millivolts leave the engine"))
PLACES_MA = int(_num("PLACES_MA", 4, "decimals", "ASSUMED", "how a test current leaves the engine"))
PLACES_BITS = int(_num("PLACES_BITS", 4, "decimals", "ASSUMED", "how information leaves the engine"))
PLACES_RATE = int(_num("PLACES_RATE", 6, "decimals", "ASSUMED", "how finely bits per second are ranked"))

# ---- stored charge ------------------------------------------------------------------------------------
MICRO_PER_ONE = _num("MICRO_PER_ONE", 1e6, "1", "SOURCE", "SI prefixes, BIPM SI brochure 9th ed., section 3")
LED_STOP_LOW_MV = _num("LED_STOP_LOW_MV", 2200.0, "mV a LED", "PRACTICE", "a string stops draining its capacitor here")
LED_STOP_HIGH_MV = _num("LED_STOP_HIGH_MV", 2400.0, "mV a LED", "PRACTICE", "or already here, by kind and temperature")
METER_FLOOR_MV = _num("METER_FLOOR_MV", 0.1, "mV", "PRACTICE", "last digit of a bench meter on its lowest volts range")
CURVE_POINTS = int(_num("CURVE_POINTS", 40, "steps", "ASSUMED", "enough for a line on a phone"))
CURVE_TAIL = _num("CURVE_TAIL", 1.25, "1", "ASSUMED", "how far a curve is drawn past the time of the plugging limit")
SECONDS_PER_MINUTE = _num("SECONDS_PER_MINUTE", 60.0, "s", "SOURCE", "BIPM SI brochure 9th ed., table 8")
LONGEST_WAIT_S = _num("LONGEST_WAIT_S", 86_400.0, "s", "ASSUMED", "nobody waits more than a day at a bench")
LARGEST_START_MV = _num("LARGEST_START_MV", 1e6, "mV", "ASSUMED", "no place this tool speaks of is above 1 kV")
LARGEST_CAPACITANCE_UF = _num("LARGEST_CAPACITANCE_UF", 1e7, "uF", "ASSUMED", "10 F: above any capacitor of a board")
LARGEST_BLEED_OHM = _num("LARGEST_BLEED_OHM", 1e12, "ohm", "ASSUMED", "above any insulation a meter can tell from none")
MOST_LEDS = int(_num("MOST_LEDS", 400, "LEDs", "ASSUMED", "in one string; more would be above 1 kV lit"))

# ---- a pasted pin table ----------------------------------------------------------------------------------
SHOWN_OF_A_LINE = int(_num("SHOWN_OF_A_LINE", 12, "letters", "ASSUMED", "enough of a line to find the spot by"))
LONGEST_PATH = int(_num("LONGEST_PATH", 20, "parts", "ASSUMED", "no line between a socket and a chip has more"))
HEAD_LINES = int(_num("HEAD_LINES", 3, "lines", "ASSUMED", "a heading and two contacts show what a column holds"))
COLUMNS_PROPOSED = int(_num("COLUMNS_PROPOSED", 200, "columns", "ASSUMED", "the most a column map can name"))
