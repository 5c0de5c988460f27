"""Numbers of the circuit behind a contact: a part of the one table (see the package's words)."""

from server.engine.constants.table import TABLE, Entry
from server.engine.constants.table import num as _num

# ---- the diode law ----------------------------------------------------------------------------------
NOMINAL_C = _num("NOMINAL_C", 27.0, "degC", "SOURCE", "TNOM = 27 degC, SPICE default as in ngspice 39, 2023")
LEAST_SATURATION_MA = _num(
    "LEAST_SATURATION_MA", 1e-24, "mA", "ASSUMED", "IS of a white LED; below it there is no junction to speak of"
)
MOST_SATURATION_MA = _num(
    "MOST_SATURATION_MA", 10.0, "mA", "ASSUMED", "a power Schottky, hot; above it a diode is a short to a meter"
)
LEAST_IDEALITY = _num(
    "LEAST_IDEALITY", 0.8, "1", "ASSUMED", "n is 1 to 2 in silicon; a fit of noisy readings may come out lower"
)
MOST_IDEALITY = _num("MOST_IDEALITY", 8.0, "1", "ASSUMED", "LEDs and two junctions in a row fit with n up to 7")
COLDEST_C = _num("COLDEST_C", -60.0, "degC", "ASSUMED", "colder than any bench; AirC of the records ends here")
HOTTEST_C = _num("HOTTEST_C", 150.0, "degC", "ASSUMED", "above it silicon is no longer read but cooked")
W_STEPS = int(_num("W_STEPS", 20, "steps", "ASSUMED", "Newton steps to Lambert's W; quadratic, four are usual"))
W_STOP = _num("W_STOP", 1e-13, "1", "ASSUMED", "relative step that moves no printed digit")

# ---- the nodal solve --------------------------------------------------------------------------------
GMIN_S = _num("GMIN_S", 1e-12, "S", "SOURCE", "GMIN = 1e-12, SPICE default as in ngspice 39, 2023")
LEAST_OHM = _num("LEAST_OHM", 1e-4, "ohm", "ASSUMED", "a dead short in the arithmetic: 0.0001 mV at 1 mA")
MOST_OHM = _num("MOST_OHM", 1e12, "ohm", "ASSUMED", "above any insulation a meter can tell from none")
NEWTON_STEPS = int(_num("NEWTON_STEPS", 100, "steps", "SOURCE", "ITL1 = 100, SPICE default as in ngspice 39, 2023"))
NEWTON_STOP_MV = _num(
    "NEWTON_STOP_MV", 0.005, "mV", "ASSUMED", "last step; the error after it is a millionth of a millivolt"
)
DEEP_REVERSE = _num("DEEP_REVERSE", 40.0, "n Vt", "ASSUMED", "exp(-40) of IS is below the last digit of a double")
GMIN_START_S = _num("GMIN_START_S", 1e-2, "S", "ASSUMED", "first conductance of gmin stepping, where Newton failed")
GMIN_FACTOR = _num("GMIN_FACTOR", 0.1, "1", "SOURCE", "a decade at a time, gmin stepping as in ngspice 39, 2023")
LADDER_LEAK_MV = _num(
    "LADDER_LEAK_MV",
    0.002,
    "mV",
    "ASSUMED",
    "what a reverse junction counted at its full IS may cost the one-line form",
)

# ---- parts nobody told a value of -------------------------------------------------------------------
CONTACT_OHM = _num("CONTACT_OHM", 0.6, "ohm", "PRACTICE", "probe and contact")
FUSE_OHM = _num("FUSE_OHM", 0.1, "ohm", "PRACTICE", "a small fuse, cold")
FERRITE_OHM = _num("FERRITE_OHM", 0.3, "ohm", "PRACTICE", "a ferrite bead at DC")
LEAST_RAIL_LOAD_MV = _num("LEAST_RAIL_LOAD_MV", 20.0, "mV", "ASSUMED", "the least an unpowered rail drops at 1 mA")
CLAMP_OHM_SD = _num("CLAMP_OHM_SD", 5.0, "ohm", "ASSUMED", "spread of what lies inside a chip before its clamp")
LINE_MV_SD = _num("LINE_MV_SD", 150.0, "mV", "ASSUMED", "prior of a junction's drop at 1 mA, any chip")
LINE_MV = _num("LINE_MV", 450.0, "mV", "PRACTICE", "a line that nobody has read yet, 1 mA and 27 degC")
FIT_STEPS = int(_num("FIT_STEPS", 12, "steps", "ASSUMED", "Gauss-Newton steps of a clamp's fit; five are usual"))
FIT_STOP = _num("FIT_STOP", 1e-6, "1", "ASSUMED", "a step in prior deviations that moves no printed digit")

# ---- what a number means ----------------------------------------------------------------------------
VISIBLE_DEVIATIONS = _num(
    "VISIBLE_DEVIATIONS", 3.0, "deviations", "PRACTICE", "a shift of less is not told from the healthy spread"
)
TWO_SIDED_95 = _num("TWO_SIDED_95", 1.959964, "deviations", "SOURCE", "definition: 97.5 % point of the normal law")
HALVINGS = int(_num("HALVINGS", 60, "steps", "ASSUMED", "halving to the last digit of a double"))
ZERO_SD_MV = _num("ZERO_SD_MV", 1.0, "mV", "PRACTICE", "shorted leads show 0 to 3 mV")
LEAK_SEARCH_STOP = _num("LEAK_SEARCH_STOP", 1e-9, "ln", "ASSUMED", "a leak is found to a millionth of a per cent")
IN_LINE = ("contact", "resistor", "ferrite", "fuse")
TABLE.append(Entry("IN_LINE", IN_LINE, "kinds of part", "PRACTICE", "what lies in a line; the rest leads off it"))
SHORT_BELOW_OHM = _num("SHORT_BELOW_OHM", 10.0, "ohm", "PRACTICE", "what is left of a short is under 10 ohm")
SHORT_WITHIN_OHM = _num(
    "SHORT_WITHIN_OHM", 30.0, "ohm", "ASSUMED", "what may be more than this is not called a short, only a leak"
)
LEAST_SHARE_LEFT = _num(
    "LEAST_SHARE_LEFT", 1e-4, "1", "ASSUMED", "of a junction that a leak leaves less than this nothing is asked"
)
SLOPE_SHARE = _num("SLOPE_SHARE", 1e-4, "1", "ASSUMED", "step of a numerical slope, as a share of the quantity")
ANCHOR_STEPS = int(
    _num("ANCHOR_STEPS", 20, "steps", "ASSUMED", "Newton steps to a circuit's own reading; three are usual")
)
ANCHOR_STOP_MV = _num("ANCHOR_STOP_MV", 1e-4, "mV", "ASSUMED", "a step that moves no printed digit")
SHARES_AT = (0.004, 0.01, 0.02, 0.04, 0.08, 0.16, 0.3, 0.5, 0.7, 0.85, 0.95)
TABLE.append(Entry("SHARES_AT", SHARES_AT, "1", "ASSUMED", "by what share of its drop a branching line is pulled down"))
REACH_NVT = _num(
    "REACH_NVT", 8.0, "n Vt", "ASSUMED", "300 mV off the role's own drop is another kind of circuit, not this one"
)
