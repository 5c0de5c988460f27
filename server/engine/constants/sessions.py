"""Numbers of a junction, and of what a session has in common: a part of the one table (see the package's words)."""

from server.engine.constants.table import TABLE, Entry
from server.engine.constants.table import num as _num
from shared_models import tables

# ---- physics of a junction ------------------------------------------------------------------
MEMO_SIZE = int(_num("MEMO_SIZE", 8, "boards", "ASSUMED", "prepared boards kept; a bench rarely has more in hand"))
TEXTS_KEPT = int(
    _num("TEXTS_KEPT", 4096, "texts", "ASSUMED", "typed texts whose value is kept: about all that a diode test shows")
)
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
CHIP_LEAN_SHARE = _num(
    "CHIP_LEAN_SHARE",
    0.9,
    "1",
    "ASSUMED",
    "of a deviation by which lines of one chip and role lean, what all lines of that chip do: one die, one lean",
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
