"""Opinions: about a sheet that is sent, or about a job of the record.

The same engine as on the phone, in a thread beside the loop, so that a long one holds nobody up.
"""

import asyncio
from typing import Annotated

from litestar import Request, get, post
from litestar.di import NamedDependency
from litestar.params import FromPath, QueryParameter

from server.api.description import PROBLEMS
from server.api.edge import TAKES, body_of
from server.engine.door import form_opinion
from server.problems import Refusal, shown
from server.store.database import Database, clock_ms
from server.store.sheet import JobWithoutSheet, gather_sheet
from shared_models.change import Problem
from shared_models.opinion import Opinion
from shared_models.reading import Stage
from shared_models.sheet import BenchSheet, Mode

AskedMode = Annotated[Mode, QueryParameter(description="one contact after another as proposed, or a whole sweep")]
AskedStage = Annotated[Stage, QueryParameter(description="which readings of the job are judged")]


@post("/api/opinion", status_code=200, opt={TAKES: BenchSheet}, responses=PROBLEMS)
async def give_opinion(request: Request) -> Opinion:
    """What the sheet says: verdicts, stories, decisions and the next touch, each with its reasons."""
    sheet: BenchSheet = await body_of(request)
    return await asyncio.to_thread(form_opinion, sheet)


@get("/api/jobs/{job_id:str}/sheet", responses=PROBLEMS)
async def job_sheet(
    database: NamedDependency[Database], job_id: FromPath[str],
    mode: AskedMode = "guided", stage: AskedStage = "before_repair",
) -> BenchSheet:
    """The job's bench sheet as the record has it now: what the engine would be asked."""
    return await sheet_of(database, job_id, mode, stage)


@get("/api/jobs/{job_id:str}/opinion", responses=PROBLEMS)
async def job_opinion(
    database: NamedDependency[Database], job_id: FromPath[str],
    mode: AskedMode = "guided", stage: AskedStage = "before_repair",
) -> Opinion:
    """The opinion about the job's sheet."""
    return await asyncio.to_thread(form_opinion, await sheet_of(database, job_id, mode, stage))


async def sheet_of(database: Database, job_id: str, mode: Mode, stage: Stage) -> BenchSheet:
    """A job's sheet as the record has it now. Raises Refusal where it has none."""
    try:
        return await database.read_at_once(
            lambda record: gather_sheet(record, job_id, asked_at_ms=clock_ms(), mode=mode, stage=stage)
        )
    except JobWithoutSheet as error:
        raise Refusal(404, Problem(
            code="no_sheet", message=f"This job has no sheet: its {error.lacks} is not in the record.",
            where="the path", given=shown(job_id), expected="a job of the record with a board and a socket",
            example="/api/jobs/JOB-ID/sheet",
        )) from error
