"""The bench sheet: everything the engine may know about one job at one moment.

Raw records only, nothing derived; the order of its lists has no meaning (a permuted sheet gives
the same opinion, byte for byte). Both sides assemble it the same way: all rows of this job, this
board version and these meters. That is a query and holds no logic.
"""

from typing import Annotated, Literal

from msgspec import Meta

from shared_models.base import BODY_V, AirC, EpochMs, Id, Model
from shared_models.board import BoardVersion, ContactCorrection, ReferenceBoard
from shared_models.closing import ShopFigures
from shared_models.job import DataSet, Intake, MakeSafeProof, Observation, Photo, Storage
from shared_models.power import PowerCheck
from shared_models.reading import Meter, Reading, Stage

Mode = Literal["guided", "sweep"]


class ShopWeight(Model, frozen=True, kw_only=True):
    """A shop's own weight for one kind of story, beside the built-in one (1.0 leaves it as it is)."""

    story: str
    factor: Annotated[float, Meta(gt=0, le=1000)]


class ExposureOdds(Model, frozen=True, kw_only=True):
    """How lines of one class of exposure are found afterwards, learnt from `lines` of them; adds up to one."""

    exposure: str
    lines: Annotated[int, Meta(ge=0)]
    odds: dict[str, Annotated[float, Meta(ge=0, le=1)]]


class PastMends(Model, frozen=True, kw_only=True):
    """How often what is wrong so was mended in this shop: `fault` is a class of `constants.chances.MENDS`."""

    fault: str
    worked_times: Annotated[int, Meta(ge=0, le=1_000_000)] = 0
    failed_times: Annotated[int, Meta(ge=0, le=1_000_000)] = 0


class Shop(Model, frozen=True, kw_only=True):
    """What a shop knows better than the table: made of its closed jobs by `server.engine.learning`, on both sides.

    `weights` move the stories' priors; `exposures` replace what a voltage does to a line; `touch_fails_wide` and
    `touch_fails_fine` the share of first touches that fail, by pitch. `learnt_jobs`: how many closed jobs moved the
    weights; `learnt_touches`: on how many touches those shares rest.
    """

    weights: tuple[ShopWeight, ...] = ()
    exposures: tuple[ExposureOdds, ...] = ()
    touch_fails_wide: Annotated[float, Meta(gt=0, lt=1)] | None = None
    touch_fails_fine: Annotated[float, Meta(gt=0, lt=1)] | None = None
    learnt_jobs: Annotated[int, Meta(ge=0)] = 0
    learnt_touches: Annotated[int, Meta(ge=0)] = 0
    mends: Annotated[tuple[PastMends, ...], Meta(max_length=50)] = ()


class BenchSheet(Model, frozen=True, kw_only=True):
    """The one input of the engine.

    `asked_at_ms` is the engine's only clock. `stage` says which readings of the job are judged:
    those before the repair or those after it. `storage`, `data_set`, `limit_cost` and `limit_work_min` are the
    job's; `figures` the shop's own, `photos` the records of pictures.
    """

    sheet_id: Id
    asked_at_ms: EpochMs
    board: BoardVersion
    socket: Id
    meters: tuple[Meter, ...] = ()
    reference_boards: tuple[ReferenceBoard, ...] = ()
    known_good_readings: tuple[Reading, ...] = ()
    readings: tuple[Reading, ...] = ()
    removed_ids: tuple[Id, ...] = ()
    observations: tuple[Observation, ...] = ()
    make_safe: tuple[MakeSafeProof, ...] = ()
    corrections: tuple[ContactCorrection, ...] = ()
    intake: Intake = Intake()
    air_c: AirC | None = None
    meter_id: Id | None = None
    stage: Stage = "before_repair"
    mode: Mode = "guided"
    shop: Shop | None = None
    storage: Storage = "not_known"
    data_set: DataSet = "not_known"
    limit_cost: Annotated[float, Meta(ge=0, le=1e9)] | None = None
    limit_work_min: Annotated[float, Meta(ge=0, le=1e6)] | None = None
    figures: ShopFigures | None = None
    power_checks: tuple[PowerCheck, ...] = ()
    photos: tuple[Photo, ...] = ()
    v: int = BODY_V
