"""The readings of a job as files, by the same engine as on the phone, which makes them without a network."""

import asyncio

from litestar import Response, get
from litestar.di import NamedDependency
from litestar.params import FromPath

from server.api.description import PROBLEMS
from server.engine.readings_file import readings_file
from server.problems import Refusal, shown
from server.store.database import Database
from server.store.readings import gather_readings
from server.store.sheet import JobWithoutSheet
from shared_models.change import Problem
from shared_models.readings_file import FileKind


@get("/api/jobs/{job_id:str}/readings.csv", responses=PROBLEMS, media_type="text/csv")
async def job_readings_csv(database: NamedDependency[Database], job_id: FromPath[str]) -> Response[bytes]:
    """Every reading of the job as CSV (RFC 4180, UTF-8), with units in the names of the columns."""
    return await _file(database, job_id, "csv")


@get("/api/jobs/{job_id:str}/readings.json", responses=PROBLEMS)
async def job_readings_json(database: NamedDependency[Database], job_id: FromPath[str]) -> Response[bytes]:
    """Every reading of the job as JSON, with units in the names of the fields."""
    return await _file(database, job_id, "json")


async def _file(database: Database, job_id: str, wanted: FileKind) -> Response[bytes]:
    try:
        async with database.reading() as connection:
            question = await gather_readings(connection, job_id, wanted)
    except JobWithoutSheet as error:
        raise Refusal(404, Problem(
            code="no_such_job", message="There is no such job in the record.", where="the path", given=shown(job_id),
            expected="a job of the record", example="/api/jobs/JOB-ID/readings.csv",
        )) from error
    file = await asyncio.to_thread(readings_file, question)
    return Response(
        file.text.encode(), media_type=file.media_type.removesuffix("; charset=utf-8"),  # which is added to every text
        headers={"Content-Disposition": f'attachment; filename="{file.name}"', "Cache-Control": "no-store"},
    )
