"""Healthy boards of one board version as one file, from shop to shop.

A JSON object of this Struct. It is read strictly and as a whole: an unknown field, a reading of a board that is
not in the file, or a `v` of a newer app refuses the file, and nothing of it is stored. What the shop has already,
by id, is left as it is.
"""

from typing import Literal

from msgspec import field

from shared_models.base import BODY_V, EpochMs, Model
from shared_models.board import BoardVersion, ReferenceBoard
from shared_models.reading import Meter, Reading


def _own_version() -> int:
    """Always written: a reader of another version must not guess it."""
    return BODY_V


class ReferenceFile(Model, frozen=True, kw_only=True):
    """One board version, its healthy boards, their readings as typed, and the meters they were read with."""

    holds: Literal["healthy_boards"]
    board: BoardVersion
    reference_boards: tuple[ReferenceBoard, ...]
    readings: tuple[Reading, ...]
    meters: tuple[Meter, ...] = ()
    made_at_ms: EpochMs = 0
    v: int = field(default_factory=_own_version)
