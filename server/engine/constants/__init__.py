"""The one table of numbers: every constant of the engine, with its unit and where it comes from.

No other module of the engine holds a numeric literal beyond 0, 1, 2, -1 and 0.5 (a test reads the
sources; a family with many numbers of its own has a module beside this one and imports from there). `TABLE`
lists each entry with its origin: SOURCE (published, with a citation), PRACTICE
(common practice, no source), MEMORY (from memory, not confirmed) or ASSUMED (our assumption).
Changing a number here means raising CONSTANTS_VERSION.
"""

from typing import NamedTuple

import server.engine.constants.circuit
import server.engine.constants.touches  # noqa: F401  each fills its part of the table
from server.engine.constants.table import TABLE, Entry
from server.engine.constants.table import mapping as _map
from server.engine.constants.table import num as _num
from shared_models import tables

CONSTANTS_VERSION = "2026.11.7"

# ---- physics of a junction ------------------------------------------------------------------
MEMO_SIZE = int(_num("MEMO_SIZE", 8, "boards", "ASSUMED", "prepared boards kept; a bench rarely has more in hand"))
PERCENT = _num("PERCENT", 100.0, "1", "SOURCE", "definition: per cent")
KELVIN = _num("KELVIN", 273.15, "K", "SOURCE", "BIPM SI brochure 9th ed., 0 degC")
VT_MV_PER_K = _num("VT_MV_PER_K", 0.08617333, "mV/K", "SOURCE", "k/q, CODATA 2018 (exact since the 2019 SI)")
BANDGAP_MV = _num("BANDGAP_MV", 1110.0, "mV", "SOURCE", "EG = 1.11 eV, SPICE diode default as in ngspice 39, 2023")
XTI = _num("XTI", 3.0, "1", "SOURCE", "XTI = 3, SPICE diode default as in ngspice 39, 2023")
IDEALITY = _num("IDEALITY", 1.25, "1", "ASSUMED", "junction of an input clamp as a meter sees it, n between 1 and 1.75")
IDEALITY_SD = _num("IDEALITY_SD", 0.2, "1", "ASSUMED", "spread of n between chips, common to most of a socket")
IDEALITY_OWN_SD = _num("IDEALITY_OWN_SD", 0.02, "1", "ASSUMED", "spread of n between lines of one chip and kind")
CHIP_N_SHARE = _num(
    "CHIP_N_SHARE", 0.5, "1", "ASSUMED", "of a chip's doubt about n, what the rest of its socket does not share"
)
BULK_OHM = _num("BULK_OHM", 5.0, "ohm", "ASSUMED", "bulk and lead of a clamp")
SERIES_UNKNOWN_SD_OHM = _num(
    "SERIES_UNKNOWN_SD_OHM", 8.0, "ohm", "ASSUMED", "a small series part nobody has told us of"
)
SERIES_OWN_SD_OHM = _num(
    "SERIES_OWN_SD_OHM", 2.0, "ohm", "ASSUMED", "of a series part nobody told of, what one line of a bus has of its own"
)
SERIES_PART_SD = _num("SERIES_PART_SD", 0.05, "1", "ASSUMED", "5 % parts")

# ---- meters and conditions --------------------------------------------------------------------
REFERENCE_CURRENT_MA = _num(
    "REFERENCE_CURRENT_MA", 1.0, "mA", "PRACTICE", "diode tests force 0.2 to 2 mA; tables are kept at 1 mA"
)
REFERENCE_C = _num("REFERENCE_C", 23.0, "degC", "PRACTICE", "bench temperature")
CURRENT_SD_KNOWN = _num("CURRENT_SD_KNOWN", 0.02, "ln", "ASSUMED", "a meter's sheet made with known resistors")
CURRENT_SD_UNKNOWN = _num("CURRENT_SD_UNKNOWN", 0.66, "ln", "ASSUMED", "no sheet: a factor of two either way")
CURRENT_SD_SAME_METER = _num("CURRENT_SD_SAME_METER", 0.005, "ln", "ASSUMED", "one meter against itself")
CURRENT_LOW_MA = _num("CURRENT_LOW_MA", 0.15, "mA", "PRACTICE", "no diode test forces less")
CURRENT_TOLD_SHARE = _num("CURRENT_TOLD_SHARE", 0.5, "1", "ASSUMED", "a current that was told is at least half of it")
CURRENT_HIGH_MA = _num("CURRENT_HIGH_MA", 3.0, "mA", "PRACTICE", "no diode test forces more")
AIR_SD_KNOWN_K = _num("AIR_SD_KNOWN_K", 3.0, "K", "ASSUMED", "board against the air that was typed")
AIR_SD_UNKNOWN_K = _num("AIR_SD_UNKNOWN_K", 10.0, "K", "ASSUMED", "nobody typed a temperature")
AIR_LOW_C = _num("AIR_LOW_C", -15.0, "degC", "ASSUMED", "coldest place anybody probes")
AIR_HIGH_C = _num("AIR_HIGH_C", 55.0, "degC", "ASSUMED", "hottest place anybody probes")
ABSURD_AIR_LOW_C = _num("ABSURD_AIR_LOW_C", -30.0, "degC", "ASSUMED", "below this it is asked about")
ABSURD_AIR_HIGH_C = _num("ABSURD_AIR_HIGH_C", 60.0, "degC", "ASSUMED", "above this it is asked about")
OPEN_CIRCUIT_DEFAULT_MV = _num("OPEN_CIRCUIT_DEFAULT_MV", 2000.0, "mV", "PRACTICE", "a usual open-circuit limit")
DIODE_MODE_MAX_MV = _num(
    "DIODE_MODE_MAX_MV",
    tables.DIODE_MODE_MAX_MV,
    "mV",
    "PRACTICE",
    "meters above 4 V in diode mode never go on a socket",
)
NEGATIVE_DROP_MV = _num(
    "NEGATIVE_DROP_MV", -20.0, "mV", "PRACTICE", "below this a drop says residual voltage, not a junction"
)
DECIMAL_DOUBT_MV = _num("DECIMAL_DOUBT_MV", 4.0, "mV", "PRACTICE", "0.452 on a meter that shows mV may be volts")
OFFSET_PRIOR_SD_MV = _num(
    "OFFSET_PRIOR_SD_MV", 15.0, "mV", "ASSUMED", "common offset of contacts whose path is not known"
)
OFFSET_STORY_MV = _num("OFFSET_STORY_MV", 45.0, "mV", "ASSUMED", "three prior deviations: then it is the story")
OFFSET_MIN_CONTACTS = _num("OFFSET_MIN_CONTACTS", 4, "1", "ASSUMED", "fewer readings never make an offset")
TOLD_WRONGLY = _num(
    "TOLD_WRONGLY", 3.0, "ln", "ASSUMED", "twenty to one against the meter's sheet: the readings are believed instead"
)
SESSION_FAULT_SHARES = (0.03, 0.1, 0.3, 0.6)
TABLE.append(
    Entry(
        "SESSION_FAULT_SHARES",
        SESSION_FAULT_SHARES,
        "1",
        "ASSUMED",
        "share of faulty contacts, from few to most, averaged by how well each fits",
    )
)
OFFSET_SD_MV = _num("OFFSET_SD_MV", 2.0, "mV", "ASSUMED", "a meter's own zero and the hand's, common to a session")
SESSION_HIGH_START = _num(
    "SESSION_HIGH_START", 0.85, "share", "ASSUMED", "where most contacts are low, the healthy ones are near the top"
)
BLACK_SPREAD = _num(
    "BLACK_SPREAD", 3.0, "1", "PRACTICE", "with black on ground a line strays more: 655 +- 15 where red reads 456 +- 5"
)
OWN_SHARE = _num(
    "OWN_SHARE", 0.6, "1", "ASSUMED", "a contact's own part of its spread between boards; the rest is its chip's"
)
TINY_OHM = _num("TINY_OHM", 0.1, "ohm", "ASSUMED", "no series part is known better than this")
CURRENT_RATIO_LEAST = _num(
    "CURRENT_RATIO_LEAST", 0.25, "ln", "ASSUMED", "currents nearer than a quarter say nothing by their difference"
)
AIR_SD_SAME_BOARD_K = _num("AIR_SD_SAME_BOARD_K", 0.5, "K", "ASSUMED", "one board, one hour, two meters")
SOLVED_IN_OHMS = int(
    _num("SOLVED_IN_OHMS", 2, "contacts", "ASSUMED", "low numbers turned into ohms by their circuit; the worst first")
)
SECOND_RATIO = _num("SECOND_RATIO", 0.5, "1", "ASSUMED", "a second current is worth its touch from half the first down")
SECOND_BINS = int(_num("SECOND_BINS", 24, "1", "ASSUMED", "sizes of leak tried"))
SECOND_REACH_SD = _num("SECOND_REACH_SD", 6.0, "sd", "ASSUMED", "how far above its band an unleaked reading may be")
SECOND_STEPS = int(_num("SECOND_STEPS", 6, "1", "ASSUMED", "Newton steps to a leak's share of the smaller current"))
STRAIGHTEN_ROUNDS = int(
    _num("STRAIGHTEN_ROUNDS", 2, "1", "ASSUMED", "readings carried anew through the load that was found; two settle it")
)
BOTH_LEADS_STEPS = int(
    _num("BOTH_LEADS_STEPS", 12, "1", "ASSUMED", "sizes of a fault tried where both leads were read; steps of a scale")
)
BOTH_LEADS_REACH = _num("BOTH_LEADS_REACH", 4.0, "deviations", "ASSUMED", "beyond it one reading rules a size out")
SECOND_BRIDGE_SD_MV = _num(
    "SECOND_BRIDGE_SD_MV", 8.0, "mV", "ASSUMED", "two joined junctions share another current almost alike"
)
LEAK_TAIL = _num("LEAK_TAIL", 0.05, "1", "PRACTICE", "an interval of nine tenths")
LEAN_MOST = _num("LEAN_MOST", 3.0, "sd", "ASSUMED", "a chip that leans further is of another maker, or hurt: a story")
EVIDENCE_MARGIN = _num("EVIDENCE_MARGIN", 0.05, "ln", "ASSUMED", "a start better by less has reached the same optimum")
SESSION_AGAIN = int(_num("SESSION_AGAIN", 2, "1", "ASSUMED", "steps from a fit that stood to one with a wider prior"))
STRAINED_POINTS = int(
    _num("STRAINED_POINTS", 3, "contacts", "ASSUMED", "so many that a fit cannot explain, and others are tried too")
)
STRAINED_SD = _num("STRAINED_SD", 1.5, "sd", "ASSUMED", "so far from where it was told, and others are tried too")
FEW_CONTACTS = int(_num("FEW_CONTACTS", 4, "contacts", "ASSUMED", "up to here a session is fitted anew without each"))
REFERENCE_FIT_ROUNDS = int(_num("REFERENCE_FIT_ROUNDS", 2, "1", "ASSUMED", "fit the boards, take the middle, again"))
REFERENCE_FIT_AGAIN = int(_num("REFERENCE_FIT_AGAIN", 2, "1", "ASSUMED", "steps from where a board's fit stood before"))
REFERENCE_FIT_STEPS = int(_num("REFERENCE_FIT_STEPS", 3, "1", "ASSUMED", "reweighting steps for one healthy board"))
FREED_ROUNDS = int(
    _num("FREED_ROUNDS", 3, "1", "ASSUMED", "lines straightened, boards freed, and again; the rest moves 0.1 mV")
)
REFERENCE_FIT_MIN = int(
    _num("REFERENCE_FIT_MIN", 4, "contacts", "ASSUMED", "fewer say nothing of what a board's readings share")
)
SELF_SHARE_LEFT = _num(
    "SELF_SHARE_LEFT", 0.05, "1", "ASSUMED", "a contact is never more than this much short of its whole own fit"
)
SESSION_STEPS = int(_num("SESSION_STEPS", 5, "1", "ASSUMED", "reweighting steps; converged to 0.1 mV on kept sheets"))
FAULT_LOW_SHARE = _num("FAULT_LOW_SHARE", 0.8, "1", "ASSUMED", "faults are one-sided: most read low")
FAULT_ANY_SHARE = _num("FAULT_ANY_SHARE", 0.05, "1", "ASSUMED", "of faults, those of any depth: a digit mistyped")
FAULT_DEPTH_MIN_MV = _num("FAULT_DEPTH_MIN_MV", 3.0, "mV", "ASSUMED", "shallowest fault")
FAULT_DEPTH_MAX_MV = _num("FAULT_DEPTH_MAX_MV", 400.0, "mV", "ASSUMED", "deepest fault")

# ---- a meter's sheet ---------------------------------------------------------------------------
THOUSAND = _num("THOUSAND", 1000.0, "1", "SOURCE", "SI prefixes, BIPM SI brochure 9th ed., section 3")
RESISTOR_SPREAD = _num(
    "RESISTOR_SPREAD", 0.5773502691896258, "1", "SOURCE", "1/sqrt(3), rectangular distribution, JCGM 100:2008, 4.3.7"
)
DIODE_NUMBER_SD_MV = _num("DIODE_NUMBER_SD_MV", 1.0, "mV", "PRACTICE", "last digit and touch of a diode-mode number")
METER_ZERO_MV = _num("METER_ZERO_MV", 3.0, "mV", "PRACTICE", "shorted leads show 0 to 3 mV")
LINE_DOUBT_SD = _num("LINE_DOUBT_SD", 3.0, "deviations", "PRACTICE", "beyond it a line or an ideality is asked about")
IDEALITY_LOWEST = _num(
    "IDEALITY_LOWEST", 1.0, "1", "SOURCE", "n of a junction, 1 to 2: Sze, Ng, Semiconductor Devices, 3rd ed."
)
IDEALITY_HIGHEST = _num(
    "IDEALITY_HIGHEST", 2.0, "1", "SOURCE", "n of a junction, 1 to 2: Sze, Ng, Semiconductor Devices, 3rd ed."
)
LIMIT_NEAR = _num("LIMIT_NEAR", 1.25, "1", "ASSUMED", "a limit between two numbers this near is their middle")
LARGEST_TEST_RESISTOR_OHM = _num("LARGEST_TEST_RESISTOR_OHM", 1e9, "ohm", "ASSUMED", "above any resistor in a drawer")
HUBER_K = _num(
    "HUBER_K", 1.5, "scales", "SOURCE", "Venables and Ripley, Modern Applied Statistics with S, 4th ed., 5.5"
)
HUBER_STEPS = int(_num("HUBER_STEPS", 100, "steps", "ASSUMED", "converges in ten"))
HUBER_STOP = _num("HUBER_STOP", 1e-10, "scales", "ASSUMED", "a step that moves no printed digit")
MAD_TO_SD = _num("MAD_TO_SD", 1.4826, "1", "SOURCE", "normal values; Venables and Ripley, as above, 4th ed., 5.5")
MAD_OF_FEW = (1.196, 1.495, 1.363, 1.206, 1.200, 1.140, 1.129, 1.107)
TABLE.append(
    Entry("MAD_OF_FEW", MAD_OF_FEW, "1", "SOURCE", "Croux and Rousseeuw 1992, of 2 to 9 values; from memory")
)
MAD_OF_MANY = _num("MAD_OF_MANY", 0.8, "values", "SOURCE", "Croux and Rousseeuw 1992, n / (n - 0.8) above 9; memory")
PAIR_COVERAGE = _num("PAIR_COVERAGE", 0.95, "1", "PRACTICE", "an interval is a 95 % one unless it says otherwise")
PAIR_PRIOR_DF = _num(
    "PAIR_PRIOR_DF", 4.0, "contacts", "ASSUMED", "how far contacts scatter between two meters is known as from so many"
)
PAIR_SERIES_OHM = _num(
    "PAIR_SERIES_OHM", 12.0, "ohm", "ASSUMED", "in series with a contact nobody described: none, or 22 to 33 ohm"
)
PAIR_SERIES_OWN_SD_OHM = _num("PAIR_SERIES_OWN_SD_OHM", 15.0, "ohm", "ASSUMED", "spread of the same among contacts")
PAIR_SERIES_SD_OHM = _num("PAIR_SERIES_SD_OHM", 6.0, "ohm", "ASSUMED", "spread of its mean among sockets")
PAIR_SHARE_WANTED = _num(
    "PAIR_SHARE_WANTED", 0.05, "ln", "ASSUMED", "the scatter of contacts is worth narrowing down to 5 %, no further"
)
PAIR_ODD_SCALES = _num("PAIR_ODD_SCALES", 3.0, "scales", "PRACTICE", "a contact that moved otherwise than the rest")
PAIR_STEPS = int(_num("PAIR_STEPS", 30, "steps", "ASSUMED", "Newton steps; quadratic after the third"))
PAIR_LEAST_MV = _num("PAIR_LEAST_MV", 100.0, "mV", "ASSUMED", "below it there is no junction to compare by")

# ---- bands ----------------------------------------------------------------------------------
REFERENCE_KAPPA = _num(
    "REFERENCE_KAPPA", 0.02, "boards", "ASSUMED", "the role alone is worth a fiftieth of a board for the centre"
)
REFERENCE_DF = _num("REFERENCE_DF", 4.0, "boards", "PRACTICE", "the role's spread is worth about four boards")
OWN_SPREAD_DF = _num("OWN_SPREAD_DF", 12.0, "boards", "ASSUMED", "how alike the spreads of contacts of one role are")
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
UNSTEADY_RESIDUAL = _num("UNSTEADY_RESIDUAL", 0.4, "1", "ASSUMED", "a charged rail that falls while it is held")
UNSTEADY_HEALTHY = _num("UNSTEADY_HEALTHY", 0.01, "1", "ASSUMED", "a healthy contact that jumps or falls")

# ---- what to do next ---------------------------------------------------------------------------
STOP_GAIN_BITS = _num("STOP_GAIN_BITS", 0.02, "bit", "ASSUMED", "no touch is worth its time below this")
STOP_CHANGE_PROBABILITY = _num(
    "STOP_CHANGE_PROBABILITY", 0.05, "1", "ASSUMED", "or none changes the leading decision more often"
)
OTHER_STORY = _num(
    "OTHER_STORY",
    0.05,
    "1",
    "ASSUMED",
    (
        "something happened that no story here tells; so a leading story is proved by "
        "a touch of its own before anybody acts on it"
    ),
)
NEXT_TOUCHES = int(_num("NEXT_TOUCHES", 3, "1", "ASSUMED", "how many are shown"))
RISK_WEIGHT_S = _num("RISK_WEIGHT_S", 300.0, "s per 1", "ASSUMED", "one per cent of risk costs three seconds")
RISK_WEIGHT_DATA_S = _num("RISK_WEIGHT_DATA_S", 3000.0, "s per 1", "ASSUMED", "ten times that when data matter")
WRITE_DOWN_S = _num("WRITE_DOWN_S", 3.0, "s", "ASSUMED", "a number looked at and typed, beside the touch itself")
SUSPECTS_LOOKED_AT = int(
    _num("SUSPECTS_LOOKED_AT", 8, "1", "ASSUMED", "contacts for which further places are considered")
)
FIRSTS_TRIED = int(_num("FIRSTS_TRIED", 8, "1", "ASSUMED", "leading stories that may have an independent second one"))
HYPOTHESES_KEPT = int(
    _num(
        "HYPOTHESES_KEPT", 32, "1", "ASSUMED", "single and double stories kept for touches; the rest is under 1 in 1000"
    )
)
BOXES = int(_num("BOXES", 10, "1", "ASSUMED", "odds are shown as ten boxes"))
STORIES_SHOWN = int(_num("STORIES_SHOWN", 8, "1", "ASSUMED", "stories in an opinion"))
STORY_FLOOR = _num("STORY_FLOOR", 0.005, "1", "ASSUMED", "stories below this are not shown")
LOG_WORTH_KEEPING = _num(
    "LOG_WORTH_KEEPING",
    12.0,
    "ln",
    "ASSUMED",
    "pairs of stories less likely than exp(-12) beside the best are left out",
)
GROUP_FACTOR = _num("GROUP_FACTOR", 2.0, "1", "ASSUMED", "likelihoods within a factor of two are not told apart")
GROUP_SHARE = _num(
    "GROUP_SHARE", 0.05, "1", "ASSUMED", "a story joins a group when its odds are at least a twentieth of the leader's"
)
ANCHORS_MAX = int(_num("ANCHORS_MAX", 4, "1", "PRACTICE", "two to four anchor contacts"))
ANCHOR_SETTLED = _num("ANCHOR_SETTLED", 0.95, "1", "ASSUMED", "the counting is settled above this")
ANCHOR_SETTLED_EARLY = _num("ANCHOR_SETTLED_EARLY", 0.99, "1", "ASSUMED", "the same while only the anchors were read")
ODD_READING = _num("ODD_READING", 0.06, "1", "ASSUMED", "share of readings on a sheet that fit no healthy contact")
ANCHOR_BIN_MV = _num("ANCHOR_BIN_MV", 40.0, "mV", "ASSUMED", "drops closer than this do not tell two contacts apart")
COUNTED_DIFFERENTLY = _num(
    "COUNTED_DIFFERENTLY", 0.03, "1", "PRACTICE", "share of sheets counted from another end or row"
)
RUN_LENGTH = int(_num("RUN_LENGTH", 5, "contacts", "PRACTICE", "a short run"))
DEEP_LOW_SD = _num("DEEP_LOW_SD", 6.0, "sd", "ASSUMED", "a line this far below its band forbids power")
ODD_MIN = _num("ODD_MIN", 0.5, "1", "ASSUMED", "a contact is odd when healthy is less likely than this")
VERDICT_Z_RETOUCH = _num(
    "VERDICT_Z_RETOUCH", 3.0, "sd", "PRACTICE", "outside three deviations a contact is touched again"
)

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
UNKNOWN_IO_LIMIT_MV = _num(
    "UNKNOWN_IO_LIMIT_MV", 2100.0, "mV", "PRACTICE", "limit of an IO line when the part is not known"
)
BURNT_AT_HIT = _num("BURNT_AT_HIT", 0.35, "1", "ASSUMED", "a mark is seen where a contact was hit hard")
BURNT_ANYWHERE = _num("BURNT_ANYWHERE", 0.004, "1", "ASSUMED", "a mark seen on any one contact otherwise")
BURNT_BY_EVENT = _num("BURNT_BY_EVENT", 0.02, "1", "ASSUMED", "a mark on any one contact after a live event")

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

# ---- what further places answer, given what is true ---------------------------------------------------
SURE = _num("SURE", 0.97, "1", "ASSUMED", "a touch that answers its question answers it right this often")
BEHIND_SERIES_CHIP = _num("BEHIND_SERIES_CHIP", 0.9, "1", "ASSUMED", "a hurt chip input lies behind the series part")
BEHIND_SERIES_SHUNT = _num("BEHIND_SERIES_SHUNT", 0.3, "1", "ASSUMED", "a shunt part lies behind it less often")
SAME_BOTH_WAYS_RESISTIVE = _num(
    "SAME_BOTH_WAYS_RESISTIVE", 0.9, "1", "PRACTICE", "a resistive short reads the same both ways"
)
SAME_BOTH_WAYS_JUNCTION = _num("SAME_BOTH_WAYS_JUNCTION", 0.5, "1", "ASSUMED", "a wounded junction often does not")
KNOWN_RESISTOR_OHM = _num(
    "KNOWN_RESISTOR_OHM", 470.0, "ohm", "PRACTICE", "under 1 V at 2 mA: every diode test can show it"
)
RESISTOR_SD = _num("RESISTOR_SD", 0.02, "ln", "ASSUMED", "a 1 % resistor and the last digit")
DIFFERS_BY_WARMTH = _num(
    "DIFFERS_BY_WARMTH", 0.25, "1", "ASSUMED", "the meter is as told after all: the board was warm or cold"
)
VOLTS_AT_THIS_PLACE = _num(
    "VOLTS_AT_THIS_PLACE", 0.75, "1", "ASSUMED", "voltage that is left stands at the place where it is measured"
)
BELOW_ZERO_IF_POWERED = _num("BELOW_ZERO_IF_POWERED", 0.4, "1", "ASSUMED", "a sheet shows a number below zero then")
BELOW_ZERO_OTHERWISE = _num("BELOW_ZERO_OTHERWISE", 0.0005, "1", "ASSUMED", "a slip of the pen, or of the leads")
RESIDUE_IF_POWERED = _num("RESIDUE_IF_POWERED", 0.5, "1", "ASSUMED", "a proof of making safe above 10 mV then")
RESIDUE_OTHERWISE = _num("RESIDUE_OTHERWISE", 0.2, "1", "ASSUMED", "the same on a board that is dead enough")
BATTERY_IN_IF_POWERED = _num("BATTERY_IN_IF_POWERED", 0.5, "1", "ASSUMED", "the battery is noted as connected then")
BATTERY_IN_OTHERWISE = _num("BATTERY_IN_OTHERWISE", 0.01, "1", "ASSUMED", "the same without any harm")
PLUG_RAIL_LOW_SICK = _num("PLUG_RAIL_LOW_SICK", 0.3, "1", "PRACTICE", "a sick module shows a low rail at its plug")
PLUG_RAIL_LOW_WELL = _num("PLUG_RAIL_LOW_WELL", 0.01, "1", "ASSUMED", "a healthy one does not")
PLUG_RAIL_LOW_OHM = _num("PLUG_RAIL_LOW_OHM", 20.0, "ohm", "PRACTICE", "below this a module's supply is low")
CLEAN_HELPS = _num("CLEAN_HELPS", 0.5, "1", "ASSUMED", "share of leaks at one contact that are dirt or damp")
RESEAT_HELPS = _num("RESEAT_HELPS", 0.3, "1", "ASSUMED", "share of faults elsewhere that are the seating")
BRIDGE_OHM = _num("BRIDGE_OHM", 2.0, "ohm", "PRACTICE", "contact to contact below this is a bridge")
ACROSS_OPEN_OHM = _num("ACROSS_OPEN_OHM", 100.0, "ohm", "PRACTICE", "a fuse or ferrite above this is open")
HONEST_LOW_OHM = _num("HONEST_LOW_OHM", 20.0, "ohm", "PRACTICE", "rails below this are compared in ohms")
RAIL_OHM_SD = _num("RAIL_OHM_SD", 0.2, "1", "PRACTICE", "a healthy core rail's ohms from board to board, as a share")
LEAD_NULL_OHM = _num("LEAD_NULL_OHM", 0.1, "ohm", "ASSUMED", "what is left of 0.1 to 0.4 ohm of leads once nulled")
SPEAKS_FOR = _num("SPEAKS_FOR", 3.0, "1", "ASSUMED", "a finding this much likelier under a story is named beside it")
HEAT_FINDS = _num("HEAT_FINDS", 0.7, "1", "PRACTICE", "a short above 50 milliohm shows as heat this often")
MILLIVOLTS_FIND = _num("MILLIVOLTS_FIND", 0.6, "1", "ASSUMED", "a line of millivolts points at the part this often")
BETWEEN_BY_CHANCE = _num(
    "BETWEEN_BY_CHANCE", 0.003, "1", "ASSUMED", "contact to contact under 2 ohm without a bridge: both tips on one"
)
LIFTED_PAD = _num("LIFTED_PAD", 0.15, "1", "ASSUMED", "a contact that is gone is gone with its pad: its tail shows OL")
RAIL_OFF_SHARE = _num("RAIL_OFF_SHARE", 0.1, "1", "ASSUMED", "of its working voltage; below it a rail is not made")
RAIL_MADE_SHARE = _num("RAIL_MADE_SHARE", 0.8, "1", "ASSUMED", "of its working voltage; above it a rail is made")
RAIL_OVER_SHARE = _num("RAIL_OVER_SHARE", 1.08, "1", "PRACTICE", "an LED rail without its string climbs 10 to 25 %")
RAIL_OFF_OTHERWISE = _num("RAIL_OFF_OTHERWISE", 0.15, "1", "ASSUMED", "a rail not made for a reason elsewhere")
LED_AT_INPUT_DRIVER = _num("LED_AT_INPUT_DRIVER", 0.6, "1", "ASSUMED", "LED+ at its input when its driver is damaged")
LED_AT_INPUT_OTHERWISE = _num("LED_AT_INPUT_OTHERWISE", 0.1, "1", "ASSUMED", "the same otherwise: not told to light")
LED_OVER_MODULE = _num("LED_OVER_MODULE", 0.15, "1", "ASSUMED", "LED+ over its working voltage: the string is open")
LED_OVER_OTHERWISE = _num("LED_OVER_OTHERWISE", 0.01, "1", "ASSUMED", "the same otherwise")


class RoleNumbers(NamedTuple):
    """Healthy drop of a role at 1.00 mA, 23 degC, bare board: typical, range, spreads; black lead range."""

    typical_mv: float
    low_mv: float
    high_mv: float
    sd_mv: float
    sibling_sd_mv: float
    black_low_mv: float
    black_high_mv: float
    series_ohm: float


ROLE_NUMBERS: dict[str, RoleNumbers] = {
    "ground": RoleNumbers(0, 0, 5, 0.8, 0.5, 0, 5, 0),
    "main_rail": RoleNumbers(440, 350, 580, 12, 2, 900, 1800, 0),
    "rail_5v": RoleNumbers(410, 330, 500, 11, 2, 600, 1500, 0),
    "panel_supply": RoleNumbers(395, 300, 500, 10, 2, 500, 1300, 0),
    "io_rail": RoleNumbers(320, 260, 420, 8, 2, 400, 900, 0),
    "memory_rail": RoleNumbers(120, 20, 300, 10, 2, 150, 500, 0),
    "core_rail": RoleNumbers(5, 1, 10, 2, 1, 1, 10, 0),
    "core_rail_large": RoleNumbers(0.6, 0, 1, 0.5, 0.5, 0, 1, 0),
    "lane": RoleNumbers(338, 240, 430, 4, 1.5, 450, 800, 0),
    "lane_lvds": RoleNumbers(420, 330, 520, 5, 2, 600, 900, 0),
    "lane_coupled": RoleNumbers(660, 560, 760, 10, 3, 600, 900, 0),
    "aux_coupled": RoleNumbers(660, 560, 760, 10, 3, 600, 900, 0),
    "usb_pair": RoleNumbers(472, 380, 620, 5, 2, 650, 1100, 22),
    "bus": RoleNumbers(475, 380, 600, 6, 2.5, 600, 900, 22),
    "control": RoleNumbers(470, 380, 620, 5, 4, 600, 1000, 0),
    "hot_plug_detect": RoleNumbers(1446, 1350, 1700, 8, 6, 1600, 2000, 1000),
    "pwm": RoleNumbers(515, 430, 650, 6, 4, 650, 1000, 0),
    "led_plus": RoleNumbers(490, 400, 700, 15, 2, 900, 1900, 0),
    "led_minus": RoleNumbers(535, 420, 650, 10, 4, 900, 1900, 0),
    "strap": RoleNumbers(0, 0, 0, 10, 4, 0, 0, 0),
    "unconnected": RoleNumbers(0, 0, 0, 10, 4, 0, 0, 0),
    "unknown": RoleNumbers(450, 200, 800, 12, 6, 500, 1500, 0),
}
TABLE.append(
    Entry("ROLE_NUMBERS", ROLE_NUMBERS, "mV, ohm", "PRACTICE", "healthy readings by role, red and black on ground")
)
BLACK_OL = _map(
    "BLACK_OL",
    {"main_rail": 0.5, "led_plus": 0.9, "led_minus": 0.9},
    "1",
    "PRACTICE",
    "how often a healthy contact of these roles shows OL with black on ground",
)
RANGE_TO_SD = _num("RANGE_TO_SD", 0.25, "1", "ASSUMED", "a stated range is about four deviations wide")

EVEN_SIDES = _num(
    "EVEN_SIDES", 0.25, "1", "ASSUMED", "sides that differ by no more of the larger are told as plus and minus"
)

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

# ---- a pasted pin table ----------------------------------------------------------------------------------
SHOWN_OF_A_LINE = int(_num("SHOWN_OF_A_LINE", 12, "letters", "ASSUMED", "enough of a line to find the spot by"))
LONGEST_PATH = int(_num("LONGEST_PATH", 20, "parts", "ASSUMED", "no line between a socket and a chip has more"))
HEAD_LINES = int(_num("HEAD_LINES", 3, "lines", "ASSUMED", "a heading and two contacts show what a column holds"))
COLUMNS_PROPOSED = int(_num("COLUMNS_PROPOSED", 200, "columns", "ASSUMED", "the most a column map can name"))
