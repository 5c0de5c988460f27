"""Numbers of a meter's own sheet, and of two meters side by side: a part of the one table (see the package's words)."""

from server.engine.constants.table import TABLE, Entry
from server.engine.constants.table import num as _num

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
BESIDE_TOLERANCE_PCT = _num(
    "BESIDE_TOLERANCE_PCT", 1.0, "%", "ASSUMED", "of a resistor whose tolerance was not told: the usual film resistor"
)
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
PAIR_MOST_DF = _num("PAIR_MOST_DF", 1000.0, "contacts", "ASSUMED", "with more Student's t is the normal law to 0.2 %")
PAIR_STEPS = int(_num("PAIR_STEPS", 30, "steps", "ASSUMED", "Newton steps; quadratic after the third"))
PAIR_LEAST_MV = _num("PAIR_LEAST_MV", 100.0, "mV", "ASSUMED", "below it there is no junction to compare by")
