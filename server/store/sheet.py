"""Gathers the bench sheet of a job: all rows of this job, this board version and its reference boards.

A query and no logic, as on the phone (`pwa/src/store/sheet.ts`): rows that were taken back go along
and are named in `removed_ids`; which rows count is the engine's to say.
"""

from typing import Any, TypeVar

import aiosqlite
import msgspec

from server.store.record import entities, entity, facts_of, visible_fact
from server.store.shop_learnt import gather_shop
from shared_models.board import BoardVersion, ReferenceBoard
from shared_models.change import ENTITY_TYPES, FACT_TYPES
from shared_models.job import Job
from shared_models.reading import Meter
from shared_models.sheet import BenchSheet, Mode, Stage

T = TypeVar("T")


class JobWithoutSheet(Exception):
    """The job has no sheet; `lacks` says whether the job itself, its board or its socket is missing."""

    def __init__(self, lacks: str) -> None:
        super().__init__(lacks)
        self.lacks = lacks


async def gather_sheet(
    connection: aiosqlite.Connection, job_id: str, *, asked_at_ms: int, mode: Mode, stage: Stage
) -> BenchSheet:
    """The sheet of the job as the record has it now.

    Raises:
        JobWithoutSheet: there is none yet.
    """
    job: Job | None = _made("job", job_id, await entity(connection, "job", job_id))
    if job is None:
        raise JobWithoutSheet("job")
    board = await visible_fact(connection, "board_version", job.board_version_id or "")
    if board is None or job.board_version_id is None:
        raise JobWithoutSheet("board")
    if job.socket is None:
        raise JobWithoutSheet("socket")
    rows = _Rows(connection)
    healthy: dict[str, ReferenceBoard] = await _whole(connection, "reference_board")
    healthy = {key: one for key, one in healthy.items() if one.board_version_id == job.board_version_id}
    meters: dict[str, Meter] = await _whole(connection, "meter")
    return BenchSheet(
        sheet_id=job_id,
        asked_at_ms=asked_at_ms,
        board=msgspec.json.decode(board, type=BoardVersion),
        socket=job.socket,
        meters=tuple(meters.values()),
        reference_boards=tuple(healthy.values()),
        known_good_readings=await rows.of("reading", *healthy),
        readings=await rows.of("reading", job_id),
        observations=await rows.of("observation", job_id),
        make_safe=await rows.of("make_safe", job_id),
        corrections=await rows.of("correction", job.board_version_id),
        removed_ids=tuple(rows.removed_ids),
        intake=job.intake,
        air_c=job.air_c,
        meter_id=job.meter_id,
        stage=stage,
        mode=mode,
        shop=await gather_shop(connection),
    )


class _Rows:
    """Reads facts by owner and remembers which of them are taken back."""

    def __init__(self, connection: aiosqlite.Connection) -> None:
        self._connection = connection
        self.removed_ids: list[str] = []

    async def of(self, kind: str, *owners: str) -> tuple[Any, ...]:
        found = []
        for record_id, record, is_removed in await facts_of(self._connection, kind, *owners) if owners else ():
            found.append(msgspec.json.decode(record, type=FACT_TYPES[kind]))
            if is_removed:
                self.removed_ids.append(record_id)
        return tuple(found)


async def _whole(connection: aiosqlite.Connection, kind: str) -> dict[str, Any]:
    """The entities of a kind that have every field they need; one known only by a later edit waits for the rest."""
    found = (await entities(connection, kind)).items()
    return {each: made for each, fields in found if (made := _made(kind, each, fields)) is not None}


def _made(kind: str, entity_id: str, fields: dict[str, str]) -> Any:
    """The entity, once it has every field it needs and any at all."""
    of_kind = ENTITY_TYPES[kind]
    needed = {field.name for field in msgspec.structs.fields(of_kind) if field.required} - {"id"}
    if not fields or not needed <= fields.keys():
        return None
    values = {name: msgspec.json.decode(value) for name, value in fields.items()}
    return msgspec.convert({**values, "id": entity_id}, of_kind)
