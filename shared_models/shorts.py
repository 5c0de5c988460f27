"""A shorted rail: what may be joined to it, how far to inject, where the short lies.

The question carries records as they are; a point or a setting that makes no sense is answered with a refusal that
names it, and whatever else can be answered still is.
"""

from typing import Literal

from shared_models.base import BODY_V, Id, Model
from shared_models.board import BoardVersion, RailKind
from shared_models.job import DataMatters
from shared_models.power import RailPoint
from shared_models.reading import Reading


class ShortRailQuestion(Model, frozen=True, kw_only=True):
    """Everything known of one shorted rail.

    `readings` are the job's (ohms of rails among them), `points` millivolts along this rail. `set_mv`, `set_ma`: what
    the supply is set to, before its output goes on. `asked_twice`: the owner was asked twice about the data.
    """

    board: BoardVersion
    rail: str
    readings: tuple[Reading, ...] = ()
    points: tuple[RailPoint, ...] = ()
    removed_ids: tuple[Id, ...] = ()
    data_matters: DataMatters = "not_asked"
    asked_twice: bool = False
    set_mv: float | None = None
    set_ma: float | None = None


class RailBeside(Model, frozen=True, kw_only=True):
    """A rail that may be joined to the shorted one.

    `must`: its ohms come before any injection. `through_part`: a part lies between them, which counts as joined.
    `working_mv` is the board's, or with `assumed` the lowest usual for its kind. `ohm` as measured from rail to rail.
    """

    net: str
    rail_kind: RailKind
    working_mv: float
    assumed: bool
    state: Literal["apart", "joined", "through_part", "not_measured"]
    must: bool
    sentence: str
    ohm: float | None = None
    reading_id: Id | None = None
    touch_name: str = ""


class SupplyLimits(Model, frozen=True, kw_only=True):
    """Where to begin and where to stop. `ceiling_rail` is the rail that sets the ceiling."""

    start_mv: float
    start_ma: float
    ceiling_mv: float
    ceiling_rail: str
    sentences: tuple[str, ...]


class Refusal(Model, frozen=True, kw_only=True):
    """What cannot be used, in words, and the points it is about. The records stay as they are."""

    code: str
    sentence: str
    point_ids: tuple[Id, ...] = ()


class LinePoint(Model, frozen=True, kw_only=True):
    """One point of the line as it was used; `set_aside` why it was not."""

    point_id: Id
    place: str
    along_squares: float
    mv: float
    fitted_mv: float | None = None
    set_aside: str = ""


class LineCorner(Model, frozen=True, kw_only=True):
    """A corner of the fitted line."""

    along_squares: float
    mv: float


class LineFit(Model, frozen=True, kw_only=True):
    """The broken line: it falls to the short and is level beyond it.

    `low_squares`, `high_squares`: 95 % interval of the place by profile likelihood; `high_squares` None: the last
    point may still lie before the short. `noise_mv`: what one point is off by. `short_ohm` and `mohm_per_square`
    where the current is known.
    """

    points: tuple[LinePoint, ...]
    corners: tuple[LineCorner, ...]
    at_squares: float
    low_squares: float
    high_squares: float | None
    level_mv: float
    mv_per_square: float
    noise_mv: float
    short_ohm: float | None = None
    mohm_per_square: float | None = None
    sentence: str = ""


class NextPlace(Model, frozen=True, kw_only=True):
    """Where to measure next; `now` and `then`: two standard deviations of the place, in squares or millimetres."""

    sentence: str
    along_squares: float | None = None
    part: str = ""
    pin: str = ""
    x_mm: float | None = None
    y_mm: float | None = None
    now: float | None = None
    then: float | None = None


class PlaneSpot(Model, frozen=True, kw_only=True):
    """A pad of the rail and how likely the short is there."""

    part: str
    pin: str
    x_mm: float
    y_mm: float
    odds: float


class PlaneFit(Model, frozen=True, kw_only=True):
    """The short on a plane: pads by their odds, on a grid of `cell_mm`; `spread_mm` is one standard deviation."""

    spots: tuple[PlaneSpot, ...]
    x_mm: float
    y_mm: float
    spread_mm: float
    cell_mm: float
    noise_mv: float
    points_used: int
    sentence: str


class ShortRail(Model, frozen=True, kw_only=True):
    """The answer, in the order of the work: ohms, supply, heat, millivolts.

    `may_inject` only when nothing in `waits_for` is left and the setting is not refused.
    """

    engine_version: str
    constants_version: str
    rail: str
    beside: tuple[RailBeside, ...]
    supply: SupplyLimits
    may_inject: bool
    waits_for: tuple[str, ...]
    heat: tuple[str, ...]
    cautions: tuple[str, ...]
    refusals: tuple[Refusal, ...] = ()
    set_aside: tuple[LinePoint, ...] = ()
    line: LineFit | None = None
    plane: PlaneFit | None = None
    next_place: NextPlace | None = None
    v: int = BODY_V
