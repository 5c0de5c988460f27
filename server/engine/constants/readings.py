"""Numbers of what healthy, failed and faulty contacts read: a part of the one table (see the package's words)."""

from server.engine.constants.table import TABLE, Entry
from server.engine.constants.table import num as _num

# ---- bands ----------------------------------------------------------------------------------
REFERENCE_KAPPA = _num(
    "REFERENCE_KAPPA", 0.02, "boards", "ASSUMED", "the role alone is worth a fiftieth of a board for the centre"
)
REFERENCE_DF = _num("REFERENCE_DF", 4.0, "boards", "PRACTICE", "the role's spread is worth about four boards")
OWN_SPREAD_DF = _num("OWN_SPREAD_DF", 12.0, "boards", "ASSUMED", "how alike the spreads of contacts of one role are")
ROLE_SPREAD_DF = _num(
    "ROLE_SPREAD_DF", 12.0, "contacts", "ASSUMED", "how alike the spreads of roles are, in lines of a role's own"
)
SPREAD_LEAST = _num("SPREAD_LEAST", 0.7, "1", "ASSUMED", "a quiet board makes a band no narrower than this part of it")
SPREAD_SURE = _num("SPREAD_SURE", 1000.0, "contacts", "ASSUMED", "a spread known like this is not asked about any more")
NOISE_MV = _num("NOISE_MV", 1.0, "mV", "PRACTICE", "re-touch by one person")
NOISE_PERSON_MV = _num("NOISE_PERSON_MV", 2.0, "mV", "PRACTICE", "another person, another meter with a sheet")
LEAD_NOISE_OHM = _num("LEAD_NOISE_OHM", 0.4, "ohm", "ASSUMED", "probe and contact resistance from touch to touch")
GAIN_SD = _num("GAIN_SD", 0.0025, "1", "ASSUMED", "gain of a handheld meter")
GROUND_SD_MV = _num("GROUND_SD_MV", 1.2, "mV", "PRACTICE", "a ground reads 0 to 3 mV, up to 5 through a flex")
ODD_BOARD_SHARE = _num(
    "ODD_BOARD_SHARE", 0.005, "1", "ASSUMED", "share of sets of healthy boards that may lose one as the odd one out"
)
ODD_BOARD_MIN = int(_num("ODD_BOARD_MIN", 4, "boards", "ASSUMED", "fewer boards cannot outvote one"))
PARTNER_SD_MV = _num("PARTNER_SD_MV", 4.5, "mV", "ASSUMED", "half of a pair against its other half, any maker")
GROUP_SD_MV = _num("GROUP_SD_MV", 6.5, "mV", "ASSUMED", "a line against the median of its siblings")
GROUP_MIN = int(_num("GROUP_MIN", 3, "contacts", "ASSUMED", "siblings whose median can outvote one fault"))
SIBLING_DF = _num("SIBLING_DF", 5.0, "1", "ASSUMED", "heavy tails where no reference board was read")
ROLE_DF = _num("ROLE_DF", 4.0, "1", "ASSUMED", "heavy tails where the role alone speaks")
NET_FOLLOWER_SD_MV = _num(
    "NET_FOLLOWER_SD_MV", 2.5, "mV", "PRACTICE", "two contacts of one rail read the same within 2 mV"
)
DOUBLE_TOUCH_MV = _num("DOUBLE_TOUCH_MV", 8.0, "mV", "ASSUMED", "two touches further apart do not confirm each other")
COVERAGE = _num("COVERAGE", 0.95, "1", "PRACTICE", "coverage of the printed band")
OL_SURPRISE = _num(
    "OL_SURPRISE", 0.01, "1", "ASSUMED", "a healthy contact that is against its role in showing OL or not"
)
OL_VARIES = _num("OL_VARIES", 0.01, "1", "ASSUMED", "a contact that shows OL on some healthy boards and not on others")
OL_LIMIT_MARGIN_MV = _num(
    "OL_LIMIT_MARGIN_MV", 30.0, "mV", "ASSUMED", "a reading this near the open-circuit limit may show OL"
)

# ---- touches that fail ------------------------------------------------------------------------
TOUCH_FAILS_WIDE = _num("TOUCH_FAILS_WIDE", 0.02, "1", "PRACTICE", "bad touches at 0.5 mm pitch and more")
TOUCH_FAILS_FINE = _num("TOUCH_FAILS_FINE", 0.04, "1", "PRACTICE", "at 0.35 mm pitch")
FINE_PITCH_MM = _num("FINE_PITCH_MM", 0.45, "mm", "PRACTICE", "below this a pitch is fine")
RETOUCH_FACTOR = _num("RETOUCH_FACTOR", 0.5, "1", "PRACTICE", "a second touch fails half as often")
FAIL_OL = _num("FAIL_OL", 0.6, "1", "PRACTICE", "share of failed touches that read OL")
FAIL_NEIGHBOUR = _num("FAIL_NEIGHBOUR", 0.22, "1", "PRACTICE", "share that read the neighbour")
FAIL_HIGH = _num("FAIL_HIGH", 0.15, "1", "ASSUMED", "share that read high through a bad contact")
FAIL_ANY = _num("FAIL_ANY", 0.03, "1", "ASSUMED", "share that read anything: a mistyped digit")
FAIL_HIGH_OHM = _num("FAIL_HIGH_OHM", 8.0, "ohm", "ASSUMED", "mean resistance of a bad touch")
WIDE_BESIDE = _num(
    "WIDE_BESIDE", 5.0, "1", "ASSUMED", "a band so much wider than what a bad touch adds only shifts by its mean"
)

# ---- what faults read ---------------------------------------------------------------------------
SHORT_OHM = _num("SHORT_OHM", 3.0, "ohm", "PRACTICE", "a short after the path is under 10 ohm; typical 3 with leads")
SHORT_SPREAD_MV = _num("SHORT_SPREAD_MV", 4.0, "mV", "PRACTICE", "spread of a dead short at 1 mA")
LEAK_LOW_OHM = _num("LEAK_LOW_OHM", 10.0, "ohm", "PRACTICE", "a leak is 10 ohm ...")
LEAK_HIGH_OHM = _num("LEAK_HIGH_OHM", 20000.0, "ohm", "ASSUMED", "... to 20 kohm, even in its logarithm")
LEAK_STEPS = int(_num("LEAK_STEPS", 3, "1", "ASSUMED", "Newton steps to a leak's current; exact to 0.1 mV"))
ADDED_LOW_OHM = _num("ADDED_LOW_OHM", 4.0, "ohm", "ASSUMED", "a bad joint or part adds 4 ohm ...")
ADDED_HIGH_OHM = _num(
    "ADDED_HIGH_OHM", 1000.0, "ohm", "ASSUMED", "... to 1 kohm, even in its logarithm; above it is as good as open"
)
LOST_BRANCH_MV = _num("LOST_BRANCH_MV", 45.0, "mV", "PRACTICE", "LED+ with its feed fuse open: 25 to 70 mV high")
LOST_BRANCH_SD_MV = _num("LOST_BRANCH_SD_MV", 18.0, "mV", "PRACTICE", "spread of the same")
EQUAL_SD_MV = _num("EQUAL_SD_MV", 1.6, "mV", "PRACTICE", "two bridged contacts read equal")
BRIDGE_STEPS = int(_num("BRIDGE_STEPS", 6, "1", "ASSUMED", "Newton steps to how two joined lines share the current"))
BRIDGE_N_SD_MV = _num("BRIDGE_N_SD_MV", 4.0, "mV", "ASSUMED", "two alike junctions joined: 18 to 33 mV lower, by n")
DIFFUSE_MAX_MV = _num("DIFFUSE_MAX_MV", 2000.0, "mV", "ASSUMED", "range of a reading nobody can explain")
LEAK_CLIMB = _num("LEAK_CLIMB", 0.5, "1", "ASSUMED", "a leaky rail still climbs half as often")
OPEN_READS = _num("OPEN_READS", 1e-5, "1/mV", "ASSUMED", "density of any number where the line is open")
SMALL_MASS = _num("SMALL_MASS", 1e-4, "1", "ASSUMED", "probability of OL where a low number is predicted")
LOST_OL = _num("LOST_OL", 0.08, "1", "ASSUMED", "a rail cut from its load shows OL this often")
CUT_SD_SHARE = _num(
    "CUT_SD_SHARE", 0.3, "1", "ASSUMED", "of the shift with a part in line open: two junctions are rarely alike"
)
HIGH_OL = _num("HIGH_OL", 0.2, "1", "ASSUMED", "a joint that adds resistance shows OL this often")
SMOOTHING = ((0.39612057, 0.09095809), (1.17673467, 0.21481636), (2.20106766, 0.0883968), (3.483611, 0.00477104))
TABLE.append(
    Entry(
        "SMOOTHING",
        SMOOTHING,
        "sd, weight",
        "SOURCE",
        (
            "four-point Gauss quadrature for the weight z phi(z) on z > 0 (Golub and Welsch "
            "1969); the tests integrate numerically beside it"
        ),
    )
)
CLIMB_NOTED = _num("CLIMB_NOTED", 0.85, "1", "ASSUMED", "a climb that is there gets noted")
CLIMB_LOST = _num("CLIMB_LOST", 0.08, "1", "ASSUMED", "a climb noted although the capacitors are cut off")
RESIDUAL_MV = _num("RESIDUAL_MV", 60.0, "mV", "ASSUMED", "voltage left on a rail, most often a little and positive")
RESIDUAL_SD_MV = _num("RESIDUAL_SD_MV", 90.0, "mV", "ASSUMED", "and by how much it varies, either sign")
RESIDUAL_FED = _num("RESIDUAL_FED", 0.1, "1", "ASSUMED", "what is left on a rail is fed from somewhere, and stays")
RESIDUAL_AGREES = _num(
    "RESIDUAL_AGREES", 0.2, "1", "ASSUMED",
    "two touches of a charge agree: 1 mA moves 10 uF by 100 mV each millisecond (V = I t / C)",
)
UNSTEADY_RESIDUAL = _num("UNSTEADY_RESIDUAL", 0.4, "1", "ASSUMED", "a charged rail that falls while it is held")
UNSTEADY_HEALTHY = _num("UNSTEADY_HEALTHY", 0.01, "1", "ASSUMED", "a healthy contact that jumps or falls")
