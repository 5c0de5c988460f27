"""Numbers of a shorted rail: copper, supply, broken line, plane. A part of the one table (see the package's words)."""

from server.engine.constants.table import mapping as _map
from server.engine.constants.table import num as _num

# ---- copper -------------------------------------------------------------------------------------------
COPPER_20C_OHM_M = _num("COPPER_20C_OHM_M", 1.7241e-8, "ohm m", "SOURCE", "IEC 60028:1925 (IACS), 1/58 ohm mm2/m")
COPPER_PER_K = _num("COPPER_PER_K", 0.00393, "1/K", "SOURCE", "IEC 60028:1925: temperature coefficient at 20 C")
COPPER_AT_C = _num("COPPER_AT_C", 20.0, "C", "SOURCE", "IEC 60028:1925: the temperature both hold at")
METRES_PER_MICROMETRE = _num("METRES_PER_MICROMETRE", 1e-6, "m", "SOURCE", "SI prefixes, BIPM SI brochure 9th ed.")
FOIL_UM = _num("FOIL_UM", 35.0, "um", "PRACTICE", "one ounce of copper; inner layers are often half of it")
THINNEST_FOIL_UM = _num("THINNEST_FOIL_UM", 5.0, "um", "PRACTICE", "the thinnest foil of dense boards")
THICKEST_FOIL_UM = _num("THICKEST_FOIL_UM", 210.0, "um", "PRACTICE", "six ounces, the thickest of power boards")

# ---- which rails are joined -----------------------------------------------------------------------------
APART_OHM = _num("APART_OHM", 100.0, "ohm", "ASSUMED", "through more, the start of 1 V drives 10 mA at most: harmless")
APART_SHARE = _num(
    "APART_SHARE", 0.8, "1", "ASSUMED", "two rails that meet only at ground read the sum of their ohms to ground"
)
TELL_APART_OHM = _num(
    "TELL_APART_OHM", 0.5, "ohm", "PRACTICE", "below this sum nulled leads cannot tell joined from apart"
)
LOWEST_USUAL_MV = _map(
    "LOWEST_USUAL_MV",
    {
        "core": 700.0,
        "memory": 1100.0,
        "io": 1200.0,
        "standby": 3000.0,
        "panel": 1800.0,
        "main": 3000.0,
        "backlight": 3000.0,
    },
    "mV",
    "PRACTICE",
    "the lowest voltage rails of a kind are made for, where the board's record holds none",
)

# ---- the supply -----------------------------------------------------------------------------------------
START_CORE_MV = _num("START_CORE_MV", 300.0, "mV", "PRACTICE", "where to begin on core and memory rails")
START_CORE_MA = _num("START_CORE_MA", 1000.0, "mA", "PRACTICE", "the limit to begin with on core and memory rails")
START_MV = _num("START_MV", 500.0, "mV", "PRACTICE", "where to begin on other rails: 0.5 to 1 V")
START_MOST_MV = _num("START_MOST_MV", 1000.0, "mV", "PRACTICE", "the upper end of a beginning on other rails")
START_MA = _num("START_MA", 1000.0, "mA", "PRACTICE", "the limit to begin with on other rails: 1 to 3 A")
START_MOST_MA = _num("START_MOST_MA", 3000.0, "mA", "PRACTICE", "the upper end of it")

# ---- the broken line ---------------------------------------------------------------------------------------
POINT_NOISE_MV = _map(
    "POINT_NOISE_MV",
    {"0": 0.5, "1": 0.2, "2": 0.05},
    "mV by decimals shown",
    "PRACTICE",
    "last digit, drift and the probe's own junctions, with the probe pressed",
)
POINT_NOISE_WORTH = _num("POINT_NOISE_WORTH", 4.0, "points", "ASSUMED", "how many points that knowledge is worth")
LINE_PARAMETERS = int(_num("LINE_PARAMETERS", 3, "1", "SOURCE", "definition: level, slope and place"))
FEWEST_POINTS = int(_num("FEWEST_POINTS", 4, "places", "ASSUMED", "one more than the line has unknowns"))
FEWEST_FOR_ONE_WRONG = int(_num("FEWEST_FOR_ONE_WRONG", 6, "points", "ASSUMED", "without one the rest still judges it"))
FEWEST_FOR_SECOND_SLOPE = int(
    _num("FEWEST_FOR_SECOND_SLOPE", 6, "points", "ASSUMED", "two a side tell a slope, two more whether it is one")
)
WRONG_POINT_TAIL = _num("WRONG_POINT_TAIL", 0.005, "1", "ASSUMED", "one good line in two hundred loses a point")
SECOND_SLOPE_TAIL = _num("SECOND_SLOPE_TAIL", 0.005, "1", "ASSUMED", "one good line in two hundred is refused so")
SECOND_SLOPE_SHARE = _num("SECOND_SLOPE_SHARE", 0.1, "1", "ASSUMED", "less of the first slope is the meter's drift")
ROUGHEST_SHARE = _num("ROUGHEST_SHARE", 0.15, "1", "ASSUMED", "of the whole fall: rougher points are no line")
NOISE_SPANS = _num("NOISE_SPANS", 3.0, "1", "ASSUMED", "so many deviations are taken for a difference")
ABOVE_INJECTED_SHARE = _num("ABOVE_INJECTED_SHARE", 0.05, "1", "PRACTICE", "two meters differ by less")
POINTS_MOST = int(_num("POINTS_MOST", 60, "points", "ASSUMED", "the newest of one rail; nobody measures more"))
SAME_CURRENT_SHARE = _num("SAME_CURRENT_SHARE", 0.02, "1", "ASSUMED", "settings closer than this are the same one")
COVERAGE_TAIL = _num("COVERAGE_TAIL", 0.025, "1", "SOURCE", "definition: each side of a 95 % interval")
SAME_FIT = _num("SAME_FIT", 1e-9, "1", "ASSUMED", "sums of squares closer than this fit alike")
EDGE_STEPS = int(_num("EDGE_STEPS", 40, "steps", "ASSUMED", "halvings and scans that find where an interval ends"))
PLACE_GRID = int(_num("PLACE_GRID", 60, "steps", "ASSUMED", "places of the short weighed for the next point"))
NEXT_CANDIDATES = int(_num("NEXT_CANDIDATES", 16, "places", "ASSUMED", "places considered for the next point"))
NEXT_DRAWS = int(_num("NEXT_DRAWS", 8, "1", "ASSUMED", "places of the short tried for each of them"))
BEYOND_SHARE = _num("BEYOND_SHARE", 0.5, "1", "ASSUMED", "how much farther a rail of unknown end is looked at")

# ---- the plane ------------------------------------------------------------------------------------------------
GRID_NODES_MOST = int(_num("GRID_NODES_MOST", 640, "nodes", "ASSUMED", "a phone solves so many in well under a second"))
GRID_WIDTH_MOST = int(_num("GRID_WIDTH_MOST", 22, "nodes", "ASSUMED", "the narrow side, which costs squared"))
PLANE_MARGIN_SHARE = _num("PLANE_MARGIN_SHARE", 0.08, "1", "ASSUMED", "copper reaches so far past the outermost pads")
PLANE_ERROR_SHARE = _num(
    "PLANE_ERROR_SHARE", 0.05, "1", "ASSUMED", "of the whole fall: holes and necks that the sheet does not know"
)
PLANE_SHEET_SPREAD = _num("PLANE_SHEET_SPREAD", 2.0, "1", "ASSUMED", "sheet resistance known within this factor")
PLANE_FEWEST = int(_num("PLANE_FEWEST", 3, "places", "ASSUMED", "fewer points name no pad"))
PLANE_STANDS_OUT = _num("PLANE_STANDS_OUT", 0.15, "1", "ASSUMED", "a pad of less odds is not worth naming first")
PLANE_SPOTS_SHOWN = int(_num("PLANE_SPOTS_SHOWN", 6, "pads", "ASSUMED", "pads that are named"))
PLANE_CANDIDATES = int(_num("PLANE_CANDIDATES", 24, "pads", "ASSUMED", "pads considered for the next point"))
