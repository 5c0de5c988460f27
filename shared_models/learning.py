"""What closed jobs teach: the questions to the engine and its answers. Nothing here is kept or travels.

A closing's own numbers (`ClosingFacts`) are made from the job's sheet when it is closed; what a shop has learnt
(`Learnt`) and how honest its odds were (`Honesty`) are made anew from its closings whenever somebody asks.
"""

from typing import Literal

from shared_models.base import Id, Model
from shared_models.board import SocketKind
from shared_models.closing import Closing, MetVoltage, SaidBefore, Share, ShopFigures, WasWrong
from shared_models.opinion import StoryKind
from shared_models.sheet import BenchSheet, Shop


class ClosingQuestion(Model, frozen=True, kw_only=True):
    """A job's sheet at its stage before the repair, with all readings; and what was really wrong."""

    sheet: BenchSheet
    was_wrong: tuple[WasWrong, ...] = ()


class ClosingAsked(Model, frozen=True, kw_only=True):
    """The same about a job of the record: its sheet is the record's."""

    job_id: Id
    was_wrong: tuple[WasWrong, ...] = ()


class ClosingFacts(Model, frozen=True, kw_only=True):
    """What goes into a closing by itself: fields of `Closing` of the same names.

    `healthy_readings` does not: readings after the repair that can stand as a healthy board's, if the board works.
    """

    said_before: tuple[SaidBefore, ...] = ()
    device_chance_before: Share | None = None
    data_chance_before: Share | None = None
    met_voltage: tuple[MetVoltage, ...] = ()
    socket_kind: SocketKind
    pitch_mm: float
    touches: int = 0
    failed_touches: int = 0
    reading_s: float | None = None
    sweep_s: float | None = None
    healthy_readings: tuple[Id, ...] = ()


class LearningQuestion(Model, frozen=True, kw_only=True):
    """All closings of a shop that are not taken back, in any order, and its figures."""

    closings: tuple[Closing, ...]
    figures: ShopFigures | None = None


class NotCounted(Model, frozen=True, kw_only=True):
    """Closed jobs that do not count here, and why."""

    code: Literal["disputed", "before_reset", "never_found_out", "only_believed", "not_in_table", "no_odds"]
    job_ids: tuple[Id, ...]
    sentence: str


class StoryLearnt(Model, frozen=True, kw_only=True):
    """One kind of story: how many closed jobs it was (shared where a job was several), its share before and after."""

    story: StoryKind
    words: str
    jobs: float
    in_table: Share
    learnt: Share


class StateLearnt(Model, frozen=True, kw_only=True):
    """How often lines of a class read so afterwards: how many did, the table's share, and the learnt one."""

    state: str
    lines: int
    in_table: Share
    learnt: Share


class ExposureLearnt(Model, frozen=True, kw_only=True):
    """One class of exposure: what met what, and what became of it."""

    exposure: str
    words: str
    lines: int
    states: tuple[StateLearnt, ...]


class TouchesLearnt(Model, frozen=True, kw_only=True):
    """First touches that failed at one pitch: how many of how many, the table's share, and the learnt one."""

    pitch: Literal["wide", "fine"]
    words: str
    touches: int
    failed: int
    in_table: Share
    learnt: Share


class MendLearnt(Model, frozen=True, kw_only=True):
    """One class of fault that was mended, or could not be: how often, the table's share that can, the learnt one."""

    fault: str
    words: str
    worked: int
    failed: int
    in_table: Share
    learnt: Share


class Learnt(Model, frozen=True, kw_only=True):
    """What the closed jobs say, beside the table. `shop` is what opinions are formed with; None: the table alone.

    The rows are there too when learning is switched off: they say what it would change. `not_learnt`: what closed
    jobs do not move, in a sentence each.
    """

    learns: bool
    jobs: int
    prior_jobs: float
    shop: Shop | None = None
    stories: tuple[StoryLearnt, ...] = ()
    exposures: tuple[ExposureLearnt, ...] = ()
    touches: tuple[TouchesLearnt, ...] = ()
    mends: tuple[MendLearnt, ...] = ()
    not_counted: tuple[NotCounted, ...] = ()
    not_learnt: tuple[str, ...] = ()


class HonestyBin(Model, frozen=True, kw_only=True):
    """Jobs whose leading story was given odds of about `tens` in ten.

    `said` is the mean of those odds, `came_true` how many of `jobs` were that story. Honest odds would give between
    `honest_low` and `honest_high` of them in 19 of 20 sets like this one (Poisson-binomial).
    """

    tens: int
    jobs: int
    said: Share
    came_true: int
    honest_low: int
    honest_high: int


class ChanceHonesty(Model, frozen=True, kw_only=True):
    """Chances that were said of devices, or of data, beside how they ended.

    `said_sum`: how many honest chances would have had come true on average. `brier`: mean of the squared distance.
    """

    of: Literal["device", "data"]
    jobs: int
    said_sum: float
    came_true: int
    honest_low: int
    honest_high: int
    brier: float
    sentence: str


class Honesty(Model, frozen=True, kw_only=True):
    """How honest the odds of closed jobs were.

    `off_by`: mean distance of what was said and what came true, over the bins by their jobs; `off_by_floor` what
    perfectly honest odds would show on average in a set of this size, `off_by_floor_high` in 1 of 20 sets at most.
    `brier = reliability - resolution + uncertainty` (Murphy) for the leading story with its odds in tens. `log_nat`
    is the mean of -ln of the odds given to what was really wrong, `log_floor` the least that is told of odds.
    `first` and `among_three`: how often the truth led, or was among the first three. Seconds are of the `timed_jobs`.
    """

    jobs: int
    too_few: bool
    bins: tuple[HonestyBin, ...] = ()
    off_by: float | None = None
    off_by_floor: float | None = None
    off_by_floor_high: float | None = None
    brier: float | None = None
    reliability: float | None = None
    resolution: float | None = None
    uncertainty: float | None = None
    log_nat: float | None = None
    log_floor: float
    first: int = 0
    among_three: int = 0
    chances: tuple[ChanceHonesty, ...] = ()
    timed_jobs: int = 0
    reading_s: float = 0.0
    sweep_s: float = 0.0
    sentences: tuple[str, ...] = ()
    not_counted: tuple[NotCounted, ...] = ()
