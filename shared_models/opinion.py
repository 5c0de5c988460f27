"""What the engine answers. Every verdict carries the numbers it rests on.

A `Reason` is a code with numbers and the sentence made of them, so that tests and translations
need not parse prose. Numbers are rounded at one place (`server/engine/rounding.py`). What may come of it all
is `chances`.
"""

from typing import Literal

from shared_models.base import BODY_V, Id, Model
from shared_models.chances import BeforePower, Chances, Options, StopLine
from shared_models.reading import LeadOnGround, Place, ReadingKind, Subject, Touch
from shared_models.reason import Number as Number
from shared_models.reason import Reason as Reason

Verdict = Literal["expected", "short", "low", "high", "open", "unseen", "unsteady", "unread"]

StoryKind = Literal[
    "nothing_wrong",
    "elsewhere",
    "plug_off_by",
    "plugged_live",
    "bridge",
    "contact_torn",
    "shunt_short",
    "series_open",
    "leak",
    "chip_damaged",
    "rail_short",
    "counted_differently",
    "plug_tilted",
    "tool_slip",
    "part_knocked_off",
    "wet",
    "cracked_joint",
    "cable_flipped",
    "leads_swapped",
    "other_revision",
    "meter_differs",
    "still_powered",
    "separate_faults",
]

DecisionKind = Literal[
    "nothing",
    "module",
    "reseat_or_clean",
    "socket",
    "series_part",
    "shunt_part",
    "chip",
    "hunt_rail",
    "redo_reading",
    "one_by_one",
]


class Question(Model, frozen=True, kw_only=True):
    """Something the engine must ask before it can use a record."""

    code: str
    sentence: str
    reading_id: Id | None = None
    contact: str | None = None
    could_be: tuple[str, ...] = ()


class SetAside(Model, frozen=True, kw_only=True):
    """A record that was not used, and why. Nothing is dropped in silence."""

    record_id: Id
    code: str
    sentence: str


class Session(Model, frozen=True, kw_only=True):
    """What all readings of this session have in common.

    `current_ma` and `junction_c` are the fitted test current and board temperature with one
    standard deviation each; `shift_mv` is what that does to a plain junction of this socket against
    the references; `offset_mv` is used only for contacts without any known path.
    """

    current_ma: float | None = None
    current_sd_pct: float | None = None
    junction_c: float | None = None
    junction_sd_k: float | None = None
    shift_mv: float = 0.0
    shift_sd_mv: float = 0.0
    offset_mv: float = 0.0
    contacts_used: int = 0
    told_by_sheet: bool = False
    reasons: tuple[Reason, ...] = ()


class OutcomeOdds(Model, frozen=True, kw_only=True):
    """The probability that the contact is in each state, all readings together."""

    expected: float = 0.0
    short: float = 0.0
    low: float = 0.0
    high: float = 0.0
    open: float = 0.0


class BoardMark(Model, frozen=True, kw_only=True):
    """One reference board at one contact under one lead.

    `read_mv` is what its own meter showed (the mean of its touches), `carried_mv` the same on the band's meter
    and at its temperature; of a board in the band, freed of what all its readings share, as the band is made.
    `counts` false: set aside by hand, or found to be the odd one out.
    """

    reference_board_id: Id
    read_mv: float | None = None
    carried_mv: float | None = None
    reads_ol: bool = False
    same_meter: bool = False
    counts: bool = True


class Band(Model, frozen=True, kw_only=True):
    """What a healthy contact reads here, with this meter and at this temperature.

    `centre_mv` with the 95 % prediction limits; `reads_ol` when a healthy one shows OL.
    `rests_on`: reference boards, siblings on this board, or the role alone. `marks`, one a reference board,
    is filled where bands are what is asked for (`HealthyBands`) and empty in an opinion on a job.
    """

    rests_on: Literal["reference_boards", "siblings", "role"]
    reference_boards: int = 0
    siblings: tuple[str, ...] = ()
    reads_ol: bool = False
    centre_mv: float | None = None
    low_mv: float | None = None
    high_mv: float | None = None
    carried_by_mv: float = 0.0
    set_aside_boards: tuple[Id, ...] = ()
    marks: tuple[BoardMark, ...] = ()


class ContactOpinion(Model, frozen=True, kw_only=True):
    """One contact: the verdict, the odds of each state, and the numbers they rest on.

    `written_as` is the number the technician wrote when the counting turned out different.
    `touch_again`: out of the band on one touch; not settled before it has been touched once more.
    """

    contact: str
    verdict: Verdict
    odds: OutcomeOdds
    band: Band
    drop_mv: float | None = None
    reads_ol: bool = False
    off_by_mv: float | None = None
    off_by_sd: float | None = None
    touches: int = 0
    touch_again: bool = False
    written_as: str | None = None
    lead_on_ground: LeadOnGround = "red"
    reading_ids: tuple[Id, ...] = ()
    reasons: tuple[Reason, ...] = ()


class Story(Model, frozen=True, kw_only=True):
    """One account of what happened.

    `odds` is its probability (with whatever independent second story). `group`: stories with the
    same group number are told apart by no reading so far. `second` names the independent second
    story most probable beside it, with `second_odds`.
    """

    kind: StoryKind
    subject: str
    title: str
    odds: float
    group: int
    explains: tuple[str, ...] = ()
    leaves_open: tuple[str, ...] = ()
    second: str | None = None
    second_title: str | None = None
    second_odds: float = 0.0
    reasons: tuple[Reason, ...] = ()


class Decision(Model, frozen=True, kw_only=True):
    """What would be done, with the odds that this is the right thing."""

    kind: DecisionKind
    subject: str
    odds: float
    data_at_risk: bool
    sentence: str


class NextTouch(Model, frozen=True, kw_only=True):
    """Where to put the probe next.

    `gain_bits`: expected information about the decision; `seconds`: locating, touching, settling
    from where the probe is; `risk`: chance of making something worse. `run` lists the contacts of a
    short run read in one go; `meter_id` names the meter to take where it is another than the session's.
    """

    touch: Touch
    kind: ReadingKind
    title: str
    gain_bits: float
    seconds: float
    risk: float
    subject: Subject = "board_socket"
    place: Place = "spring"
    lead_on_ground: LeadOnGround | None = "red"
    run: tuple[str, ...] = ()
    action: Literal[
        "read",
        "retouch",
        "other_polarity",
        "reseat",
        "known_good_module",
        "clean_and_read",
        "second_current",
        "torch",
        "draw",
        "heat",
        "millivolts",
        "lift_and_read",
    ] = "read"
    reasons: tuple[Reason, ...] = ()
    meter_id: str | None = None


class Stop(Model, frozen=True, kw_only=True):
    """Why no further touch is proposed."""

    code: str
    sentence: str


class Numbering(Model, frozen=True, kw_only=True):
    """Which way the technician counts. `order` is how the written numbers run on the drawn socket."""

    order: str
    sentence: str
    probability: float
    anchors: tuple[str, ...] = ()
    settled: bool = False


class Reminder(Model, frozen=True, kw_only=True):
    """One line of caution: a reason and what to do. `blocks` ones say what opens them."""

    code: str
    sentence: str
    blocks: bool = False


class Overstress(Model, frozen=True, kw_only=True):
    """One line that met a voltage it should not, for one way the plug can sit wrong.

    `meets`: whether the board's contact or the module's plug contact meets it. `over_limit_mv` is
    how far above the limit (negative: inside). `through_ohm` is what lies between.
    """

    slip: int
    meets: Literal["board", "module"]
    contact: str
    from_contact: str
    volts_mv: float
    limit_mv: float | None
    over_limit_mv: float | None
    through_ohm: float
    energy_mj: float | None = None
    shorted_to_ground: bool = False


class Opinion(Model, frozen=True, kw_only=True):
    """The one answer of the engine. `learnt`: what of the shop's closed jobs moved its odds; empty: nothing did."""

    engine_version: str
    constants_version: str
    sheet_id: Id
    sheet_digest: str
    gate_open: bool
    gate_waits_for: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    session: Session
    numbering: Numbering
    contacts: tuple[ContactOpinion, ...]
    stories: tuple[Story, ...]
    decisions: tuple[Decision, ...]
    next: tuple[NextTouch, ...]
    stop: Stop | None = None
    reminders: tuple[Reminder, ...] = ()
    chances: Chances | None = None
    options: Options | None = None
    stop_list: tuple[StopLine, ...] = ()
    before_power: BeforePower | None = None
    learnt: tuple[Reason, ...] = ()
    v: int = BODY_V
