"""How edits travel: one change, one entity; three bodies and no more.

The envelope is strict for ever. A body carries `v`: a body with `v` not above ours and an unknown
field is refused by path; a body with `v` above ours is kept byte for byte, numbered and handed on,
and applied after the update (EVOLUTION.md). Stamps order edits of one field: the largest
(hlc, device, id) wins.
"""

from typing import Annotated, Literal

from msgspec import Meta, Raw, field

from shared_models.base import BODY_V, Id, Model, Tagged, Words
from shared_models.board import BoardVersion, ContactCorrection, ReferenceBoard
from shared_models.closing import Closing, ShopFigures
from shared_models.custody import Consent, Custody
from shared_models.job import Job, MakeSafeProof, Observation, Photo
from shared_models.power import PowerCheck, RailPoint
from shared_models.reading import Meter, Reading

Hlc = Annotated[str, Meta(pattern=r"^[0-9]{15}-[0-9]{5}$(?!\n)")]
"""Hybrid logical time as sortable text: 15 digits of milliseconds, a dash, 5 digits of a counter."""

FactKind = Literal[
    "reading",
    "photo",
    "observation",
    "make_safe",
    "board_version",
    "correction",
    "power_check",
    "rail_point",
    "custody",
    "consent",
    "closing",
]
EntityKind = Literal["job", "meter", "reference_board", "shop"]

FACT_TYPES = {
    "reading": Reading,
    "photo": Photo,
    "observation": Observation,
    "make_safe": MakeSafeProof,
    "board_version": BoardVersion,
    "correction": ContactCorrection,
    "power_check": PowerCheck,
    "rail_point": RailPoint,
    "custody": Custody,
    "consent": Consent,
    "closing": Closing,
}
"""Facts by kind: added once, never edited."""

ENTITY_TYPES = {"job": Job, "meter": Meter, "reference_board": ReferenceBoard, "shop": ShopFigures}
"""What is edited, by kind: `FieldsSet.fields` are fields of these, without `id` and `v`."""


def _own_version() -> int:
    """A default that is always written, unlike a plain one: a reader of another version must not guess it."""
    return BODY_V


class Added(Tagged, frozen=True, kw_only=True, tag="added"):
    """A new fact. `record` is a Struct of `FACT_TYPES[kind]`."""

    kind: FactKind
    record: Raw
    v: int = field(default_factory=_own_version)


class FieldsSet(Tagged, frozen=True, kw_only=True, tag="fields_set"):
    """Some fields of one entity got new values; the entity exists from its first such change on."""

    kind: EntityKind
    id: Id
    fields: dict[str, Raw]
    v: int = field(default_factory=_own_version)


class Removed(Tagged, frozen=True, kw_only=True, tag="removed"):
    """A record is taken back: a fact that names it. It stays in the log."""

    kind: Literal[
        "reading",
        "photo",
        "observation",
        "make_safe",
        "board_version",
        "correction",
        "power_check",
        "rail_point",
        "custody",
        "consent",
        "closing",
        "job",
        "meter",
        "reference_board",
        "shop",
    ]
    id: Id
    why: Words = ""
    v: int = field(default_factory=_own_version)


Body = Added | FieldsSet | Removed


class Change(Model, frozen=True, kw_only=True):
    """One edit. `device_seq` counts the device's changes from 1 without gaps; `actor` is who did it."""

    id: Id
    device: Id
    device_seq: Annotated[int, Meta(ge=1, le=2**53 - 1)]
    hlc: Hlc
    actor: str = ""
    body: Raw


class ChangeBatch(Model, frozen=True, kw_only=True):
    """What a device sends: its changes in its own order."""

    changes: tuple[Change, ...]


class Problem(Model, frozen=True, kw_only=True):
    """The one shape of an error: what was given, where, what was expected, and an example that works."""

    code: str
    message: str
    where: str = ""
    given: str = ""
    expected: str = ""
    example: str = ""


class ProblemAnswer(Model, frozen=True, kw_only=True):
    """The body of every answer that is not a success."""

    status: int
    problem: Problem


class ChangeAnswer(Model, frozen=True, kw_only=True):
    """What became of one change: stored (now or as something newer), had already, or refused and why."""

    id: str
    result: Literal["stored", "stored_newer", "had", "refused"]
    seq: int | None = None
    problem: Problem | None = None


class BatchAnswer(Model, frozen=True, kw_only=True):
    """An answer for each change of the batch, in its order. Never a reason to move a cursor."""

    answers: tuple[ChangeAnswer, ...]
    server_ms: int
    epoch: str


class NumberedChange(Model, frozen=True, kw_only=True):
    """A change as the server hands it out."""

    seq: int
    change: Change


class ChangePage(Model, frozen=True, kw_only=True):
    """Changes after a cursor, oldest first. `next_after` is the cursor once this page is applied."""

    changes: tuple[NumberedChange, ...]
    next_after: int
    more: bool
    epoch: str
    server_ms: int


class Health(Model, frozen=True, kw_only=True):
    """Whether the server is up, and which one it is."""

    ok: bool
    version: str
    epoch: str
    server_ms: int
    changes: int
