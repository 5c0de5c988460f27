"""Numbers of what closed jobs teach, and of how honest odds are told: a part of the one table (see the package)."""

from server.engine.constants.table import num as _num

# ---- what closed jobs are weighed against --------------------------------------------------------
PRIOR_JOBS = _num("PRIOR_JOBS", 20.0, "jobs", "PRACTICE", "the table of what happens is worth about twenty closed jobs")
PRIOR_LINES = _num("PRIOR_LINES", 20.0, "lines", "ASSUMED", "what a voltage does to a line: as many as of the jobs")
PRIOR_TOUCHES = _num(
    "PRIOR_TOUCHES", 800.0, "touches", "PRACTICE",
    "1 to 3 in 100 touches fail: taken as two deviations of a beta about 2 in 100, p (1 - p) / 0.005^2 touches",
)
LEARNING_ROUNDS = int(_num("LEARNING_ROUNDS", 400, "rounds", "ASSUMED", "far more than the weights need to settle"))
LEARNING_SETTLED = _num("LEARNING_SETTLED", 1e-10, "1", "ASSUMED", "a share that moves less no longer moves a digit")

# ---- how honest odds were ------------------------------------------------------------------------------
HONEST_TAIL = _num("HONEST_TAIL", 0.025, "1", "PRACTICE", "either end of what 19 of 20 honest sets show")
HONEST_Z = _num("HONEST_Z", 1.6449, "sd", "SOURCE", "definition: 95th percentile of the normal distribution")
TOO_FEW_FLOOR = _num(
    "TOO_FEW_FLOOR", 0.1, "1", "ASSUMED", "where honest odds are off by one box in ten, nothing can be told of odds"
)
AMONG_FIRST = int(_num("AMONG_FIRST", 3, "stories", "PRACTICE", "what a person looks at of a list"))
PAUSE_S = _num("PAUSE_S", 60.0, "s", "ASSUMED", "a longer gap between two touches is a pause and counts as this much")
