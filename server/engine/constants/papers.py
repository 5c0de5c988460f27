"""Numbers of the papers a job leaves with: the calendar, and how much stands on one page; a part of the one table."""

from server.engine.constants.table import mapping as _map
from server.engine.constants.table import num as _num

# ---- the calendar -----------------------------------------------------------------------------------
_GREGORIAN = "the Gregorian calendar as ISO 8601-1:2019, 3.1.1.18 and 4.2, takes it; cited from memory"
MONTH_DAYS = _map(
    "MONTH_DAYS",
    {
        "January": 31, "February": 28, "March": 31, "April": 30, "May": 31, "June": 30, "July": 31, "August": 31,
        "September": 30, "October": 31, "November": 30, "December": 31,
    },
    "days",
    "MEMORY",
    _GREGORIAN,
)
FIRST_YEAR = int(_num("FIRST_YEAR", 1970, "year", "MEMORY", "times are counted from 1970-01-01 UTC"))
YEAR_DAYS = int(_num("YEAR_DAYS", 365, "days", "MEMORY", _GREGORIAN))
LEAP_EVERY = int(_num("LEAP_EVERY", 4, "years", "MEMORY", _GREGORIAN))
NO_LEAP_EVERY = int(_num("NO_LEAP_EVERY", 100, "years", "MEMORY", _GREGORIAN))
LEAP_AGAIN_EVERY = int(_num("LEAP_AGAIN_EVERY", 400, "years", "MEMORY", _GREGORIAN))
MS_PER_S = int(_num("MS_PER_S", 1000, "ms", "SOURCE", "SI prefixes, BIPM SI brochure 9th ed., section 3"))
S_PER_MIN = int(_num("S_PER_MIN", 60, "s", "SOURCE", "BIPM SI brochure 9th ed., table 8"))
MIN_PER_H = int(_num("MIN_PER_H", 60, "min", "SOURCE", "BIPM SI brochure 9th ed., table 8"))
H_PER_DAY = int(_num("H_PER_DAY", 24, "h", "SOURCE", "BIPM SI brochure 9th ed., table 8"))

# ---- one page -----------------------------------------------------------------------------------------
NUMBERS_ON_PAGE = int(_num("NUMBERS_ON_PAGE", 3, "lines", "PRACTICE", "an owner compares three numbers, not thirty"))
OWN_WORDS_ON_PAGE = int(_num("OWN_WORDS_ON_PAGE", 240, "letters", "ASSUMED", "three lines of a page"))
NAMES_ON_PAGE = int(_num("NAMES_ON_PAGE", 6, "names", "ASSUMED", "two lines of a page; the rest is counted"))
RETURNED_ON_PAGE = int(_num("RETURNED_ON_PAGE", 4, "notes", "ASSUMED", "what went back last; four lines of a page"))
NAME_ON_PAGE = int(_num("NAME_ON_PAGE", 60, "letters", "ASSUMED", "a name fits a line; more is cut with …"))
TENS_LEAST = _num("TENS_LEAST", 0.05, "probability", "ASSUMED", "below it tens say nothing: under 1 in 20")
TENS_MOST = _num("TENS_MOST", 0.95, "probability", "ASSUMED", "above it tens say nothing: over 19 in 20")
TENS = int(_num("TENS", 10, "1", "PRACTICE", "chances are said in tens, without decimals"))
SETTLED_ODDS = _num("SETTLED_ODDS", 0.5, "probability", "ASSUMED", "what is less likely than not is not told as found")
BESIDE_ODDS = _num("BESIDE_ODDS", 0.5, "probability", "ASSUMED", "a second fault is told once it is likelier than not")
