"""What may come of a job: chances for the device and the data, ways of going on, when to stop, what precedes power.

Device and data are two questions. A chance is a probability with an interval, told in tens; its reasons name
readings, contacts and parts, and what it rests on.
"""

from typing import Literal

from shared_models.base import Model
from shared_models.reason import Reason

OptionKind = Literal[
    "reseat_or_clean",
    "other_module",
    "replace_part",
    "replace_socket",
    "donor_board",
    "move_data_set",
    "specialist",
    "stop",
]
Undone = Literal["yes", "in_part", "no"]


DrawCode = Literal["none", "at_limit", "stuck_low", "in_steps", "as_expected", "above_expected", "below_expected"]


class Chance(Model, frozen=True, kw_only=True):
    """`odds` with the interval `low` to `high` that holds it in eight of ten cases; `in_tens` in words."""

    odds: float
    low: float
    high: float
    in_tens: str
    reasons: tuple[Reason, ...] = ()


class RestsOn(Model, frozen=True, kw_only=True):
    """What chances rest on: healthy boards that were read, closed jobs of the shop, else general experience."""

    reference_boards: int = 0
    past_jobs: int = 0
    sentence: str


class Chances(Model, frozen=True, kw_only=True):
    """`device`: it works again, without what lies behind `without` if that cannot be mended; `in_full`: with all.

    `in_full` is none where nothing has to stay behind. `data` is none where no data are on this board; `storage` says
    how they were taken to sit, `storage_told` whether a person or the board said so.
    """

    device: Chance
    in_full: Chance | None = None
    without: tuple[str, ...] = ()
    data: Chance | None = None
    storage: Literal["not_known", "soldered", "removable", "sealed_to_chip", "on_another_board"] = "not_known"
    storage_told: bool = False
    rests_on: RestsOn


class Option(Model, frozen=True, kw_only=True):
    """One way of going on.

    `device_odds`: that this alone brings the device back; `data_odds`: that the data can be had if this is done and
    the road then goes on, none where it says nothing of them. `whole_cost` in the shop's currency, none without its
    figures. `work_h_from`: whose hours. `helps` false: it does nothing for what was found. `heading`: the title with
    what it is about; `about`: parts, rails and contacts. `beside`: it mends one part of what is likeliest, and these
    are needed as well.
    """

    kind: OptionKind
    title: str
    about: tuple[str, ...] = ()
    device_odds: float
    device_in_tens: str
    data_odds: float | None = None
    data_in_tens: str = ""
    work_h: float
    work_h_from: Literal["shop", "common_practice"] = "common_practice"
    whole_cost: float | None = None
    over_cost: bool = False
    over_time: bool = False
    undone: Undone = "yes"
    goes_wrong: str = ""
    helps: bool = True
    heading: str = ""
    beside: tuple[OptionKind, ...] = ()
    reasons: tuple[Reason, ...] = ()


class Options(Model, frozen=True, kw_only=True):
    """The ways of going on, in the order to try them, and why in that order.

    `by_cost`: the order is by chance per cost (else per hour, without the shop's figures).
    `currency` and `limit_cost` are the shop's and the owner's; `own_figures` false: the shop has none of its own.
    """

    ways: tuple[Option, ...]
    order: tuple[Reason, ...] = ()
    own_figures: bool = False
    by_cost: bool = False
    currency: str = ""
    limit_cost: float | None = None
    limit_work_min: float | None = None
    worked_min: float = 0.0


class StopLine(Model, frozen=True, kw_only=True):
    """One line of the list when to stop: the record shows that it holds, or that it does not, or one must look."""

    id: str
    title: str
    state: Literal["holds", "does_not_hold", "look"]
    sentence: str
    contacts: tuple[str, ...] = ()


class PowerLine(Model, frozen=True, kw_only=True):
    """One line before power. `state`: shown by the record, ticked by hand, waived with a reason, or missing."""

    id: str
    title: str
    state: Literal["shown", "ticked", "waived", "missing"]
    sentence: str
    contacts: tuple[str, ...] = ()


class DrawJudged(Model, frozen=True, kw_only=True):
    """The draw that was seen beside the one expected, and what it means next."""

    observation_id: str
    code: DrawCode
    draw_ma: float | None = None
    expected_ma: float | None = None
    limit_ma: float | None = None
    sentence: str
    stop: bool = False


class BeforePower(Model, frozen=True, kw_only=True):
    """What must stand before power goes on. `may` only when no line is missing; `stops_at` names the first.

    `ask_twice`: data matter and a low line is not explained, so each power-up can end what is left. `lows`: the
    contacts that nothing explains yet.
    """

    may: bool
    lines: tuple[PowerLine, ...]
    stops_at: str = ""
    sentence: str
    ask_twice: bool = False
    lows: tuple[str, ...] = ()
    draw: DrawJudged | None = None
