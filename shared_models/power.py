"""Before the first power, and along a shorted rail: what was ticked, and millivolts at named places.

Facts of a job, only ever added; the newest check of one kind counts, a point is replaced by one that names it.
"""

from typing import Annotated

from msgspec import Meta

from shared_models.base import BODY_V, EpochMs, Id, Model, Words


class PowerCheck(Model, frozen=True, kw_only=True):
    """One line of the list before power, ticked, or taken back with `done` false.

    `check` is an id of `tables.POWER_CHECKS`. `limit_ma`, `expected_ma` and `supply_mv` stand beside the line that
    sets them; `who` beside the line that names who stands by; `note` says in words what a low line is;
    `waived_because` only where the line may be waived.
    """

    id: Id
    job_id: Id
    check: Id
    done: bool = False
    limit_ma: Annotated[float, Meta(gt=0, le=1e6)] | None = None
    expected_ma: Annotated[float, Meta(ge=0, le=1e6)] | None = None
    supply_mv: Annotated[float, Meta(ge=0, le=1e6)] | None = None
    who: str = ""
    note: Words = ""
    waived_because: Words | None = None
    checked_at_ms: EpochMs
    checked_by: str = ""
    v: int = BODY_V


class RailPoint(Model, frozen=True, kw_only=True):
    """Millivolts at one place of a rail into which a known current is injected, against a currentless ground.

    `place` in words. Along a line `along_squares` counts squares of copper (length over width) from where the
    current goes in; on a plane `x_mm`, `y_mm` say where. `injected_mv` and `injected_ma` are the supply's settings,
    `return_at` where the meter's other lead stands. `is_injection`: the current goes in here; `is_return`: it
    leaves here; `is_end`: the rail ends here, no copper of it lies beyond. `supersedes` names the point it corrects.
    """

    id: Id
    job_id: Id
    rail: str
    place: str
    mv: Annotated[float, Meta(ge=-100_000, le=100_000)]
    along_squares: Annotated[float, Meta(ge=0, le=1e6)] | None = None
    x_mm: Annotated[float, Meta(ge=-10_000, le=10_000)] | None = None
    y_mm: Annotated[float, Meta(ge=-10_000, le=10_000)] | None = None
    injected_mv: Annotated[float, Meta(ge=0, le=100_000)] | None = None
    injected_ma: Annotated[float, Meta(ge=0, le=1e6)] | None = None
    return_at: str = ""
    is_injection: bool = False
    is_return: bool = False
    is_end: bool = False
    taken_at_ms: EpochMs
    taken_by: str = ""
    supersedes: Id | None = None
    v: int = BODY_V
