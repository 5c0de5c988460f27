"""What the papers of a job are made of, and the page the owner gets.

A question holds what the record holds of one job and nothing else; the engine makes every word of the page from it.
"""

from typing import Annotated, Literal

from msgspec import Meta

from shared_models.base import BODY_V, EpochMs, Id, Model
from shared_models.closing import Closing, ShopFigures
from shared_models.custody import Consent, Custody, Stroke
from shared_models.job import Job, MakeSafeProof, Observation, Photo
from shared_models.power import PowerCheck, RailPoint
from shared_models.sheet import BenchSheet


class PapersQuestion(Model, frozen=True, kw_only=True):
    """All of one job. `sheet` is its bench sheet, none while it names no board and socket; records that were taken
    back are left out but for the sheet's own, which it names.

    `made_at_ms` is the papers' only clock, `minutes_east` how far its wall clock is ahead of UTC, `made_by` whose
    name stands under them.
    """

    job: Job
    sheet: BenchSheet | None = None
    photos: tuple[Photo, ...] = ()
    observations: tuple[Observation, ...] = ()
    make_safe: tuple[MakeSafeProof, ...] = ()
    power_checks: tuple[PowerCheck, ...] = ()
    rail_points: tuple[RailPoint, ...] = ()
    custody: tuple[Custody, ...] = ()
    consents: tuple[Consent, ...] = ()
    closings: tuple[Closing, ...] = ()
    shop: ShopFigures | None = None
    made_at_ms: EpochMs
    minutes_east: Annotated[int, Meta(ge=-900, le=900)] = 0
    made_by: str = ""
    v: int = BODY_V


class Piece(Model, frozen=True, kw_only=True):
    """What was put in one gap of a fixed sentence: one text, or several that are listed."""

    gap: str
    texts: tuple[str, ...]


class PaperLine(Model, frozen=True, kw_only=True):
    """A fixed sentence with what the record put into it. `code` names the fixed words in `owner_words`."""

    code: str
    sentence: str
    pieces: tuple[Piece, ...] = ()


class PagePhoto(Model, frozen=True, kw_only=True):
    """A picture of the owner's board and what stands under it."""

    photo_id: Id
    sha256: str
    when: Literal["before", "after"]
    caption: PaperLine


class PageNumber(Model, frozen=True, kw_only=True):
    """One of the numbers: a letter that marks its place in the drawing, what the line is for, theirs and a healthy
    one's, and what it read after the work. `yours`, `healthy`, `after` are millivolts, or OL."""

    mark: str
    contacts: tuple[str, ...]
    what: str
    yours: str
    healthy: str
    healthy_from: PaperLine
    after: str = ""
    verdict: str
    verdict_after: str = ""


class PageChance(Model, frozen=True, kw_only=True):
    """Device or data: the chance in tens, and of what it is one."""

    of: Literal["device", "data"]
    chance: PaperLine
    means: PaperLine


class PageSignature(Model, frozen=True, kw_only=True):
    """What an owner signed when the device went back."""

    signed: PaperLine
    strokes: tuple[Stroke, ...] = ()


class OwnerPage(Model, frozen=True, kw_only=True):
    """The owner's page, part by part in the order of reading. A part without words is not on the page."""

    title: PaperLine
    shop: str
    day: str
    told: tuple[PaperLine, ...] = ()
    came_in: tuple[PaperLine, ...] = ()
    photos: tuple[PagePhoto, ...] = ()
    found: tuple[PaperLine, ...] = ()
    numbers: tuple[PageNumber, ...] = ()
    numbers_are: PaperLine | None = None
    after_work: tuple[PaperLine, ...] = ()
    done: tuple[PaperLine, ...] = ()
    chances: tuple[PageChance, ...] = ()
    chances_rest_on: PaperLine | None = None
    advice: tuple[PaperLine, ...] = ()
    cost: tuple[PaperLine, ...] = ()
    waiting: tuple[PaperLine, ...] = ()
    not_looked_at: tuple[PaperLine, ...] = ()
    files: tuple[PaperLine, ...] = ()
    returned: tuple[PaperLine, ...] = ()
    measured_by: PaperLine
    received: PageSignature | None = None
    v: int = BODY_V
