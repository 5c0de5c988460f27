"""What comes of a fault once it is known: a part of the one table (see the package's words).

A rate is (worked, failed): pseudo-jobs of a beta distribution. Twenty of them are what the trade's experience is held
to be worth; where less is known they are fewer, and the interval is wider.
"""

from typing import NamedTuple

from server.engine.constants.table import TABLE, Entry
from server.engine.constants.table import mapping as _map
from server.engine.constants.table import num as _num
from shared_models.chances import Undone

Rate = tuple[float, float]


class Mend(NamedTuple):
    """One class of fault: mended in full, left as it is and the rest works without, starts far enough for the data."""

    mended: Rate
    left: Rate | None
    starts: Rate
    why: str


MENDS: dict[str, Mend] = {
    "no_fault": Mend((19.4, 0.6), None, (19.8, 0.2), "nothing wrong at this socket"),
    "module": Mend((19.6, 0.4), None, (19.8, 0.2), "the module, its cable or its seat"),
    "seat": Mend((19.1, 0.9), None, (19.7, 0.3), "solder or a plug's seat: cleaned, reflowed, seated"),
    "contact": Mend((19.0, 1.0), None, (19.7, 0.3), "a contact or the socket: straightened or replaced"),
    "small_part": Mend((19.0, 1.0), None, (19.6, 0.4), "a fuse, ferrite, resistor or capacitor"),
    "line": Mend((16.0, 4.0), None, (18.8, 1.2), "a leak that no part has been named for"),
    "chip": Mend((16.0, 4.0), None, (18.6, 1.4), "a chip that has nothing to do with the data"),
    "rail": Mend((15.0, 5.0), None, (16.0, 4.0), "a rail shorted somewhere"),
    "wet": Mend((14.0, 6.0), None, (16.0, 4.0), "damp and corrosion, of unknown reach"),
    "cracked": Mend((11.0, 9.0), None, (13.0, 7.0), "a joint under a chip"),
    "unread": Mend((2.4, 1.6), None, (3.0, 1.0), "a sheet that must be read again first"),
    "data_chip": Mend((3.0, 17.0), (17.2, 2.8), (17.2, 2.8), "lines of the chip that guards the data"),
    "data_store": Mend((2.0, 18.0), (10.0, 10.0), (9.0, 11.0), "lines of the chip that holds the data"),
    "data_shorted": Mend((0.4, 19.6), (0.4, 19.6), (0.4, 19.6), "a hard short left inside the chip with the data"),
}
TABLE.append(
    Entry(
        "MENDS", MENDS, "pseudo-jobs",
        "PRACTICE", "what benches tell of mending such faults; worth about twenty jobs, `unread` four",
    )
)  # fmt: skip
RESCUES: dict[str, Rate] = {
    "removable": (19.0, 1.0),
    "soldered": (10.0, 10.0),
    "sealed_to_chip": (8.0, 12.0),
    "not_known": (4.0, 6.0),
}
TABLE.append(
    Entry(
        "RESCUES", RESCUES, "pseudo-jobs", "ASSUMED",
        "the data had without this board: a drive read elsewhere, a chip read by itself, the set of chips moved",
    )
)  # fmt: skip
DONOR: Rate = (18.0, 2.0)
TABLE.append(Entry("DONOR", DONOR, "pseudo-jobs", "PRACTICE", "another board of the same kind brings the machine back"))
SET_MOVED: Rate = (8.0, 12.0)
TABLE.append(
    Entry("SET_MOVED", SET_MOVED, "pseudo-jobs", "ASSUMED", "processor, memory and storage moved together, and working")
)
SPECIALIST: Rate = (12.0, 8.0)
TABLE.append(
    Entry("SPECIALIST", SPECIALIST, "pseudo-jobs", "ASSUMED", "data a specialist still gets where a board does not")
)  # fmt: skip
SHARES: dict[str, dict[str, float]] = {
    "reseat_or_clean": {"no_fault": 0.3, "module": 0.25, "seat": 0.8, "wet": 0.9, "contact": 0.25, "line": 0.3},
    "other_module": {"no_fault": 0.5, "module": 0.9},
    "replace_part": {"small_part": 1.0, "chip": 1.0, "rail": 1.0, "line": 0.6, "cracked": 0.8},
    "replace_socket": {"contact": 1.0, "seat": 0.9, "wet": 0.2},
}
TABLE.append(
    Entry("SHARES", SHARES, "1", "ASSUMED", "how often a fault of this class is one that this way of going on reaches")
)


class OptionRow(NamedTuple):
    """A way of going on: hours by common practice, the chance that it harms the data's road, whether it is undone."""

    hours: float
    harm: float
    undone: Undone


OPTION_ROWS: dict[str, OptionRow] = {
    "reseat_or_clean": OptionRow(0.5, 0.002, "yes"),
    "other_module": OptionRow(0.5, 0.01, "yes"),
    "replace_part": OptionRow(1.0, 0.015, "in_part"),
    "replace_chip": OptionRow(2.0, 0.05, "no"),
    "replace_socket": OptionRow(1.5, 0.08, "no"),
    "donor_board": OptionRow(2.0, 0.0, "yes"),
    "move_data_set": OptionRow(8.0, 0.0, "no"),
    "specialist": OptionRow(0.5, 0.0, "yes"),
    "stop": OptionRow(0.25, 0.0, "yes"),
}
TABLE.append(
    Entry(
        "OPTION_ROWS", OPTION_ROWS, "h, 1", "PRACTICE",
        "hours at the bench and the chance of making it worse, as in the table of touches; donor board, moved set and "
        "the hours of what leaves the bench: assumed",
    )
)  # fmt: skip
POWER_UP_HARM = _num(
    "POWER_UP_HARM", 0.03, "1", "PRACTICE", "what one power-up on an unexplained low line can end, each time"
)
INTERVAL_TAIL = _num("INTERVAL_TAIL", 0.1, "1", "ASSUMED", "left out on either side: eight of ten cases lie inside")
CDF_STEPS = int(_num("CDF_STEPS", 40, "steps", "ASSUMED", "fine enough for chances told in tens; finer at both ends"))
CDFS_KEPT = int(_num("CDFS_KEPT", 2048, "distributions", "ASSUMED", "more than the classes of fault of a busy day"))
BRANCH_COUNTS = _num("BRANCH_COUNTS", 0.004, "1", "ASSUMED", "what is less likely moves no interval told in tens")
SURELY = _num("SURELY", 0.98, "1", "ASSUMED", "a line hurt, or not, more surely than this is taken as so")
HYPOTHESIS_COUNTS = _num("HYPOTHESIS_COUNTS", 0.002, "1", "ASSUMED", "beside the likeliest; the rest moves no ten")
CHIPS_IN_DOUBT = int(_num("CHIPS_IN_DOUBT", 3, "chips", "ASSUMED", "of one event whose hurt is left open, both ways"))
HALF_WAY = _num("HALF_WAY", 0.3, "1", "ASSUMED", "of a ten past a whole one: from here both tens are named")
TWO_FAULTS = _num("TWO_FAULTS", 0.2, "1", "ASSUMED", "p/c needs a single fault: above this it does not hold")
SETTLED = _num("SETTLED", 0.9, "1", "ASSUMED", "a low line is explained when stories this likely together speak of it")
OVER_REACH = _num("OVER_REACH", 0.01, "1", "ASSUMED", "a way that brings less does nothing for what was found")
IDLE_MS = _num("IDLE_MS", 900_000.0, "ms", "ASSUMED", "a gap of more than a quarter of an hour is no bench time")
MS_PER_MIN = _num("MS_PER_MIN", 60_000.0, "ms", "SOURCE", "BIPM SI brochure 9th ed., table 8")
DRAW_BAND = _map(
    "DRAW_BAND", {"low": 0.5, "high": 1.5}, "1", "PRACTICE", "times the expected draw; outside it is another draw"
)
DRAW_NOTHING_MA = _num("DRAW_NOTHING_MA", 2.0, "mA", "ASSUMED", "below this a supply shows nothing drawn")
AT_LIMIT = _num("AT_LIMIT", 0.97, "1", "ASSUMED", "this close to its limit a supply limits")
HARD_SHORT_OHM = _num("HARD_SHORT_OHM", 5.0, "ohm", "PRACTICE", "left behind the part in line: no leak, a hard short")
