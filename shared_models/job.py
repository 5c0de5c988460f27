"""A job: what the owner said, what was done to make it safe, what was seen.

A job's own fields are edited (last writer per field); make-safe proofs, observations and photos
are facts that are only ever added.
"""

from typing import Annotated, Literal

from msgspec import Meta

from shared_models.base import BODY_V, ContactNumber, EpochMs, Id, Model, Words
from shared_models.reading import Condition, Of, Subject

Tray = Literal["in_hand", "waiting_for_owner", "waiting_for_part", "ready", "gone"]
WhatHappened = Literal[
    "battery_in_during_change",
    "spark_seen",
    "plug_went_in_crooked",
    "liquid",
    "dropped",
    "soldered_at_socket",
    "pried_with_metal",
    "long_screw_in_doubt",
    "never_opened",
    "new_module_fitted",
]
"""What the owner or the person before said; each moves the odds by `constants.INTAKE_FACTORS`."""

Symptom = Literal["no_power", "no_picture", "no_light", "touch_dead", "stripes", "no_charge", "other"]
DataMatters = Literal["yes", "no", "not_asked"]
Storage = Literal["not_known", "soldered", "removable", "sealed_to_chip"]
DataSet = Literal["not_known", "on_this_board", "on_another_board"]


class Intake(Model, frozen=True, kw_only=True):
    """What was said at the counter."""

    what_happened: tuple[WhatHappened, ...] = ()
    symptoms: tuple[Symptom, ...] = ()
    data_matters: DataMatters = "not_asked"
    opened_by: str = ""
    in_their_words: Words = ""


class Job(Model, frozen=True, kw_only=True):
    """One device on the bench. Edited field by field; `board_version_id` and `socket` pin what is read.

    With `reference_board_id` it is a job without an owner: a healthy board is read, and its readings belong
    to that reference board. `conditions` and, with an owner,
    `stage` are those of every reading from now on, until they are changed. `limit_cost` and `limit_work_min` are
    what the owner agreed to at most. `storage`: how the chip with the data sits; `data_set`: whether processor,
    memory and storage, which belong together, are on this board.
    """

    id: Id
    title: str = ""
    tray: Tray = "in_hand"
    board_version_id: Id | None = None
    socket: Id | None = None
    intake: Intake = Intake()
    meter_id: Id | None = None
    air_c: float | None = None
    reference_board_id: Id | None = None
    conditions: tuple[Condition, ...] = ()
    stage: Literal["before_repair", "after_repair"] = "before_repair"
    limit_cost: Annotated[float, Meta(ge=0, le=1e9)] | None = None
    limit_work_min: Annotated[float, Meta(ge=0, le=1e6)] | None = None
    storage: Storage = "not_known"
    data_set: DataSet = "not_known"
    opened_at_ms: EpochMs = 0
    note: Words = ""
    v: int = BODY_V


class MakeSafeProof(Model, frozen=True, kw_only=True):
    """One step of making safe, done, measured or waived. Facts: the newest of a step counts.

    `step` is an id of `tables.MAKE_SAFE_STEPS`. `measured_mv` with `at_place` for a step that is
    proved with the meter (one proof for each named place); `waived_because` only where the step
    does not exist on this device and the step may be waived.
    """

    id: Id
    job_id: Id
    step: Id
    done: bool = False
    measured_mv: Annotated[float, Meta(ge=-1_000_000, le=1_000_000)] | None = None
    at_place: str = ""
    waived_because: Words | None = None
    proved_at_ms: EpochMs
    proved_by: str = ""
    v: int = BODY_V


class Observation(Model, frozen=True, kw_only=True):
    """Something seen, on contacts or on a part; or what the supply showed at the first power.

    `part` may be a chip, a small part, or a capacitor of a rail (a hot spot). `draw_ma` is the number beside a
    draw, `limit_ma` the limit and `supply_mv` the voltage the supply was set to. `reads_below_zero`: the meter put a
    minus before a drop.
    """

    id: Id
    of: Of
    seen: Literal[
        "bent",
        "burnt",
        "lifted",
        "wet",
        "bridged",
        "missing",
        "clean",
        "changes_when_pressed",
        "hot",
        "torch_shows_picture",
        "torch_shows_nothing",
        "draw_none",
        "draw_at_limit",
        "draw_low_steady",
        "draw_as_healthy",
        "reads_below_zero",
        "draw_in_steps",
        "charred",
        "corroded_under_chip",
        "lift_failed",
        "cell_swollen",
    ]
    subject: Subject = "board_socket"
    contacts: tuple[ContactNumber, ...] = ()
    part: Id | None = None
    photo_id: Id | None = None
    place: str = ""
    draw_ma: Annotated[float, Meta(ge=0, le=1e6)] | None = None
    limit_ma: Annotated[float, Meta(gt=0, le=1e6)] | None = None
    supply_mv: Annotated[float, Meta(ge=0, le=1e6)] | None = None
    seen_at_ms: EpochMs
    seen_by: str = ""
    note: Words = ""
    v: int = BODY_V


class Corner(Model, frozen=True, kw_only=True):
    """A point in a picture, as fractions of its width and height."""

    x: float
    y: float


class Photo(Model, frozen=True, kw_only=True):
    """The record of a picture; the picture itself goes by its content hash."""

    id: Id
    of: Of
    sha256: Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$(?!\n)")]
    mime: Literal["image/jpeg", "image/png", "image/webp"]
    size_bytes: Annotated[int, Meta(gt=0)]
    width_px: Annotated[int, Meta(gt=0)]
    height_px: Annotated[int, Meta(gt=0)]
    taken_at_ms: EpochMs
    corners: tuple[Corner, Corner, Corner, Corner] | None = None
    v: int = BODY_V
