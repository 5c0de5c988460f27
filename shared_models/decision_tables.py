"""Data of the decision: what comes before the first power, when to stop, how the data sit, the ways of going on.

Both sides hold them; the phone gets them with the other tables. Common practice, no source, all of it.
"""

from typing import Literal

from shared_models.base import Model
from shared_models.board import Role
from shared_models.choice import choices


class PowerCheckRow(Model, frozen=True, kw_only=True):
    """One line before power. `by`: the record shows it, a hand ticks it, or it is typed.

    `asks`: what is typed beside it. `for_roles` as of a make-safe step. `when_doubtful`: asked only where data
    matter and a low line is not explained. `waive_example`: a reason for which the line may be left out; where it
    is empty nothing waives it.
    """

    id: str
    title: str
    detail: str
    by: Literal["record", "hand"]
    asks: tuple[Literal["limit_ma", "expected_ma", "supply_mv", "who", "note"], ...] = ()
    for_roles: tuple[Role, ...] = ()
    when_doubtful: bool = False
    waive_example: str = ""


POWER_CHECKS: tuple[PowerCheckRow, ...] = (
    PowerCheckRow(
        id="lows_explained", title="Every low line explained", by="record", asks=("note",),
        detail="by what happened, proved, or named here with its reason",
    ),
    PowerCheckRow(id="main_rail_proved", title="Main rail proved", by="record", detail="measured when made safe"),
    PowerCheckRow(
        id="led_capacitor_proved", title="LED capacitor proved", by="record", for_roles=("led_plus",),
        detail="measured when made safe",
    ),
    PowerCheckRow(
        id="socket_looked_at", title="Socket looked at", by="record",
        detail="a photo of it, or what was seen, noted under Look",
    ),
    PowerCheckRow(
        id="plug_seated", title="Plug seated", by="hand",
        detail="pressed flat along its whole length, seen under the microscope",
        waive_example="nothing plugged in for this power-up",
    ),
    PowerCheckRow(
        id="limit_set", title="Current limit set into a short", by="hand",
        asks=("supply_mv", "limit_ma", "expected_ma"),
        detail="output on into a short first, then off; too low a limit lets a good board restart for ever",
    ),
    PowerCheckRow(
        id="leads_on_output_off", title="Leads on with the output off", by="hand",
        detail="a limit does not hold back what the output capacitor gives",
    ),
    PowerCheckRow(
        id="ramp_from_zero", title="Voltage up from zero", by="hand",
        detail="eyes on the current, a hand on the switch",
    ),
    PowerCheckRow(
        id="stands_by", title="Who stands by", by="hand", asks=("who",),
        detail="somebody who can switch off; nothing that burns near, a cell never unwatched",
    ),
    PowerCheckRow(
        id="sure_once", title="Each power-up can end what is left of the data", by="hand", when_doubtful=True,
        detail="a low line is not explained: say that you mean it",
    ),
    PowerCheckRow(
        id="sure_twice", title="Asked again: power, all the same?", by="hand", when_doubtful=True,
        detail="the owner knows, and nothing else can be tried first",
    ),
)  # fmt: skip
"""What comes before the first power: common practice, no source."""


class StopRow(Model, frozen=True, kw_only=True):
    """One line of the list when to stop. `seen`: what is noted when one sees it; none: the record alone tells."""

    id: str
    title: str
    look: str
    seen: str | None = None


STOP_LINES: tuple[StopRow, ...] = (
    StopRow(
        id="charred", title="Charred or blistered board layers", seen="charred",
        look="Brown or black board, blisters, copper that lifts.",
    ),
    StopRow(
        id="corroded_under_chip", title="Corrosion under the chip with the data", seen="corroded_under_chip",
        look="Green, white or black at its edge; damp that creeps under it.",
    ),
    StopRow(
        id="short_in_data_chip", title="A hard short left inside the chip with the data",
        look="After everything else on its line was lifted and read again.",
    ),
    StopRow(
        id="third_failed_lift", title="A third failed lift", seen="lift_failed",
        look="Pads that came off, a chip that would not seat. Each is noted once.",
    ),
    StopRow(
        id="minutes_above_limit", title="More bench time than agreed", look="Set what was agreed on the job sheet.",
    ),
    StopRow(
        id="data_and_only_heat_or_power", title="Data matter, and every next step heats or powers the board",
        look="Then somebody who does only data comes first.",
    ),
    StopRow(
        id="cell_swollen", title="A swollen or punctured cell", seen="cell_swollen",
        look="Stop, outside, do not press it, never reconnect it.",
    ),
)  # fmt: skip
"""When to stop: common practice, no source."""
LIFTS_FAILED_MAX = 3

STORAGE = choices(
    {
        "not_known": "not known",
        "soldered": "soldered to the board",
        "removable": "a drive or card that comes out",
        "sealed_to_chip": "soldered and sealed to another chip",
    }
)
DATA_SET = choices(
    {
        "not_known": "not known",
        "on_this_board": "on this board",
        "on_another_board": "on another board",
    }
)
OPTIONS = choices(
    {
        "reseat_or_clean": "Seat again or clean",
        "other_module": "Another module or cable",
        "replace_part": "Replace the part",
        "replace_socket": "Mend or replace the socket",
        "donor_board": "Another board in its place",
        "move_data_set": "Move processor, memory and storage",
        "specialist": "Hand on to a data specialist",
        "stop": "Stop here",
    }
)
