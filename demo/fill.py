"""Fills the invented shop's record, through the same door that a phone's changes come in by.

Decides: which records a fresh shop has and in which order they were made. Every id, stamp and number is
fixed, so a second start finds all of it there and adds nothing.
"""

import asyncio
import hashlib
import uuid
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Raw

from demo.shop.boards import ALL_BOARDS
from demo.shop.closed_jobs import closed_jobs
from demo.shop.meters import SHOP_METERS
from demo.shop.references import ALL_KNOWN_GOOD
from demo.shop.trays import JobRecord, job_records
from demo.shop.visits import FIGURES, visits
from server.store.database import Database
from server.sync.accept import Vocabulary
from server.sync.exchange import take_batch
from shared_models.base import Model
from shared_models.change import Added, Body, Change, FieldsSet

DEVICE = "demo-shop"
FILLED_MS = 1_742_500_000_000
"""The stamp of all these changes: later than the last of the jobs, and long before today."""


class FillResult(Model, frozen=True, kw_only=True):
    """What became of the shop's changes: newly stored, there already, or refused (with the first reason)."""

    stored: int
    had: int
    refused: int
    first_refusal: str = ""


def fill(data_dir: Path) -> FillResult:
    """Brings the invented shop into the record in `data_dir`, and says in one line what was done.

    A change that is refused was filled differently by an older demo; the record then stays as it is.
    """
    result = asyncio.run(_push(data_dir, demo_changes()))
    if result.refused:
        print(f"  {result.refused} records of the invented shop differ from what this folder holds"
              f" ({result.first_refusal}); python3 demo --fresh begins anew", flush=True)
    else:
        print(f"  the invented shop: {result.stored} changes added, {result.had} there already", flush=True)
    return result


async def _push(data_dir: Path, changes: list[Change]) -> FillResult:
    database = await Database.open(data_dir)
    try:
        answer = await take_batch(database, [Raw(msgspec.json.encode(change)) for change in changes], Vocabulary())
    finally:
        await database.close()
    results = [one.result for one in answer.answers]
    refusals = [one.problem.message for one in answer.answers if one.problem is not None]
    return FillResult(
        stored=results.count("stored"), had=results.count("had"), refused=results.count("refused"),
        first_refusal=refusals[0] if refusals else "",
    )


def demo_changes() -> list[Change]:
    """Everything the shop has recorded, oldest first, as one device's changes numbered from 1."""
    return [_change(seq, body) for seq, body in enumerate(_bodies(), start=1)]


def _bodies() -> Iterator[Body]:
    for meter in SHOP_METERS:
        yield _fields("meter", meter.id, meter)
    yield from (_added("board_version", board) for board in ALL_BOARDS)
    for known_good in ALL_KNOWN_GOOD:
        for board in known_good.boards:
            yield _fields("reference_board", board.id, board)
        yield from (_added("reading", reading) for reading in known_good.readings)
    for record in job_records():
        yield from _job_bodies(record)
    yield _fields("shop", FIGURES.id, FIGURES)
    for visit in visits():
        yield from _job_bodies(visit.record)
        yield from (_added(kind, fact) for kind, fact in visit.facts)
        if visit.kept is not None:
            yield _fields("reference_board", visit.kept.board.id, visit.kept.board)
            yield from (_added("reading", reading) for reading in visit.kept.readings)
    for closed in closed_jobs():
        if closed.job is not None:
            yield _fields("job", closed.job.id, closed.job, always=("title", "tray"))
        yield _added("closing", closed.closing)


def _job_bodies(record: JobRecord) -> Iterator[Body]:
    yield _fields("job", record.job.id, record.job, always=("title", "tray"))
    facts: Iterable[tuple[Any, Any]] = (
        *(("make_safe", proof) for proof in record.proofs),
        *(("observation", seen) for seen in record.observations),
        *(("reading", reading) for reading in record.readings),
    )
    yield from (_added(kind, fact) for kind, fact in facts)


def _added(kind: Any, record: Model) -> Added:
    return Added(kind=kind, record=Raw(msgspec.json.encode(record)))


def _fields(kind: Any, entity_id: str, entity: Model, always: tuple[str, ...] = ()) -> FieldsSet:
    """The fields of an entity that differ from their defaults, and those that are `always` said."""
    values = msgspec.to_builtins(entity) | {name: getattr(entity, name) for name in always}
    fields = {name: Raw(msgspec.json.encode(value)) for name, value in values.items() if name not in ("id", "v")}
    return FieldsSet(kind=kind, id=entity_id, fields=fields)


def _change(seq: int, body: Body) -> Change:
    return Change(
        id=_fixed_uuid7(f"{DEVICE} {seq}"), device=DEVICE, device_seq=seq, hlc=f"{FILLED_MS:015d}-{seq:05d}",
        actor="demo", body=Raw(msgspec.json.encode(body)),
    )


def _fixed_uuid7(name: str) -> str:
    """A UUIDv7 (RFC 9562, section 5.7) whose time is `FILLED_MS` and whose random bits come from the name."""
    bits = int.from_bytes(hashlib.sha256(name.encode()).digest()[:10], "big")
    rand_a, rand_b = bits >> 62 & 0xFFF, bits & (1 << 62) - 1
    return str(uuid.UUID(int=FILLED_MS << 80 | 0x7 << 76 | rand_a << 64 | 0b10 << 62 | rand_b))
