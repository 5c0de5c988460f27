"""Who had the device and the data when, and what the owner agreed to. Facts of a job, only ever added.

Clear, purge and destroy are meant as in NIST SP 800-88 Rev. 2.
"""

from typing import Annotated, Literal

from msgspec import Meta

from shared_models.base import BODY_V, EpochMs, Id, Model, Words

Sanitised = Literal["clear", "purge", "destroy"]
Stroke = Annotated[tuple[Annotated[int, Meta(ge=0, le=1000)], ...], Meta(max_length=4000)]
"""x, y, x, y, ... of one stroke, in thousandths of the pad's width."""


class Custody(Model, frozen=True, kw_only=True):
    """The device, a copy of its data or its old parts changed hands, or ended.

    `method` and `verified_how` belong to what was sanitised: how, and how it was shown. `files` belongs to a device
    that went back: whether anybody opened the owner's files; the owner's page says so only where it stands here.
    """

    id: Id
    job_id: Id
    of: Literal["device", "data_copy", "storage", "parts"]
    event: Literal["received", "handed_on", "came_back", "copied", "returned", "sanitised"]
    from_whom: str = ""
    to_whom: str = ""
    sanitised: Sanitised | None = None
    method: Words = ""
    verified_how: Words = ""
    files: Literal["not_said", "not_opened", "opened_as_agreed"] = "not_said"
    happened_at_ms: EpochMs
    noted_by: str = ""
    note: Words = ""
    v: int = BODY_V


class Consent(Model, frozen=True, kw_only=True):
    """What an owner agreed to, or did not, with what they read and their signature.

    `words` is the text that stood above the signature, whole. `strokes` the signature; emptied with the owner's
    words after the shop's time. The newest of one `to` counts.
    """

    id: Id
    job_id: Id
    to: Literal["power_up", "data_work", "heat_or_chip_work", "sanitising", "handed_back"]
    given: bool
    words: Words
    signed_name: str = ""
    strokes: Annotated[tuple[Stroke, ...], Meta(max_length=200)] = ()
    given_at_ms: EpochMs
    taken_by: str = ""
    v: int = BODY_V
