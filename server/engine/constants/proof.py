"""Numbers of the proof after a repair: a part of the one table (see the package's words)."""

from server.engine.constants.table import num as _num

LISTED_AT_MOST = int(_num("LISTED_AT_MOST", 12, "contacts", "ASSUMED", "more in one sentence are read by nobody"))
