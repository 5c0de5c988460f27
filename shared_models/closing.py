"""The end of a job: what was really wrong, what was done, what had been said of it before; and a shop's own figures.

A closing is a fact. Two technicians may close one job differently: both stay, and a third that names them in
`supersedes` says which holds.
"""

from typing import Annotated, Literal

from msgspec import Meta

from shared_models.base import BODY_V, EpochMs, Id, Model, Words
from shared_models.board import SocketKind
from shared_models.chances import OptionKind
from shared_models.job import Symptom, WhatHappened
from shared_models.opinion import StoryKind

Share = Annotated[float, Meta(ge=0, le=1)]
Money = Annotated[float, Meta(ge=0, le=1e9)]


class WasWrong(Model, frozen=True, kw_only=True):
    """One thing that was really wrong: a story with its subject, and how that is known."""

    story: StoryKind
    subject: str = ""
    how_known: Literal["measured", "seen", "repaired_and_works", "believed"] = "believed"


class SaidBefore(Model, frozen=True, kw_only=True):
    """What the opinion before the repair gave one story.

    `beside`: as an independent second one, whatever the first is; else as the one that leads.
    """

    story: StoryKind
    subject: str = ""
    odds: Share
    beside: bool = False


class MetVoltage(Model, frozen=True, kw_only=True):
    """One line that met a voltage it should not, and how it was found afterwards.

    `exposure` is a class of the engine's `exposures.EXPOSURES`; `found` how the line read.
    """

    exposure: str
    found: Literal["expected", "short", "low", "high", "open"]


class Closing(Model, frozen=True, kw_only=True):
    """A job was closed: what was wrong, what was done, how device and data ended, what had been said before.

    `was_wrong` empty: never found out. `said_before`, `device_chance_before` and `data_chance_before` are the
    opinion's at that time, kept so that its honesty can be counted later. `touches` and `failed_touches` count the
    sweep's touches and those that later touches of the same contact outvoted; `reading_s` from the first to the last
    of them without the pauses, `sweep_s` what touching every contact in turn would have taken. `what_happened`,
    `symptoms`, `socket_kind` and `pitch_mm` are the job's and its socket's: what was to be expected before any reading.
    """

    id: Id
    job_id: Id
    was_wrong: tuple[WasWrong, ...] = ()
    did: tuple[OptionKind, ...] = ()
    device: Literal["works", "works_in_part", "does_not_work", "not_tried"] = "not_tried"
    data: Literal["safe", "in_part", "lost", "not_touched", "not_asked"] = "not_asked"
    said_before: Annotated[tuple[SaidBefore, ...], Meta(max_length=100)] = ()
    device_chance_before: Share | None = None
    data_chance_before: Share | None = None
    what_happened: tuple[WhatHappened, ...] = ()
    symptoms: tuple[Symptom, ...] = ()
    socket_kind: SocketKind | None = None
    pitch_mm: Annotated[float, Meta(gt=0, le=25)] | None = None
    met_voltage: Annotated[tuple[MetVoltage, ...], Meta(max_length=800)] = ()
    touches: Annotated[int, Meta(ge=0, le=1_000_000)] = 0
    failed_touches: Annotated[int, Meta(ge=0, le=1_000_000)] = 0
    reading_s: Annotated[float, Meta(ge=0, le=1e7)] | None = None
    sweep_s: Annotated[float, Meta(ge=0, le=1e7)] | None = None
    work_min: Annotated[float, Meta(ge=0, le=1e6)] | None = None
    whole_cost: Money | None = None
    parts_replaced: tuple[str, ...] = ()
    supersedes: tuple[Id, ...] = ()
    closed_at_ms: EpochMs
    closed_by: str = ""
    note: Words = ""
    v: int = BODY_V


SHOP_ID = "shop"
"""A shop has one set of figures, of this id."""


class OptionFigure(Model, frozen=True, kw_only=True):
    """What one way of going on costs in this shop: parts in its currency, and hours of work."""

    option: OptionKind
    parts_cost: Money | None = None
    work_h: Annotated[float, Meta(ge=0, le=10_000)] | None = None


class ShopFigures(Model, frozen=True, kw_only=True):
    """A shop's own figures, edited field by field; there is one, of the id "shop".

    `learn`: whether closed jobs move the odds. `learnt_from_ms`: only jobs closed after it count (a reset).
    """

    id: Id
    name: str = ""
    currency: str = ""
    hour_cost: Money | None = None
    options: Annotated[tuple[OptionFigure, ...], Meta(max_length=50)] = ()
    learn: bool = True
    learnt_from_ms: EpochMs = 0
    v: int = BODY_V
