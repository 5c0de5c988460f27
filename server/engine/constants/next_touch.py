"""Numbers of what to do next: a part of the one table (see the package's words)."""

from server.engine.constants.table import num as _num

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
SECONDS_NAMED = int(_num("SECONDS_NAMED", 3, "1", "ASSUMED", "of what may be true beside a story, those named"))
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
