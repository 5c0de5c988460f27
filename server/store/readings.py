"""Gathers all readings of a job for a file: rows and meters as the record has them; what they mean is not here."""

import aiosqlite
import msgspec

from server.store.record import entities_together, entity, facts_of_owners
from server.store.sheet import JobWithoutSheet, whole_entities, whole_entity
from shared_models.job import Job
from shared_models.reading import Reading
from shared_models.readings_file import FileKind, ReadingsQuestion


async def gather_readings(connection: aiosqlite.Connection, job_id: str, wanted: FileKind) -> ReadingsQuestion:
    """Every reading of the job; of a healthy board's job those of the board at its socket.

    Raises:
        JobWithoutSheet: there is no such job.
    """
    job: Job | None = whole_entity("job", job_id, await entity(connection, "job", job_id))
    if job is None:
        raise JobWithoutSheet("job")
    owner = job.reference_board_id or job_id
    rows = (await facts_of_owners(connection, ("reading",), (owner,)))["reading", owner]
    readings = [(msgspec.json.decode(record, type=Reading), is_removed) for _, record, is_removed in rows]
    if job.reference_board_id is not None:
        readings = [(one, is_removed) for one, is_removed in readings if one.socket == job.socket]
    meters = await entities_together(connection, "meter")
    return ReadingsQuestion(
        job=job,
        readings=tuple(one for one, _ in readings),
        removed_ids=tuple(one.id for one, is_removed in readings if is_removed),
        meters=whole_entities("meter", meters.get("meter", "{}")),
        wanted=wanted,
    )
