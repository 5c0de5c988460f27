"""Gathers all readings of a job for a file: rows and meters as the record has them; what they mean is not here."""

import aiosqlite
import msgspec

from server.store.record import entities_of, entity, facts_of_owners
from server.store.sheet import JobWithoutSheet, whole_entity
from shared_models.job import Job
from shared_models.reading import Meter, Reading
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
    known = (await entities_of(connection, "meter"))["meter"]
    meters = [whole_entity("meter", each, fields) for each, fields in known.items()]
    return ReadingsQuestion(
        job=job,
        readings=tuple(one for one, _ in readings),
        removed_ids=tuple(one.id for one, is_removed in readings if is_removed),
        meters=tuple(one for one in meters if isinstance(one, Meter)),
        wanted=wanted,
    )
