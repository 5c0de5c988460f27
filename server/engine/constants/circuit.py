"""Numbers of the circuit behind a contact: a part of the one table (see the package's words)."""

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
LARGEST_EXPONENT = _num("LARGEST_EXPONENT", 700.0, "1", "ASSUMED", "exp of more is beyond a double")
GMIN_START_S = _num("GMIN_START_S", 1e-2, "S", "ASSUMED", "first conductance of gmin stepping, where Newton failed")
GMIN_FACTOR = _num("GMIN_FACTOR", 0.1, "1", "SOURCE", "a decade at a time, gmin stepping as in ngspice 39, 2023")
LADDER_LEAK_MV = _num(
    "LADDER_LEAK_MV",
    0.002,
    "mV",
    "ASSUMED",
    "what a reverse junction counted at its full IS may cost the one-line form",
)
