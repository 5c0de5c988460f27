"""Kept sheets, changed a little, and the opinion on them: for tests of chances, options and what comes before power."""

from functools import lru_cache
from pathlib import Path
from typing import Any

import msgspec
from msgspec.structs import replace

from server.engine.door import form_opinion
from shared_models.board import BoardVersion
from shared_models.chances import Option
from shared_models.job import Observation
from shared_models.opinion import Opinion
from shared_models.power import PowerCheck
from shared_models.reading import OfJob
from shared_models.sheet import BenchSheet

SHEETS = Path(__file__).parents[2] / "demo" / "sheets"
LATER_MS = 1_800_000_000_000


@lru_cache
def kept(name: str) -> BenchSheet:
    """A kept sheet of the demo."""
    return msgspec.json.decode((SHEETS / f"{name}.json").read_bytes(), type=BenchSheet)


def opinion_on(name: str, **changes: Any) -> Opinion:
    """The opinion on a kept sheet with some fields changed."""
    return form_opinion(replace(kept(name), **changes))


def with_parts(board: BoardVersion, **marks: dict[str, bool]) -> BoardVersion:
    """The board with some of its parts marked otherwise: `U1={"holds_data": True}`."""
    parts = tuple(replace(part, **marks[part.ref]) if part.ref in marks else part for part in board.parts)
    return replace(board, parts=parts)


def way(opinion: Opinion, kind: str) -> Option:
    """One way of going on."""
    assert opinion.options is not None
    return next(one for one in opinion.options.ways if one.kind == kind)


def ticked(check: str, number: int = 0, **fields: Any) -> PowerCheck:
    """A line before power, ticked."""
    return PowerCheck(
        id=f"check-{check}-{number}", job_id="job", check=check, done=True, checked_at_ms=LATER_MS + number, **fields
    )


def noted(seen: Any, number: int = 0, **fields: Any) -> Observation:
    """Something seen."""
    return Observation(
        id=f"seen-{seen}-{number}", of=OfJob(job_id="job"), seen=seen, seen_at_ms=LATER_MS + number, **fields
    )
