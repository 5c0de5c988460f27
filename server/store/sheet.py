"""Gathers the bench sheet of a job: all rows of this job, this board version and its reference boards.

A query and no logic, as on the phone (`pwa/src/store/sheet.ts`): rows that were taken back go along
and are named in `removed_ids`; which rows count is the engine's to say.
"""

from functools import lru_cache
from operator import attrgetter
from typing import Any, TypeVar

import msgspec

from server.store.at_once import Asked
from server.store.record import entities_together, entity, facts_together, visible_fact
from server.store.shop_learnt import gather_shop
from shared_models.board import BoardVersion, ReferenceBoard
from shared_models.change import ENTITY_TYPES, FACT_TYPES
from shared_models.closing import SHOP_ID, ShopFigures
from shared_models.job import Job
from shared_models.reading import Meter
from shared_models.sheet import BenchSheet, Mode, Stage

T = TypeVar("T")
SHEET_FACTS = ("reading", "observation", "make_safe", "correction", "power_check", "photo")

_decoders = {kind: msgspec.json.Decoder(list[one]) for kind, one in FACT_TYPES.items()}
_needed = {
    kind: {field.name for field in msgspec.structs.fields(one) if field.required} - {"id"}
    for kind, one in ENTITY_TYPES.items()
}


class JobWithoutSheet(Exception):
    """The job has no sheet; `lacks` says whether the job itself, its board or its socket is missing."""

    def __init__(self, lacks: str) -> None:
        super().__init__(lacks)
        self.lacks = lacks


async def gather_sheet(
    connection: Asked, job_id: str, *, asked_at_ms: int, mode: Mode, stage: Stage
) -> BenchSheet:
    """The sheet of the job as the record has it now.

    Raises:
        JobWithoutSheet: there is none yet.
    """
    job: Job | None = whole_entity("job", job_id, await entity(connection, "job", job_id))
    if job is None:
        raise JobWithoutSheet("job")
    board = await visible_fact(connection, "board_version", job.board_version_id or "")
    if board is None or job.board_version_id is None:
        raise JobWithoutSheet("board")
    if job.socket is None:
        raise JobWithoutSheet("socket")
    whole = await entities_together(connection, "reference_board", "meter")
    boards: tuple[ReferenceBoard, ...] = whole_entities("reference_board", whole.get("reference_board", "{}"))
    healthy = {one.id: one for one in boards if one.board_version_id == job.board_version_id}
    meters: tuple[Meter, ...] = whole_entities("meter", whole.get("meter", "{}"))
    rows = _Rows(await facts_together(connection, SHEET_FACTS, (job_id, job.board_version_id, *healthy)))
    figures: ShopFigures | None = whole_entity("shop", SHOP_ID, await entity(connection, "shop", SHOP_ID))
    return BenchSheet(
        sheet_id=job_id,
        asked_at_ms=asked_at_ms,
        board=_board(board),
        socket=job.socket,
        meters=meters,
        reference_boards=tuple(healthy.values()),
        known_good_readings=rows.of("reading", *healthy),
        readings=rows.of("reading", job_id),
        observations=rows.of("observation", job_id),
        make_safe=rows.of("make_safe", job_id),
        corrections=rows.of("correction", job.board_version_id),
        power_checks=rows.of("power_check", job_id),
        photos=rows.of("photo", job_id),
        removed_ids=tuple(rows.removed_ids),
        intake=job.intake,
        air_c=job.air_c,
        meter_id=job.meter_id,
        stage=stage,
        mode=mode,
        shop=await gather_shop(connection),
        storage=job.storage,
        data_set=job.data_set,
        limit_cost=job.limit_cost,
        limit_work_min=job.limit_work_min,
        figures=figures,
    )


@lru_cache(maxsize=64)
def _facts(kind: str, records: str) -> tuple[Any, ...]:
    """Facts in the order of their ids, from an array's text. Kept: the same healthy boards stand in every sheet."""
    return tuple(sorted(_decoders[kind].decode(records), key=attrgetter("id")))


@lru_cache(maxsize=16)
def _board(record: str) -> BoardVersion:
    return msgspec.json.decode(record, type=BoardVersion)


class _Rows:
    """Facts by kind and owner; remembers which of those that were asked for are taken back."""

    def __init__(self, rows: dict[tuple[str, str], tuple[str, list[str]]]) -> None:
        self._rows = rows
        self.removed_ids: list[str] = []

    def of(self, kind: str, *owners: str) -> tuple[Any, ...]:
        found: list[Any] = []
        for owner in sorted(owners):
            records, removed_ids = self._rows.get((kind, owner), ("[]", []))
            found += _facts(kind, records)
            self.removed_ids += sorted(removed_ids)
        return tuple(found)


@lru_cache(maxsize=16)
def whole_entities(kind: str, entities: str) -> tuple[Any, ...]:
    """The entities of a kind that have every field they need, in the order of their ids, from their text; one that is
    known only by a later edit waits for the rest. Kept, like `_facts`.
    """
    found: dict[str, dict[str, Any]] = msgspec.json.decode(entities)
    return tuple(
        msgspec.convert({**found[each], "id": each}, ENTITY_TYPES[kind])
        for each in sorted(found) if _needed[kind] <= found[each].keys()
    )


def whole_entity(kind: str, entity_id: str, fields: dict[str, str]) -> Any:
    """The entity as its Struct, once it has every field it needs and any at all; else None."""
    if not fields or not _needed[kind] <= fields.keys():
        return None
    values = {name: msgspec.json.decode(value) for name, value in fields.items()}
    return msgspec.convert({**values, "id": entity_id}, ENTITY_TYPES[kind])
